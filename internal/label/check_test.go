package label

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

func ptr[T any](v T) *T { return &v }

// plain is a use that no limit touches.
func plain(form Form) Use {
	u := Use{Product: "Demo Product", Form: form, AreaTreated: 5 * unit.Thousand, AreaOnFile: 5 * unit.Thousand,
		Species: turf.TallFescue, Date: civil.MustDate("2026-06-03"), Amount: Dry(unit.Pound, "1 lb")}
	if form == LiquidForm {
		u.Amount = Liquid(unit.Pint, "1 pt")
	}
	return u
}

func codes(found []Finding) string {
	var s []string
	for _, f := range found {
		s = append(s, string(f.Severity)+" "+f.Code)
	}
	return strings.Join(s, ", ")
}

func find(found []Finding, code string) (Finding, bool) {
	for _, f := range found {
		if f.Code == code {
			return f, true
		}
	}
	return Finding{}, false
}

// TestRateLimitsInEveryUnit states limits in each unit and puts down exactly
// the limit, a thousandth less and a thousandth more, as the amount on areas of
// many sizes, so that conversion's last digits are in play.
func TestRateLimitsInEveryUnit(t *testing.T) {
	areas := []unit.Area{400 * unit.SquareFoot, 5200 * unit.SquareFoot, 0.12 * unit.Acre, 1.7 * unit.Acre, 333.3 * unit.SquareMetre}
	for _, u := range AllRateUnits {
		for _, v := range []float64{0.3, 0.67, 0.87, 1.33, 3, 11.9, 518} {
			limits := Limits{RateUnit: u, RateMin: ptr(v / 2), RateMax: ptr(v), YearMax: ptr(3 * v)}
			for _, area := range areas {
				for _, c := range []struct {
					share float64
					want  string
				}{
					{1, ""}, {0.999, ""}, {1.001, "refuse rate-over"},
					{0.5, ""}, {0.501, ""}, {0.499, "note rate-under"},
				} {
					name := fmt.Sprintf("%g of %g %s on %.0f sq ft", c.share, v, u, area.SquareFeet())
					use := plain(DryForm)
					if u.Liquid() {
						use = plain(LiquidForm)
					}
					r, _ := u.Rate(v * c.share)
					use.AreaTreated, use.AreaOnFile, use.Amount = area, area, r.On(area)
					if got := codes(Check(limits, use)); got != c.want {
						t.Errorf("%s: %q, want %q", name, got, c.want)
					}
					if c.share <= 1 {
						continue
					}
					f := Check(limits, use)[0]
					if !strings.HasSuffix(f.Got, string(u)) || !strings.HasSuffix(f.Limit, string(u)) || f.Got == f.Limit {
						t.Errorf("%s: compared %q with %q", name, f.Got, f.Limit)
					}
				}
				testYearTotal(t, limits, u, v, area)
			}
		}
	}
}

// testYearTotal puts two earlier full applications on differently sized parts.
func testYearTotal(t *testing.T, limits Limits, u RateUnit, v float64, area unit.Area) {
	t.Helper()
	full, _ := u.Rate(v)
	use := plain(DryForm)
	if u.Liquid() {
		use = plain(LiquidForm)
	}
	use.AreaTreated, use.AreaOnFile = area, area
	use.Others = []Application{
		{On: civil.MustDate("2026-04-02"), Amount: full.On(area / 3), Area: area / 3},
		{On: civil.MustDate("2026-05-02"), Amount: full.On(area), Area: area},
		{On: civil.MustDate("2025-12-30"), Amount: full.On(area), Area: area}, // other year
	}
	for share, want := range map[float64]string{1: "", 0.999: "", 0.51: ""} {
		r, _ := u.Rate(v * share)
		use.Amount = r.On(area)
		if got := codes(Check(limits, use)); got != want {
			t.Errorf("year total, third application at %g of %g %s: %q, want %q", share, v, u, got, want)
		}
	}
	use.Others = append(use.Others, Application{On: civil.MustDate("2026-09-02"), Amount: full.On(area).scaled(0.001), Area: area})
	use.Amount = full.On(area)
	if got := codes(Check(limits, use)); got != "refuse year-over" {
		t.Errorf("a thousandth over the year's total of %g %s: %q", 3*v, u, got)
	}
}

