package application_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
	"thirdcut/internal/product"
	"thirdcut/internal/property"
	"thirdcut/internal/stock"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/weather"
)

func ptr[T any](v T) *T { return &v }

func id(n byte) uuid.UUID { return uuid.UUID{15: n} }

var (
	zone, _ = time.LoadLocation("America/New_York")
	day     = civil.MustDate("2026-06-03")
)

const (
	front, back, weed, weedLabel, lot1, lot2 = 1, 2, 3, 4, 5, 6
	lee, hal, olive, record                  = 10, 11, 12, 20
)

func at(hhmm string) time.Time {
	t, err := civil.ParseTimeOfDay(hhmm)
	if err != nil {
		panic(err)
	}
	return day.At(t, zone)
}

// files is a property in Maryland with two areas, a herbicide with a label, a
// licensed person and a helper, and two lots.
func files() application.Facts {
	license := func(kind crew.LicenseKind, number, to string) crew.License {
		return crew.License{Kind: kind, State: "MD", Number: number, ValidFrom: civil.MustDate("2025-01-01"), ValidTo: civil.MustDate(to)}
	}
	return application.Facts{
		Site: application.Site{PropertyID: id(9), CustomerName: "Ada Marsh", SiteAddress: "2 Fern Way", Municipality: "Fernwick",
			County: "Carroll", State: "MD", ZIPCode: "21000", BusinessName: "Fernwick Grounds"},
		Zone: zone, Now: at("17:00"), CloseOutID: id(30), VisitID: id(31), VisitEnd: at("09:30"),
		Product: product.Product{ID: id(weed), Name: "Sample Sedge Out", Kind: "pesticide", Form: "liquid", EPARegNo: "00000-1",
			ActiveIngredient: "examplin", ConcentrationPercent: ptr(41.5),
			Labels: []product.LabelVersion{{ID: id(weedLabel), ProductID: id(weed), Revision: "A", Pattern: "turf", InForceFrom: civil.MustDate("2025-01-01"),
				ConfirmedBy: id(olive), Limits: label.Limits{Revision: "A", Place: "p. 3", RateMax: ptr(1.5), RateUnit: label.FlOzPerThousand,
					YearMax: ptr(4.0), IntervalDays: ptr(21), ReentryText: "12 hours", ReentryHours: ptr(12.0), WindMaxMPH: ptr(10.0)}}}},
		Areas: map[uuid.UUID]property.TurfArea{
			id(front): {ID: id(front), Name: "Front", AreaSqFt: 5200, Species: turf.TallFescue},
			id(back):  {ID: id(back), Name: "Back", AreaSqFt: 800, Species: turf.Zoysiagrass}},
		People: map[uuid.UUID]crew.Person{
			id(lee):   {ID: id(lee), Name: "Lee Alder", Licenses: []crew.License{license(crew.Pesticide, "P-1", "2026-12-31")}},
			id(hal):   {ID: id(hal), Name: "Hal Sedge", Licenses: []crew.License{license(crew.Pesticide, "P-OLD", "2026-06-02")}},
			id(olive): {ID: id(olive), Name: "Olive Rook"}},
		Reporter: crew.Person{ID: id(hal), Name: "Hal Sedge"},
		Lots: map[uuid.UUID]stock.Lot{
			id(lot1): {ID: id(lot1), ProductID: id(weed), Number: "W-1", Left: 0.1, LeftUnit: "L", ExpiresOn: day},
			id(lot2): {ID: id(lot2), ProductID: id(weed), Number: "W-2", Left: 1, LeftUnit: "L"}},
		Days: map[civil.Date]weather.Day{day: {Date: day, Max: unit.Celsius(25), Min: unit.Celsius(15), Wind: 3 * unit.MetrePerSecond, Quality: weather.Observed}},
	}
}

func told() application.Told {
	return application.Told{ID: id(record), ProductID: id(weed), Lines: []application.ToldLine{{TurfAreaID: id(front), AreaTreated: "5,200 sq ft", Amount: "5.2 fl oz"}},
		Diluent: "10 gal", LotIDs: []uuid.UUID{id(lot2)}, StartedAt: at("08:40"), FinishedAt: at("09:05"), ApplicatorID: id(lee),
		AirTemp: "71 F", Wind: "4 mph", WindDirection: "SW", Method: "broadcast spray", Equipment: "backpack sprayer", Target: "yellow nutsedge"}
}

