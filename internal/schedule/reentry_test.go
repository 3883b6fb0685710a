package schedule

import (
	"testing"
	"time"

	"thirdcut/internal/civil"
	"thirdcut/internal/company"
)

func TestNobodyMowsWhileALabelKeepsPeopleOff(t *testing.T) {
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	c, today := company.Settings{Zone: zone}, civil.MustDate("2026-06-03")
	at := func(day string, hour, minute int) time.Time {
		return civil.MustDate(day).At(civil.TimeOfDay(60*hour+minute), zone).UTC()
	}
	cases := []struct {
		name string
		ends time.Time
		want []string
	}{
		{"no hours on the label", time.Time{}, nil},
		{"over this morning", at("2026-06-03", 9, 0), nil},
		{"until tomorrow", at("2026-06-04", 9, 0), []string{"2026-06-03"}},
		{"until late tomorrow, which is a day later in UTC", at("2026-06-04", 23, 59), []string{"2026-06-03"}},
		{"for four days", at("2026-06-06", 8, 0), []string{"2026-06-03", "2026-06-04", "2026-06-05"}},
	}
	for _, k := range cases {
		got := reentryDays(c, Applied{On: civil.MustDate("2026-06-02"), ReentryAt: k.ends, ProductName: "Sample Sedge Out"}, today)
		if len(got) != len(k.want) {
			t.Errorf("%s: struck %v, want %v", k.name, got, k.want)
			continue
		}
		for i, s := range got {
			if s.Date.String() != k.want[i] {
				t.Errorf("%s: struck %v, want %v", k.name, got, k.want)
			}
		}
	}
	words := reentryDays(c, Applied{On: today, ReentryAt: at("2026-06-04", 9, 5), ProductName: "Sample Sedge Out"}, today)[0].Reason
	if want := "nobody may go on it until " + civil.MustDate("2026-06-04").Words() + " 09:05, by the label of Sample Sedge Out"; words != want {
		t.Errorf("the reason is %q, want %q", words, want)
	}
}