func (a Amount) scaled(f float64) Amount {
	a.Mass, a.Volume = a.Mass.Times(f), a.Volume.Times(f)
	return a
}

func TestKindsOfAmountNeverMeet(t *testing.T) {
	dryRate, wetRate := Limits{RateUnit: LbPerAcre, RateMax: ptr(500.0)}, Limits{RateUnit: GalPerAcre, RateMax: ptr(500.0)}
	weighed, measured := Dry(unit.Pound, ""), Liquid(unit.Pint, "")
	for _, c := range []struct {
		name   string
		limits Limits
		form   Form
		amount Amount
		want   string
	}{
		{"dry product, weighed, label by weight", dryRate, DryForm, weighed, ""},
		{"dry product, label by volume", wetRate, DryForm, weighed, "refuse rate-unit"},
		{"dry product, amount by volume", dryRate, DryForm, measured, "refuse rate-unit"},
		{"liquid, measured, label by volume", wetRate, LiquidForm, measured, ""},
		{"liquid, measured, label by weight", dryRate, LiquidForm, measured, "refuse rate-unit"},
		{"liquid, weighed, label by volume", wetRate, LiquidForm, weighed, "refuse rate-unit"},
		{"liquid, weighed, label by weight", dryRate, LiquidForm, weighed, ""},
		{"unit that is not known", Limits{RateUnit: "bags/acre", RateMax: ptr(1.0)}, DryForm, weighed, "refuse rate-unit"},
	} {
		u := plain(c.form)
		u.Amount = c.amount
		if got := codes(Check(c.limits, u)); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

func TestCheckUnderAtAndOver(t *testing.T) {
	day := civil.MustDate
	fahrenheit := func(f float64) func(*Use) { return func(u *Use) { u.AirTemp = ptr(unit.Fahrenheit(f)) } }
	mph := func(v float64) func(*Use) { return func(u *Use) { u.Wind = ptr(unit.Speed(v) * unit.MilePerHour) } }
	dry := func(h float64) func(*Use) { return func(u *Use) { u.DryHours = &h } }
	cuts := func(after bool, days ...string) func(*Use) {
		return func(u *Use) {
			u.CutIsAfter = after
			for _, d := range days {
				u.Cuts = append(u.Cuts, day(d))
			}
		}
	}
	others := func(days ...string) func(*Use) {
		return func(u *Use) {
			for _, d := range days {
				u.Others = append(u.Others, Application{On: day(d), Amount: u.Amount, Area: u.AreaTreated})
			}
		}
	}
	seeded := func(d string) func(*Use) { return func(u *Use) { u.Seedings = []civil.Date{day(d)} } }
	water := func(l unit.Length) func(*Use) { return func(u *Use) { u.WaterIn = &l } }
	pond := func(ft float64) func(*Use) { return func(u *Use) { u.Water = ptr(unit.Length(ft) * unit.Foot) } }
	treated := func(sqft float64) func(*Use) {
		return func(u *Use) { u.AreaTreated = unit.Area(sqft) * unit.SquareFoot }
	}
	kind := func(s turf.Species) func(*Use) { return func(u *Use) { u.Species = s } }

	temps := Limits{AirTempMinF: ptr(50.0), AirTempMaxF: ptr(90.0), AirTempAdvisedMaxF: ptr(85.0)}
	winds := Limits{WindMaxMPH: ptr(10.0), WindAdvisedMaxMPH: ptr(5.0)}
	mow := Limits{MowWaitBeforeDays: ptr(2), MowWaitAfterDays: ptr(4)}
	grasses := Limits{NotOn: []turf.Species{turf.CreepingBentgrass}, Sensitive: []turf.Species{turf.Centipedegrass}}

	for _, c := range []struct {
		name   string
		limits Limits
		change func(*Use)
		want   string
	}{
		{"90 F at the label's 90", temps, fahrenheit(90), "confirm air-temp-advised"},
		{"90.1 F", temps, fahrenheit(90.1), "refuse air-temp-over"},
		{"85 F at the advised 85", temps, fahrenheit(85), ""},
		{"85.1 F", temps, fahrenheit(85.1), "confirm air-temp-advised"},
		{"50 F at the lowest 50", temps, fahrenheit(50), ""},
		{"49.9 F", temps, fahrenheit(49.9), "refuse air-temp-under"},
		{"10 C is 50 F", temps, func(u *Use) { u.AirTemp = ptr(unit.Celsius(10)) }, ""},
		{"temperature not known", temps, func(*Use) {}, "note air-temp-unknown"},

		{"10 mph at the label's 10", winds, mph(10), "confirm wind-advised"},
		{"10.1 mph", winds, mph(10.1), "refuse wind-over"},
		{"5 mph at the advised 5", winds, mph(5), ""},
		{"5.1 mph", winds, mph(5.1), "confirm wind-advised"},
		{"3 mph is enough", winds, mph(3), ""},
		{"2.9 mph is calm", winds, mph(2.9), "note wind-calm"},
		{"calm without any limit", Limits{}, mph(0), "note wind-calm"},
		{"wind not known", winds, func(*Use) {}, "note wind-unknown"},

		{"dry 24 h of 24", Limits{RainFreeHours: ptr(24.0)}, dry(24), ""},
		{"dry 23.9 h of 24", Limits{RainFreeHours: ptr(24.0)}, dry(23.9), "refuse dry-short"},
		{"dry 30 h of 24", Limits{RainFreeHours: ptr(24.0)}, dry(30), ""},
		{"rain not known", Limits{RainFreeHours: ptr(24.0)}, func(*Use) {}, "note dry-unknown"},
		{"water in 0.5 in of 0.5", Limits{WaterInIn: ptr(0.5)}, water(12.7 * unit.Millimetre), ""},
		{"water in 0.49 in of 0.5", Limits{WaterInIn: ptr(0.5)}, water(0.49 * unit.Inch), "confirm water-in-short"},
		{"water in, not known", Limits{WaterInIn: ptr(0.5), WaterInDays: ptr(14)}, func(*Use) {}, "note water-in"},
		{"wet and dry at once", Limits{WaterInIn: ptr(0.5), RainFreeHours: ptr(4.0)}, func(u *Use) { dry(5)(u); water(unit.Inch)(u) }, "refuse water-contradiction"},
		{"dry a day, then water within 14", Limits{WaterInIn: ptr(0.5), WaterInDays: ptr(14), RainFreeHours: ptr(24.0)}, func(u *Use) { dry(24)(u); water(unit.Inch)(u) }, ""},

		{"cut 2 days before, wait 2", mow, cuts(false, "2026-06-01"), ""},
		{"cut the day before, wait 2", mow, cuts(false, "2026-06-02"), "refuse mow-before"},
		{"cut the same day, before", mow, cuts(false, "2026-06-03"), "refuse mow-before"},
		{"cut the same day, after", mow, cuts(true, "2026-06-03"), "refuse mow-after"},
		{"next cut after 4 days, wait 4", mow, cuts(false, "2026-06-07"), ""},
		{"next cut after 3 days, wait 4", mow, cuts(false, "2026-06-06"), "refuse mow-after"},
		{"far cuts", mow, cuts(false, "2026-05-20", "2026-06-20"), ""},
		{"no wait on the label", Limits{}, cuts(false, "2026-06-02", "2026-06-03", "2026-06-04"), ""},

		{"2 a year, second", Limits{ApplicationsPerYear: ptr(2)}, others("2026-04-03"), ""},
		{"2 a year, third", Limits{ApplicationsPerYear: ptr(2)}, others("2026-04-03", "2026-09-03"), "refuse times-over"},
		{"2 a year, last year's do not count", Limits{ApplicationsPerYear: ptr(2)}, others("2026-04-03", "2025-12-31", "2025-11-01"), ""},
		{"interval 30, 30 days ago", Limits{IntervalDays: ptr(30)}, others("2026-05-04"), ""},
		{"interval 30, 29 days ago", Limits{IntervalDays: ptr(30)}, others("2026-05-05"), "refuse interval"},
		{"interval 30, 29 days ahead", Limits{IntervalDays: ptr(30)}, others("2026-07-02"), "refuse interval"},
		{"interval over the year's end", Limits{IntervalDays: ptr(180)}, others("2025-12-30"), "refuse interval"},

		{"seed 21 days later, wait 21", Limits{SeedWaitDays: ptr(21)}, seeded("2026-06-24"), ""},
		{"seed 20 days later, wait 21", Limits{SeedWaitDays: ptr(21)}, seeded("2026-06-23"), "refuse seed-wait"},
		{"seeded 20 days ago, wait 21", Limits{SeedWaitDays: ptr(21)}, seeded("2026-05-14"), "refuse seed-wait"},

		{"25 ft of 25 from water", Limits{WaterDistanceFt: ptr(25.0)}, pond(25), ""},
		{"24.9 ft of 25 from water", Limits{WaterDistanceFt: ptr(25.0)}, pond(24.9), "refuse water-distance"},
		{"water not on file", Limits{WaterDistanceFt: ptr(25.0)}, func(*Use) {}, "note water-distance"},

		{"area as on file", Limits{}, treated(5000), ""},
		{"area over the one on file", Limits{}, treated(5001), "confirm area-over-file"},
		{"no area on file", Limits{}, func(u *Use) { u.AreaOnFile = 0; treated(9000)(u) }, ""},
		{"no area", Limits{RateUnit: LbPerAcre, RateMax: ptr(1.0)}, treated(0), "refuse no-area"},
		{"no amount", Limits{}, func(u *Use) { u.Amount = Amount{} }, "refuse no-amount"},

		{"allowed grass", grasses, kind(turf.TallFescue), ""},
		{"forbidden grass", grasses, kind(turf.CreepingBentgrass), "refuse species"},
		{"sensitive grass", grasses, kind(turf.Centipedegrass), "confirm species"},
		{"mixed cool may hold it", grasses, kind(turf.MixedCool), "confirm species-unsure"},
		{"mixed warm may hold it", grasses, kind(turf.MixedWarm), "confirm species-unsure"},
		{"unknown may hold it", grasses, kind(turf.UnknownSpecies), "confirm species-unsure"},
		{"mixed cool, only warm named", Limits{Sensitive: []turf.Species{turf.Centipedegrass}}, kind(turf.MixedCool), ""},
	} {
		u := plain(LiquidForm)
		c.change(&u)
		found := Check(c.limits, u)
		if got := codes(found); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
		for _, f := range found {
			if f.Text == "" || strings.Contains(f.Text, "%!") || f.Source == "" {
				t.Errorf("%s: finding %+v lacks a sentence or a source", c.name, f)
			}
		}
	}
}

func TestGranulesDoNotDrift(t *testing.T) {
	u := plain(DryForm)
	u.Wind = ptr(unit.Speed(0))
	if got := codes(Check(Limits{}, u)); got != "" {
		t.Errorf("calm air for a granule: %q", got)
	}
}

// The project's check case 13 on the three-way herbicide: 90 F and the sensitive
// grasses are printed on a turf label, 85 F is extension advice (Iowa State
// University 2017, 2019; University of Illinois 1998).
func TestThreeWayHerbicideCase(t *testing.T) {
	threeWay := Limits{Revision: "demo 1", Place: "Turf", RateUnit: PtPerAcre, RateMax: ptr(3.0), AirTempMaxF: ptr(90.0), AirTempAdvisedMaxF: ptr(85.0),
		Sensitive: []turf.Species{turf.Centipedegrass, turf.StAugustinegrass, turf.SeashorePaspalum, turf.CreepingBentgrass}}
	use := plain(LiquidForm)
	use.AreaTreated, use.AreaOnFile, use.Amount = unit.Acre, unit.Acre, Liquid(3*unit.Pint, "3 pt")

	use.AirTemp = ptr(unit.Fahrenheit(92))
	f, ok := find(Check(threeWay, use), "air-temp-over")
	if !ok || f.Severity != Refuse || f.Got != "92 deg F" || f.Limit != "90 deg F" || f.Source != "label, demo 1, Turf" {
		t.Errorf("92 F: %+v", f)
	}
	use.AirTemp = ptr(unit.Fahrenheit(87))
	f, ok = find(Check(threeWay, use), "air-temp-advised")
	if !ok || f.Severity != Confirm || f.Got != "87 deg F" || f.Limit != "85 deg F" || f.Source == "label, demo 1, Turf" {
		t.Errorf("87 F: %+v", f)
	}
	use.AirTemp, use.Species = ptr(unit.Fahrenheit(75)), turf.Centipedegrass
	found := Check(threeWay, use)
	if len(found) != 1 || found[0].Severity != Confirm || !strings.Contains(found[0].Text, "centipedegrass") {
		t.Errorf("centipedegrass at 75 F: %+v", found)
	}
}

func TestYearTotalSaysWhatItCannotAdd(t *testing.T) {
	u := plain(DryForm)
	u.Others = []Application{{On: civil.MustDate("2026-04-01"), Amount: Liquid(unit.Pint, "1 pt"), Area: unit.Acre},
		{On: civil.MustDate("2026-04-02"), Amount: Dry(unit.Pound, "1 lb")}}
	l := Limits{RateUnit: LbPerThousand, YearMax: ptr(10.0)}
	if got := codes(Check(l, u)); got != "confirm year-unclear, confirm year-unclear" {
		t.Errorf("applications that cannot be added: %q", got)
	}
}

func TestWorstComesFirst(t *testing.T) {
	u := plain(LiquidForm)
	u.Wind, u.AirTemp, u.Species = ptr(unit.Speed(0)), ptr(unit.Fahrenheit(95)), turf.Centipedegrass
	found := Check(Limits{AirTempMaxF: ptr(90.0), Sensitive: []turf.Species{turf.Centipedegrass}}, u)
	if got := codes(found); got != "refuse air-temp-over, confirm species, note wind-calm" {
		t.Errorf("order: %q", got)
	}
	if s, ok := Worst(found); !ok || s != Refuse {
		t.Errorf("worst is %q", s)
	}
	if _, ok := Worst(nil); ok {
		t.Error("nothing has a worst")
	}
}

func TestCheckTogether(t *testing.T) {
	grub := Part{"Demo Grub", Limits{WaterInIn: ptr(0.5)}}
	weed := Part{"Demo Weed", Limits{RainFreeHours: ptr(24.0), Place: "p. 2"}}
	pre := Part{"Demo Pre", Limits{WaterInIn: ptr(0.5), WaterInDays: ptr(14)}}
	found := CheckTogether([]Part{grub, weed, pre})
	if got := codes(found); got != "refuse water-contradiction" || !strings.Contains(found[0].Text, "Demo Grub") {
		t.Errorf("grub and weed product together: %+v", found)
	}
	if got := CheckTogether([]Part{weed, pre}); got != nil {
		t.Errorf("24 h dry and water within 14 days: %+v", got)
	}
}

func TestValidateNamesThePlace(t *testing.T) {
	for _, c := range []struct {
		name string
		l    Limits
		want string
	}{
		{"nothing set", Limits{}, ""},
		{"full and sound", Limits{RateMin: ptr(1.0), RateMax: ptr(3.0), RateUnit: PtPerAcre, YearMax: ptr(6.0), ApplicationsPerYear: ptr(2),
			AirTempMinF: ptr(50.0), AirTempMaxF: ptr(90.0), AirTempAdvisedMaxF: ptr(85.0), WindMaxMPH: ptr(10.0), WindAdvisedMaxMPH: ptr(5.0), SignalWord: "Danger"}, ""},
		{"rate without unit", Limits{RateMax: ptr(3.0)}, "/rate_unit"},
		{"unit that is none", Limits{RateUnit: "bags/acre"}, "/rate_unit"},
		{"max under min", Limits{RateUnit: PtPerAcre, RateMin: ptr(4.0), RateMax: ptr(3.0)}, "/rate_min"},
		{"year under one application", Limits{RateUnit: PtPerAcre, RateMax: ptr(3.0), YearMax: ptr(2.0)}, "/year_max"},
		{"nothing allowed", Limits{RateUnit: PtPerAcre, RateMax: ptr(0.0)}, "/rate_max"},
		{"negative", Limits{RateUnit: PtPerAcre, RateMin: ptr(-1.0), IntervalDays: ptr(-1)}, "/rate_min /interval_days"},
		{"advised over label", Limits{AirTempMaxF: ptr(85.0), AirTempAdvisedMaxF: ptr(90.0)}, "/air_temp_advised_max_f"},
		{"min over max", Limits{AirTempMinF: ptr(95.0), AirTempMaxF: ptr(90.0)}, "/air_temp_min_f"},
		{"wind advised over label", Limits{WindMaxMPH: ptr(5.0), WindAdvisedMaxMPH: ptr(10.0)}, "/wind_advised_max_mph"},
		{"days without inches", Limits{WaterInDays: ptr(3)}, "/water_in_in"},
		{"wet and dry", Limits{WaterInIn: ptr(0.5), RainFreeHours: ptr(4.0)}, "/rain_free_hours"},
		{"no applications", Limits{ApplicationsPerYear: ptr(0)}, "/applications_per_year"},
		{"grass that is none", Limits{NotOn: []turf.Species{"moss", turf.UnknownSpecies}}, "/not_on /not_on"},
		{"grass in both lists", Limits{NotOn: []turf.Species{turf.Zoysiagrass}, Sensitive: []turf.Species{turf.Zoysiagrass}}, "/sensitive"},
		{"signal word", Limits{SignalWord: "BEWARE"}, "/signal_word"},
	} {
		err := c.l.Validate()
		var got []string
		if f := fault.As(err); f != nil {
			for _, field := range f.Fields {
				got = append(got, field.Pointer)
			}
		}
		if strings.Join(got, " ") != c.want || (err == nil) != (c.want == "") {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
	if err := (Limits{RateUnit: FlOzPerAcre, RateMax: ptr(1.0)}).ValidateFor(DryForm); !fault.HasCode(err, "label-limits") {
		t.Errorf("a dry product with a liquid rate: %v", err)
	}
	if err := (Limits{RateUnit: LbPerAcre, RateMax: ptr(1.0)}).ValidateFor(DryForm); err != nil {
		t.Errorf("a dry product with a dry rate: %v", err)
	}
}

func TestMoreProductNeverFindsLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := rapid.SampledFrom(AllRateUnits).Draw(t, "unit")
		limit := rapid.Float64Range(0.01, 100).Draw(t, "limit")
		low := rapid.Float64Range(0.01, 100).Draw(t, "amount")
		more := low * rapid.Float64Range(1, 10).Draw(t, "times")
		l := Limits{RateUnit: u, RateMax: &limit}
		use := plain(DryForm)
		if u.Liquid() {
			use = plain(LiquidForm)
		}
		refused := func(v float64) bool {
			r, _ := u.Rate(v)
			use.Amount = r.On(use.AreaTreated)
			_, yes := find(Check(l, use), "rate-over")
			return yes
		}
		if refused(low) && !refused(more) {
			t.Fatalf("%g %s is refused and %g is not", low, u, more)
		}
	})
}
