package company

import (
	"slices"
	"testing"
	"time"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
)

func TestValidate(t *testing.T) {
	cases := []struct {
		name   string
		change func(*Settings)
		want   []string
	}{
		{"as it is", func(*Settings) {}, nil},
		{"no name, zone or state", func(s *Settings) { s.Name, s.Zone, s.State = "", nil, "md" }, []string{"/name", "/time_zone", "/state"}},
		{"no days", func(s *Settings) { s.WorkWeek = nil }, []string{"/work_week"}},
		{"an odd day and one twice", func(s *Settings) { s.WorkWeek = []int{0, 1, 1} }, []string{"/work_week", "/work_week"}},
		{"a holiday twice and one without a date", func(s *Settings) {
			s.Holidays = []civil.Date{civil.MustDate("2026-07-04"), civil.MustDate("2026-07-04"), {}}
		},
			[]string{"/holidays", "/holidays"}},
	}
	for _, c := range cases {
		s := Settings{Name: "Fernwick Grounds", Zone: time.UTC, State: "MD", WorkWeek: []int{1, 2, 3, 4, 5}}
		c.change(&s)
		var got []string
		if f := fault.As(Validate(s)); f != nil {
			for _, field := range f.Fields {
				got = append(got, field.Pointer)
			}
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: points at %v, want %v", c.name, got, c.want)
		}
	}
}