func build(t testing.TB, f application.Facts, told application.Told) application.Built {
	t.Helper()
	b, err := application.Build(f, told)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// severity of the first finding of the code; empty when there is none.
func severity(findings []label.Finding, code string) label.Severity {
	i := slices.IndexFunc(findings, func(f label.Finding) bool { return f.Code == code })
	if i < 0 {
		return ""
	}
	return findings[i].Severity
}

func TestARecordSaysWhatWasToldAndWhatFollows(t *testing.T) {
	b := build(t, files(), told())
	r := b.Record
	if r.Total.Entered != "5.2 fl oz" || r.Total.Unit != "L" || math.Abs(r.Total.Value-5.2*0.0295735295625) > 1e-9 {
		t.Errorf("total %+v", r.Total)
	}
	if r.Rate != "1 fl oz/1000 sq ft" {
		t.Errorf("rate %q, want 5.2 fl oz on 5,200 sq ft", r.Rate)
	}
	if r.DilutedVolume == nil || math.Abs(r.DilutedVolume.Value-(10+5.2/128)) > 1e-8 {
		t.Errorf("mix of 10 gal and 5.2 fl oz: %+v", r.DilutedVolume)
	}
	if r.MixRate != "0.517896 fl oz/gal" { // 5.2 / 10.040625
		t.Errorf("mix rate %q", r.MixRate)
	}
	if !r.ReentryAt.Equal(at("21:05")) || r.ReentryText != "12 hours" {
		t.Errorf("re-entry %q at %v", r.ReentryText, r.ReentryAt)
	}
	if r.AppliedOn != day || r.Applicator.License != "P-1" || r.Supervisor != (application.Who{}) || r.LabelRevision != "A" {
		t.Errorf("record %+v", r)
	}
	if *r.WeatherStart.AirTempF != 71 || *r.WeatherStart.WindMPH != 4 || r.WeatherStart.WindOrigin != application.Measured {
		t.Errorf("weather %+v", r.WeatherStart)
	}
	if worst, any := label.Worst(r.Findings); any && worst == label.Refuse {
		t.Errorf("findings %+v", r.Findings)
	}
	if len(b.Moves) != 1 || b.Moves[0].LotID != id(lot2) || b.Moves[0].Amount != -r.Total.Value || b.Moves[0].RecordID != r.ID {
		t.Errorf("moves %+v", b.Moves)
	}
}

func TestOverTheLabelIsKeptAndMarked(t *testing.T) {
	for _, c := range []struct {
		amount string
		want   label.Severity
	}{{"7.8 fl oz", ""}, {"7.81 fl oz", label.Refuse}, {"52 fl oz", label.Refuse}} { // the most is 1.5 x 5.2 = 7.8
		tell := told()
		tell.Lines[0].Amount = c.amount
		r := build(t, files(), tell).Record
		if got := severity(r.Findings, "rate-over"); got != c.want {
			t.Errorf("%s: severity %q, want %q", c.amount, got, c.want)
		}
		if r.Total.Entered != c.amount {
			t.Errorf("%s is recorded as %s", c.amount, r.Total.Entered)
		}
	}
}

func TestPastApplicationsCount(t *testing.T) {
	f := files()
	past := application.Past{RecordID: id(40), TurfAreaID: id(front), ProductID: id(weed), On: day.AddDays(-20),
		Area: 5200 * unit.SquareFoot, Amount: label.Liquid(unit.FluidOunce.Times(3.1*5.2), "")}
	f.Past = []application.Past{past}
	r := build(t, f, told()).Record
	if severity(r.Findings, "interval") != label.Refuse || severity(r.Findings, "year-over") != label.Refuse {
		t.Errorf("20 days after 3.1 fl oz of 4 a year: %+v", r.Findings)
	}
	f.Past[0].RecordID = id(record) // the record itself, when it is corrected
	if r = build(t, f, told()).Record; severity(r.Findings, "interval") != "" {
		t.Error("a record is compared with itself")
	}
	f.Past[0].RecordID, f.Past[0].TurfAreaID = id(40), id(back)
	if r = build(t, f, told()).Record; severity(r.Findings, "interval") != "" {
		t.Error("another area's application counts")
	}
}

func TestLicensesAreLookedUpOnTheDay(t *testing.T) {
	liquid := files().Product
	feed := product.Product{Name: "Sample Green", Kind: "fertiliser", Form: "dry"}
	people := files().People
	trained := crew.Person{ID: id(50), Name: "Ned Reed", Licenses: []crew.License{{Kind: crew.Training, State: "MD", Number: "T-1", ValidFrom: day, ValidTo: day}}}
	nobody := crew.Person{}
	for _, c := range []struct {
		name                  string
		p                     product.Product
		applicator, answering crew.Person
		state                 string
		on                    civil.Date
		code                  string
		severity              label.Severity
	}{
		{"in force", liquid, people[id(lee)], nobody, "MD", day, "", ""},
		{"ended the day before", liquid, people[id(hal)], nobody, "MD", day, "license", label.Refuse},
		{"last day counts", liquid, people[id(hal)], nobody, "MD", day.AddDays(-1), "", ""},
		{"another state", liquid, people[id(lee)], nobody, "VA", day, "license", label.Refuse},
		{"under a licensed person, registered", liquid, trained, people[id(lee)], "MD", day, "supervised", label.Note},
		{"under a licensed person, not registered", liquid, people[id(olive)], people[id(lee)], "MD", day, "not-registered", label.Confirm},
		{"under one whose licence ended", liquid, trained, people[id(hal)], "MD", day, "supervisor-license", label.Refuse},
		{"answers for himself", liquid, people[id(hal)], people[id(hal)], "MD", day, "license", label.Refuse},
		{"fertiliser asks for a reason", feed, people[id(lee)], nobody, "MD", day, "license", label.Confirm},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := application.CheckLicenses(c.p, c.applicator, c.answering, c.state, c.on)
			if c.code == "" {
				if len(got) != 0 {
					t.Errorf("findings %+v", got)
				}
				return
			}
			if len(got) != 1 || got[0].Code != c.code || got[0].Severity != c.severity || !strings.Contains(got[0].Text, c.applicator.Name) {
				t.Errorf("findings %+v, want one %s %s", got, c.severity, c.code)
			}
		})
	}
}

