package application_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/application"
	"thirdcut/internal/label"
	"thirdcut/internal/recordrule"
)

func rules(t *testing.T, ids ...string) []recordrule.Rule {
	t.Helper()
	var list []recordrule.Rule
	for _, id := range ids {
		r, err := recordrule.ByID(id)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, r)
	}
	return list
}

// full tells everything that any rule may ask of a lawn application.
func full() (application.Facts, application.Told) {
	f, tell := files(), told()
	f.Site.CustomerAddress, f.Site.CustomerPhone, f.Site.PropertyOwner = "2 Fern Way, Fernwick", "555-0100", "Ada Marsh"
	f.Site.BusinessAddress, f.Site.BusinessLicense = "1 Yard Road", "B-1"
	f.Product.Formulation = "soluble liquid"
	tell.WeatherOther, tell.AuthorisedBy, tell.SignPosted, tell.NoticeGiven = "clear", "Ada Marsh", true, true
	return f, tell
}

func missing(t *testing.T, r application.Record, rule string) []string {
	t.Helper()
	var ids []string
	gaps, err := application.GapsOf(r, rules(t, rule), recordrule.Calendar{Zone: zone}, at("17:00"))
	if err != nil {
		t.Fatal(err)
	}
	for _, g := range gaps {
		ids = append(ids, g.Element)
	}
	return ids
}

func TestAFullRecordMeetsEveryRule(t *testing.T) {
	f, tell := full()
	r := build(t, f, tell).Record
	if err := r.Judged().Check(); err != nil {
		t.Fatal(err)
	}
	for _, rule := range recordrule.All() {
		if rule.Kind != recordrule.RecordRule {
			continue
		}
		if ids := missing(t, r, rule.ID); len(ids) != 0 {
			t.Errorf("%s still wants %v", rule.ID, ids)
		}
	}
}

// The elements that the vocabulary's own examples miss when the same is left out.
func TestWhatIsLeftOutIsMissed(t *testing.T) {
	f, tell := full()
	tell = application.Told{ID: tell.ID, ProductID: tell.ProductID, Lines: tell.Lines, Diluent: tell.Diluent, ApplicatorID: tell.ApplicatorID}
	r := build(t, f, tell).Record
	for rule, want := range map[string][]string{
		"us-tx-agriculture": {"air_temp", "method", "start_time", "target_pest", "wind_direction", "wind_speed"},
		"us-md":             {"application_time", "equipment", "target_pest", "wind_direction", "wind_speed"},
		"us-ny":             {"method", "target_pest"},
		"us-ca":             {"application_time"},
		"us-ga":             {"application_time", "equipment", "target_pest"},
	} {
		if got := missing(t, r, rule); !slices.Equal(got, want) {
			t.Errorf("%s misses %v, want %v", rule, got, want)
		}
	}
}

func TestRestrictedUseUnderSupervision(t *testing.T) {
	f, tell := full()
	f.Product.RestrictedUse = true
	tell.ApplicatorID, tell.SupervisorID = id(hal), id(lee)
	r := build(t, f, tell).Record
	judged := r.Judged()
	for _, want := range []string{"restricted_use", "applicator_differs_from_supervisor", "uncertified_person_took_part", "applicator_unlicensed", "label_has_rei", "diluted"} {
		if !judged.Holds(want) {
			t.Errorf("%s does not hold", want)
		}
	}
	if judged.Fields["supervisor_license"] != "P-1" || judged.Fields["applicator_license"] != nil || judged.Fields["reentry_datetime"] != "2026-06-03 21:05" {
		t.Errorf("fields %v", judged.Fields)
	}
	tell.ApplicatorID, tell.SupervisorID = id(lee), uuid.Nil
	alone := build(t, f, tell).Record.Judged()
	if !alone.Holds("applicator_is_supervisor") || alone.Fields["supervisor_license"] != "P-1" {
		t.Error("a licensed person alone answers for himself")
	}
}

