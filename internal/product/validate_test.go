package product

import (
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
)

func ptr[T any](v T) *T { return &v }

func pointers(t *testing.T, err error) []string {
	t.Helper()
	if err == nil {
		return nil
	}
	f := fault.As(err)
	if f == nil || f.Kind != fault.Invalid {
		t.Fatalf("%v is not a fault.Invalid", err)
	}
	var at []string
	for _, field := range f.Fields {
		at = append(at, field.Pointer)
	}
	return at
}

var weedStop = Product{Name: "Sedge Example 4L", Kind: "pesticide", Form: "liquid", ActiveIngredient: "examplin", EPARegNo: "00000-1"}

func TestValidate(t *testing.T) {
	cases := []struct {
		name   string
		change func(*Product)
		want   []string
	}{
		{"as it is", func(*Product) {}, nil},
		{"no active ingredient", func(p *Product) { p.ActiveIngredient = "" }, []string{"/active_ingredient"}},
		{"a minimum-risk product has no number", func(p *Product) { p.EPARegNo = "" }, nil},
		{"restricted without number", func(p *Product) { p.RestrictedUse, p.EPARegNo = true, "" }, []string{"/epa_reg_no"}},
		{"number in words", func(p *Product) { p.EPARegNo = "see label" }, []string{"/epa_reg_no"}},
		{"distributor's number", func(p *Product) { p.EPARegNo = "00000-12-345" }, nil},
		{"restricted fertiliser", func(p *Product) { p.Kind, p.RestrictedUse = "fertiliser", true }, []string{"/restricted_use"}},
		{"over a hundred percent", func(p *Product) { p.NPercent = ptr(101.0) }, []string{"/n_percent", "/n_percent"}},
		{"together over a hundred", func(p *Product) { p.NPercent, p.P2O5Percent, p.K2OPercent = ptr(46.0), ptr(50.0), ptr(5.0) }, []string{"/n_percent"}},
		{"slow release of nothing", func(p *Product) { p.NSlowPercent = ptr(50.0) }, []string{"/n_slow_percent"}},
		{"odd kind and form", func(p *Product) { p.Kind, p.Form = "paint", "gas" }, []string{"/kind", "/form"}},
	}
	for _, c := range cases {
		p := weedStop
		c.change(&p)
		if got := pointers(t, Validate(p)); !slices.Equal(got, c.want) {
			t.Errorf("%s: points at %v, want %v", c.name, got, c.want)
		}
	}
}

func TestValidateLabel(t *testing.T) {
	dry := Product{Kind: "fertiliser", Form: "dry"}
	v := LabelVersion{Revision: "r1", Pattern: "turf", InForceFrom: civil.MustDate("2026-01-01"),
		Limits: label.Limits{RateMax: ptr(3.0), RateUnit: label.LbPerThousand, ReentryText: "until dry"}}
	if err := ValidateLabel(dry, v); err != nil {
		t.Error(err)
	}
	v.Limits.RateUnit = label.FlOzPerThousand
	if got := pointers(t, ValidateLabel(dry, v)); !slices.Contains(got, "/limits/rate_unit") {
		t.Errorf("fluid ounces of a dry product point at %v", got)
	}
	v.Limits.ReentryText = ""
	if got := pointers(t, ValidateLabel(weedStop, v)); !slices.Contains(got, "/limits/reentry_text") {
		t.Errorf("a pesticide label without re-entry points at %v", got)
	}
	if got := pointers(t, ValidateLabel(dry, LabelVersion{Limits: label.Limits{RateUnit: label.LbPerThousand, RateMax: ptr(1.0)}})); !slices.Contains(got, "/revision") ||
		!slices.Contains(got, "/pattern") || !slices.Contains(got, "/in_force_from") {
		t.Errorf("an empty version points at %v", got)
	}
}

func person(name string, license crew.LicenseKind, from, to string) crew.Person {
	p := crew.Person{ID: uuid.New(), Name: name}
	if license != "" {
		p.Licenses = []crew.License{{Kind: license, State: "MD", Number: "1", ValidFrom: civil.MustDate(from), ValidTo: civil.MustDate(to)}}
	}
	return p
}

func TestWhoConfirmsALabel(t *testing.T) {
	today, at := civil.MustDate("2026-06-01"), time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	ada := person("Ada Marsh", crew.Pesticide, "2026-01-01", "2026-12-31")
	ben := person("Ben Rowe", crew.Pesticide, "2026-01-01", "2026-12-31")
	old := person("Cora Lund", crew.Pesticide, "2025-01-01", "2026-05-31")
	helper := person("Dan Fell", "", "", "")
	gone := ben
	gone.LeftOn = civil.MustDate("2026-05-01")
	entered := LabelVersion{Revision: "r1", EnteredBy: ada.ID}
	fert := Product{Kind: "fertiliser", Form: "dry"}
	cases := []struct {
		name  string
		p     Product
		by    crew.Person
		staff []crew.Person
		code  string
		solo  bool
	}{
		{"a second licensed person", weedStop, ben, []crew.Person{ada, ben}, "", false},
		{"the same person though another could", weedStop, ada, []crew.Person{ada, ben}, "second-person", false},
		{"the same person, alone", weedStop, ada, []crew.Person{ada, helper, old}, "", true},
		{"the same person, the other has left", weedStop, ada, []crew.Person{ada, gone}, "", true},
		{"a licence that ended yesterday", weedStop, old, []crew.Person{ada, old}, "license-needed", false},
		{"no licence", weedStop, helper, []crew.Person{ada, helper}, "license-needed", false},
		{"anybody for a fertiliser", fert, helper, []crew.Person{ada, helper}, "", false},
		{"somebody who has left, for a fertiliser", fert, gone, []crew.Person{ada, gone}, "license-needed", false},
	}
	for _, c := range cases {
		v, err := Confirm(c.p, entered, c.by, c.staff, "MD", today, at)
		if c.code != "" {
			if !fault.HasCode(err, c.code) || v.Confirmed() {
				t.Errorf("%s: %v, want code %s and nothing confirmed", c.name, err, c.code)
			}
			continue
		}
		if err != nil || v.ConfirmedBy != c.by.ID || !v.ConfirmedAt.Equal(at) || v.Solo() != c.solo {
			t.Errorf("%s: %+v, %v", c.name, v, err)
		}
		if _, err := Confirm(c.p, v, c.by, c.staff, "MD", today, at); !fault.HasCode(err, "label-confirmed") {
			t.Errorf("%s, again: %v", c.name, err)
		}
	}
}

func TestUnconfirmedLabelBindsNothing(t *testing.T) {
	who := uuid.New()
	v1 := LabelVersion{Pattern: "turf", Revision: "1", InForceFrom: civil.MustDate("2025-01-01"), ConfirmedBy: who}
	v2 := LabelVersion{Pattern: "turf", Revision: "2", InForceFrom: civil.MustDate("2026-01-01")}
	p := Product{Labels: []LabelVersion{v2, v1}}
	if v, ok := p.LabelOn("turf", civil.MustDate("2026-06-01")); !ok || v.Revision != "1" {
		t.Errorf("in force: %q, %v; want the confirmed revision 1", v.Revision, ok)
	}
	p.Labels[0].ConfirmedBy = who
	if v, _ := p.LabelOn("turf", civil.MustDate("2026-06-01")); v.Revision != "2" {
		t.Errorf("in force: %q, want 2", v.Revision)
	}
	if v, _ := p.LabelOn("turf", civil.MustDate("2025-12-31")); v.Revision != "1" {
		t.Errorf("in force the day before: %q, want 1", v.Revision)
	}
}