func TestTheCrewsLicensedPersonAnswersForAHelper(t *testing.T) {
	f := files()
	f.CrewSupervisor = id(lee)
	tell := told()
	tell.ApplicatorID = id(hal)
	r := build(t, f, tell).Record
	if r.Supervisor.PersonID != id(lee) || r.Supervisor.License != "P-1" || r.Applicator.License != "" {
		t.Errorf("applicator %+v, supervisor %+v", r.Applicator, r.Supervisor)
	}
	tell.ApplicatorID = id(lee)
	if r = build(t, f, tell).Record; r.Supervisor.PersonID != uuid.Nil {
		t.Error("a licensed person is put under the crew's")
	}
}

func TestNothingIsMadeUpAboutTheWeather(t *testing.T) {
	tell := told()
	tell.AirTemp, tell.Wind, tell.WindDirection = "", "", ""
	r := build(t, files(), tell).Record
	if r.WeatherStart.AirTempF != nil {
		t.Errorf("an air temperature %v without a measurement", *r.WeatherStart.AirTempF)
	}
	if r.WeatherStart.WindMPH == nil || r.WeatherStart.WindOrigin != application.FromStation || math.Abs(*r.WeatherStart.WindMPH-6.711) > 0.001 {
		t.Errorf("wind of the day's mean of 3 m/s: %+v", r.WeatherStart)
	}
	judged := r.Judged()
	if _, ok := judged.Fields["wind_speed"]; ok {
		t.Error("a station's mean passes for the wind at the site")
	}
	f := files()
	f.Days[day] = weather.Day{Date: day, Wind: 3 * unit.MetrePerSecond, Quality: weather.Forecast}
	if r = build(t, f, tell).Record; r.WeatherStart.WindMPH != nil {
		t.Error("a forecast passes for what was")
	}
	for _, bad := range []string{"71", "400 F", "warm"} {
		tell.AirTemp = bad
		r = build(t, f, tell).Record
		if severity(r.Findings, "air-temp-unreadable") != label.Note || r.WeatherStart.AirTempF != nil || r.WeatherStart.AirTempEntered != bad {
			t.Errorf("%q: %+v", bad, r.WeatherStart)
		}
	}
	tell.AirTemp, tell.Wind = "71 F", "11 mph"
	if r = build(t, f, tell).Record; severity(r.Findings, "wind-over") != label.Refuse {
		t.Errorf("11 mph against 10: %+v", r.Findings)
	}
}