func TestSpotWorkHasAShortListOnlyWhereItsAreaIsKnown(t *testing.T) {
	f, tell := full()
	f.Product.RestrictedUse = true
	f.Site.County = ""
	tell.Spot, tell.Target = true, ""
	r := build(t, f, tell).Record
	r.Applicator.Name = ""
	long := missing(t, r, "us-federal-7cfr110")
	r.SpotAcresOfDay = ptr(0.09)
	if short := missing(t, r, "us-federal-7cfr110"); len(short) != 0 || len(long) == 0 {
		t.Errorf("full list %v, short list %v", long, short)
	}
	r.SpotAcresOfDay = ptr(0.1)
	if again := missing(t, r, "us-federal-7cfr110"); !slices.Equal(again, long) {
		t.Errorf("at the limit of area the short list holds: %v", again)
	}
	if where := r.Judged().Fields["site_location"].(string); !strings.HasPrefix(where, "spot application: Front, 2 Fern Way") {
		t.Errorf("place %q", where)
	}
}

func TestPlainFertiliserHasNoPesticideGaps(t *testing.T) {
	f, tell := files(), told()
	f.Product.Kind, f.Product.Form, f.Product.NPercent = "fertiliser", "dry", ptr(20.0)
	f.Product.Labels[0].Limits = label.Limits{RateUnit: label.LbPerThousand}
	tell.Lines[0].Amount, tell.Target = "10 lb", ""
	if ids := missing(t, build(t, f, tell).Record, "us-md"); len(ids) != 0 {
		t.Errorf("a plain fertiliser misses %v", ids)
	}
}

func TestGapsSayWhenTheyAreDue(t *testing.T) {
	f, tell := full()
	tell.FinishedAt, f.Site.CustomerName, f.Site.PropertyOwner = time.Time{}, "", ""
	r := build(t, f, tell).Record
	r.Seq = 7
	timed := 0
	for _, rule := range recordrule.All() {
		if rule.Judges() != nil {
			continue
		}
		gaps, err := application.GapsOf(r, []recordrule.Rule{rule}, recordrule.Calendar{Zone: zone}, at("17:00"))
		if err != nil {
			t.Fatal(err)
		}
		later, _ := application.GapsOf(r, []recordrule.Rule{rule}, recordrule.Calendar{Zone: zone}, at("17:00").AddDate(1, 0, 0))
		for i, g := range gaps {
			if g.Seq != 7 || g.RecordID != r.ID || g.AppliedOn != day || g.Rule != rule.ID || g.Jurisdiction == "" || g.Citation == "" {
				t.Errorf("gap %+v", g)
			}
			if g.Late || later[i].Late == g.Due.IsZero() {
				t.Errorf("%s, %s: late %v on the day, %v a year later, due %v", rule.ID, g.Element, g.Late, later[i].Late, g.Due)
			}
			if !g.Due.IsZero() {
				timed++
			}
		}
	}
	if timed == 0 {
		t.Error("no rule sets a time")
	}
}

func TestRulesOfAPlace(t *testing.T) {
	ids := func(state string, named ...string) []string {
		var list []string
		for _, r := range application.RulesAt(recordrule.All(), state, named) {
			list = append(list, r.ID)
		}
		return list
	}
	federal := []string{"us-federal-40cfr171", "us-federal-7cfr110"}
	for _, c := range []struct {
		state string
		named []string
		want  []string
	}{
		{"MD", nil, append(slices.Clone(federal), "us-md")},
		{"TX", nil, append(slices.Clone(federal), "us-tx-agriculture", "us-tx-structural")},
		{"TX", []string{"us-tx-structural"}, append(slices.Clone(federal), "us-tx-structural")},
		{"VA", []string{"us-md"}, append(slices.Clone(federal), "us-md", "us-va")},
		{"WY", nil, federal},
	} {
		if got := ids(c.state, c.named...); !slices.Equal(got, c.want) {
			t.Errorf("%s with %v: %v, want %v", c.state, c.named, got, c.want)
		}
	}
	if list := application.Unjudged(application.RulesAt(recordrule.All(), "CO", nil)); len(list) != 1 {
		t.Errorf("Colorado's incomplete list is passed over: %v", list)
	}
}