func TestReentryIsElapsedTimeAcrossTheClockChange(t *testing.T) {
	tell := told()
	night := civil.MustDate("2026-10-31").At(20*60, zone) // clocks go back at 2:00 on 1 November
	tell.StartedAt, tell.FinishedAt = night.Add(-time.Hour), night
	f := files()
	r := build(t, f, tell).Record
	if want := civil.MustDate("2026-11-01").At(7*60, zone); !r.ReentryAt.Equal(want) {
		t.Errorf("re-entry at %v, want 7:00 by the clock", r.ReentryAt.In(zone))
	}
	if r.AppliedOn != civil.MustDate("2026-10-31") {
		t.Errorf("applied on %v", r.AppliedOn)
	}
	late := told()
	late.StartedAt, late.FinishedAt = at("23:40"), at("23:40").Add(40*time.Minute)
	if r = build(t, f, late).Record; r.AppliedOn != day {
		t.Errorf("begun at 23:40 of %v, recorded on %v", day, r.AppliedOn)
	}
	early := told()
	early.StartedAt, early.FinishedAt = time.Time{}, time.Time{}
	if r = build(t, f, early).Record; !r.FinishedAt.IsZero() || !r.ReentryAt.Equal(f.VisitEnd.Add(12*time.Hour)) {
		t.Error("without its own end, re-entry counts from the end of the visit and no end is made up")
	}
}

func TestStockIsTakenInOrderAndBelowZero(t *testing.T) {
	tell := told()
	tell.LotIDs = []uuid.UUID{id(lot1), id(lot2)}
	b := build(t, files(), tell)
	if len(b.Moves) != 2 || b.Moves[0].Amount != -0.1 || math.Abs(b.Moves[0].Amount+b.Moves[1].Amount+b.Record.Total.Value) > 1e-9 {
		t.Errorf("moves %+v of %v L", b.Moves, b.Record.Total.Value)
	}
	tell.LotIDs = []uuid.UUID{id(lot1)}
	b = build(t, files(), tell)
	if severity(b.Record.Findings, "stock-below-zero") != label.Note || b.Moves[0].Amount != -b.Record.Total.Value {
		t.Errorf("more than the lot holds: %+v %+v", b.Moves, b.Record.Findings)
	}
	if severity(b.Record.Findings, "lot-out-of-date") != "" {
		t.Error("out of date on its last day")
	}
	f := files()
	l := f.Lots[id(lot1)]
	l.ExpiresOn = day.AddDays(-1)
	f.Lots[id(lot1)] = l
	if b = build(t, f, tell); severity(b.Record.Findings, "lot-out-of-date") != label.Confirm || len(b.Record.Lots) != 1 {
		t.Errorf("a lot that is out of date: %+v", b.Record.Findings)
	}
	tell.LotIDs = []uuid.UUID{id(99)}
	if b = build(t, files(), tell); severity(b.Record.Findings, "lot-unknown") != label.Note || len(b.Moves) != 0 {
		t.Errorf("a lot that is not on file: %+v", b.Record.Findings)
	}
	weighed := told()
	weighed.Lines[0].Amount = "5 oz wt"
	if b = build(t, files(), weighed); severity(b.Record.Findings, "lot-unit") != label.Note || len(b.Moves) != 0 || b.Record.Total.Unit != "kg" {
		t.Errorf("a liquid that was weighed: %+v %+v", b.Record.Total, b.Record.Findings)
	}
}

func TestWhatCannotBeRecordedNamesItsPlace(t *testing.T) {
	for pointer, spoil := range map[string]func(*application.Told){
		"/product_id":           func(t *application.Told) { t.ProductID = id(77) },
		"/applicator_id":        func(t *application.Told) { t.ApplicatorID = id(77) },
		"/lines":                func(t *application.Told) { t.Lines = nil },
		"/lines/0/amount":       func(t *application.Told) { t.Lines[0].Amount = "5.2" },
		"/lines/0/area_treated": func(t *application.Told) { t.Lines[0].AreaTreated = "5200" },
		"/lines/0/turf_area_id": func(t *application.Told) { t.Lines[0].TurfAreaID = id(77) },
		"/lines/1/turf_area_id": func(t *application.Told) { t.Lines = append(t.Lines, t.Lines[0]) },
		"/id":                   func(t *application.Told) { t.ID = uuid.Nil },
	} {
		tell := told()
		spoil(&tell)
		_, err := application.Build(files(), tell)
		bad := fault.As(err)
		if bad == nil || bad.Kind != fault.Invalid || !slices.ContainsFunc(bad.Fields, func(f fault.Field) bool { return f.Pointer == pointer && f.Detail != "" }) {
			t.Errorf("%s: %v", pointer, err)
		}
	}
	for _, amount := range []string{"0 fl oz", "-3 fl oz", "5.2 oz", "1e400 fl oz", "99999999 gal", "1,5 fl oz"} {
		tell := told()
		tell.Lines[0].Amount = amount
		if _, err := application.Build(files(), tell); !fault.HasCode(err, "application") {
			t.Errorf("amount %q: %v", amount, err)
		}
	}
}

func TestSeveralAreasEachHaveTheirLine(t *testing.T) {
	tell := told()
	tell.Lines = append(tell.Lines, application.ToldLine{TurfAreaID: id(back), AreaTreated: "800 sq ft", Amount: "2 fl oz"})
	r := build(t, files(), tell).Record
	if r.Total.Entered != "7.2 fl oz" || r.AreaTreated.Entered != "6000 sq ft" || r.Rate != "1.2 fl oz/1000 sq ft" {
		t.Errorf("total %q on %q at %q", r.Total.Entered, r.AreaTreated.Entered, r.Rate)
	}
	i := slices.IndexFunc(r.Findings, func(f label.Finding) bool { return f.Code == "rate-over" })
	if i < 0 || !strings.HasPrefix(r.Findings[i].Text, "Back: ") { // 2 on 0.8 is 2.5
		t.Errorf("which area is over is not said: %+v", r.Findings)
	}
}

func TestNutrientsAreComparedWithTheLaw(t *testing.T) {
	f := files()
	f.Rules = rules(t, "us-md")
	f.Product = product.Product{ID: id(weed), Name: "Sample Green 20", Kind: "fertiliser", Form: "dry", NPercent: ptr(20.0), NSlowPercent: ptr(50.0)}
	tell := told()
	tell.Diluent, tell.LotIDs = "", nil
	for _, c := range []struct {
		amount string
		over   bool
	}{{"23.4 lb", false}, {"23.5 lb", true}} { // 0.9 lb N per 1,000 sq ft: 0.9 x 5.2 / 0.20 = 23.4 lb
		tell.Lines[0].Amount = c.amount
		r := build(t, f, tell).Record
		if got := severity(r.Findings, "n-over") == label.Refuse; got != c.over {
			t.Errorf("%s: over %v, want %v: %+v", c.amount, got, c.over, r.Findings)
		}
	}
	f.Rules = rules(t, "us-nj") // 4.25 lb N a year
	f.Past = []application.Past{{RecordID: id(41), TurfAreaID: id(front), ProductID: id(77), On: civil.MustDate("2026-04-01"), Area: 5200 * unit.SquareFoot,
		Amount: label.Dry(unit.Pound.Times(100), ""), NPercent: ptr(20.0)}}
	for _, c := range []struct {
		amount string
		over   bool
	}{{"10.5 lb", false}, {"10.6 lb", true}} { // 100 lb gave 3.846; 10.5 lb more makes 4.25
		tell.Lines[0].Amount = c.amount
		if r := build(t, f, tell).Record; severity(r.Findings, "n-year-over") == label.Refuse != c.over {
			t.Errorf("%s after 100 lb of another product: %+v", c.amount, r.Findings)
		}
	}
	f.Product.Form = "liquid"
	tell.Lines[0].Amount = "2 gal"
	if r := build(t, f, tell).Record; severity(r.Findings, "nutrients-unknown") != label.Note {
		t.Error("a liquid feed of unknown weight is passed over in silence")
	}
}

func TestBuildIsTheSameEachTimeAndNeverFailsOnReadableAmounts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tell := told()
		tell.Lines[0].Amount = rapid.StringMatching(`[1-9][0-9]{0,3}(\.[0-9]{1,3})? (fl oz|gal|qt|mL|L|pt)`).Draw(t, "amount")
		tell.Lines[0].AreaTreated = rapid.StringMatching(`[1-9][0-9]{0,4}(\.[0-9])? (sq ft|m2)`).Draw(t, "area")
		tell.Wind = rapid.SampledFrom([]string{"", "4 mph", "3", "wild", "2 m/s"}).Draw(t, "wind")
		tell.Reasons = map[string]string{"rate-over": "read wrong", "interval": "asked for"}
		a, err := application.Build(files(), tell)
		if err != nil {
			t.Fatal(err)
		}
		b, _ := application.Build(files(), tell)
		one, _, err1 := application.Seal(a.Record, application.Hash{})
		two, _, err2 := application.Seal(b.Record, application.Hash{})
		if err1 != nil || err2 != nil || one != two {
			t.Fatalf("two builds differ: %v %v", err1, err2)
		}
		again, err := application.Unseal(one)
		if err != nil {
			t.Fatal(err)
		}
		if text, _, _ := application.Seal(again, application.Hash{}); text != one {
			t.Fatalf("sealed text does not come back:\n%s\n%s", one, text)
		}
		back := again.Told()
		if back.Lines[0].Amount != tell.Lines[0].Amount || back.Wind != tell.Wind || back.Reasons["interval"] != "asked for" {
			t.Fatalf("told %+v", back)
		}
	})
}
