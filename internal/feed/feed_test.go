package feed_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thirdcut/internal/civil"
	"thirdcut/internal/feed"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/weather"
)

// maryland are the caps as the rule file of that state gives them (T-17).
var maryland = feed.Caps{PerDose: 0.9, SolublePerDose: 0.7, Source: "Md. Agric. 8-803.5",
	ClosedFrom: civil.MonthDay{Month: 11, Day: 16}, ClosedTo: civil.MonthDay{Month: 2, Day: 29}}

// TestMarylandTallFescue is case 5.
func TestMarylandTallFescue(t *testing.T) {
	for _, weak := range []bool{false, true} {
		plan := feed.Plan(feed.Ask{Species: turf.TallFescue, Year: 2026, Caps: maryland, Plan: 2.7, Weak: weak, Today: civil.MustDate("2026-02-10")})
		autumn, spring := 0.0, 0.0
		for _, f := range plan {
			o, c := f.Window.Opens, f.Window.Closes
			if c.After(civil.MustDate("2026-06-15")) && o.Before(civil.MustDate("2026-09-01")) {
				t.Errorf("a dose from %s to %s: none from 16 June to 31 August", o, c)
			}
			if c.After(civil.MustDate("2026-11-15")) || o.Before(civil.MustDate("2026-03-01")) {
				t.Errorf("a dose from %s to %s in the closed season", o, c)
			}
			if f.N > 0.9+1e-9 || f.SolubleMost > 0.7+1e-9 {
				t.Errorf("dose %.3f, soluble %.3f; want at most 0.9 and 0.7", f.N, f.SolubleMost)
			}
			if o.Before(civil.MustDate("2026-07-01")) {
				spring += f.N
			} else {
				autumn += f.N
			}
			if f.Window.Work != turf.Spread || !strings.Contains(f.Window.Reason, "lb N/1000 sq ft") {
				t.Errorf("window %+v", f.Window)
			}
		}
		if autumn < 1.4 || autumn > 1.8+1e-9 {
			t.Errorf("autumn gets %.2f lb, want 1.4 to 1.8", autumn)
		}
		if weak != (spring > 0) {
			t.Errorf("weak %v: spring gets %.2f lb", weak, spring)
		}
	}
}

func TestPlanTakesTheSmallestLimit(t *testing.T) {
	sum := func(a feed.Ask) (n float64, words string) {
		for _, f := range feed.Plan(a) {
			n += f.N
			words = f.Window.Reason
		}
		return n, words
	}
	base := feed.Ask{Species: turf.BermudagrassHybrid, Year: 2026, Caps: maryland}
	for name, c := range map[string]struct {
		change func(*feed.Ask)
		want   float64
		words  string
	}{
		"calendar":     {func(a *feed.Ask) {}, 2.7, "the feeding calendar"},
		"service plan": {func(a *feed.Ask) { a.Plan = 1.5 }, 1.5, "the service plan"},
		"law":          {func(a *feed.Ask) { a.Caps.PerYear = 2 }, 2, "the rule"},
		"species":      {func(a *feed.Ask) { a.Species = turf.Buffalograss; a.Weak = true }, 1.8, "the feeding calendar"},
		"given":        {func(a *feed.Ask) { a.Given = []feed.Given{{On: civil.MustDate("2026-05-10"), N: 0.9}} }, 1.8, "the feeding calendar"},
		"summer only":  {func(a *feed.Ask) { a.Today = civil.MustDate("2026-07-01") }, 1.8, "the feeding calendar"},
		"unknown":      {func(a *feed.Ask) { a.Species = turf.UnknownSpecies }, 0, ""},
	} {
		a := base
		c.change(&a)
		if n, words := sum(a); math.Abs(n-c.want) > 1e-9 || !strings.Contains(words, c.words) {
			t.Errorf("%s: %.2f lb (%s), want %.2f by %s", name, n, words, c.want, c.words)
		}
	}
}

// TestPlanKeepsTheRules for every species, cap and date.
func TestPlanKeepsTheRules(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := feed.Ask{Species: rapid.SampledFrom(turf.AllSpecies).Draw(t, "species"), Year: 2026, Caps: maryland,
			Plan: rapid.Float64Range(0, 6).Draw(t, "plan"), Weak: rapid.Bool().Draw(t, "weak")}
		a.Caps.PerDose = rapid.SampledFrom([]float64{0, 0.25, 0.5, 0.9}).Draw(t, "cap")
		a.Caps.PerYear = rapid.SampledFrom([]float64{0, 1, 2.5}).Draw(t, "year")
		a.Today = civil.MustDate("2026-01-01").AddDays(rapid.IntRange(0, 364).Draw(t, "today"))
		a.Given = []feed.Given{{On: civil.MustDate("2026-01-01").AddDays(rapid.IntRange(0, 364).Draw(t, "given on")), N: rapid.Float64Range(0, 2).Draw(t, "given")}}
		total := a.Given[0].N
		var end civil.Date
		for _, f := range feed.Plan(a) {
			w := f.Window
			if w.Best.Before(w.Opens) || w.Closes.Before(w.Best) || w.Opens.Before(a.Today) || !w.Opens.After(end) {
				t.Fatalf("%s %s %s after %s", w.Opens, w.Best, w.Closes, end)
			}
			end = w.Closes
			if a.Caps.PerDose > 0 && !unit.AtMost(f.N, a.Caps.PerDose) || !(f.N > 0) {
				t.Fatalf("dose %v over %v", f.N, a.Caps.PerDose)
			}
			total += f.N
		}
		if a.Caps.PerYear > 0 && a.Given[0].N < a.Caps.PerYear && !unit.AtMost(total, a.Caps.PerYear) {
			t.Fatalf("year %v over %v", total, a.Caps.PerYear)
		}
	})
}

func TestLedger(t *testing.T) {
	given := []feed.Given{{civil.MustDate("2026-05-01"), 0.9}, {civil.MustDate("2026-05-20"), -0.1}, {civil.MustDate("2026-09-05"), 0.7}}
	if got := feed.Sum(given, civil.MustDate("2026-05-01"), civil.MustDate("2026-05-20")); math.Abs(got-0.8) > 1e-12 {
		t.Errorf("got %v, want 0.8: both ends count", got)
	}
}

func TestHolds(t *testing.T) {
	fine := feed.Conditions{Species: turf.TallFescue, Ks: 1, NightF: 60, DayF: 75, SolubleN: 0.4}
	if h := feed.Holds(fine); len(h) != 0 {
		t.Errorf("good weather holds for %v", h)
	}
	for name, change := range map[string]func(*feed.Conditions){
		"dormant": func(c *feed.Conditions) { c.Dormant = true }, "water": func(c *feed.Conditions) { c.Ks = 0.3 },
		"disease": func(c *feed.Conditions) { c.Disease = true }, "frozen": func(c *feed.Conditions) { c.Frozen = true },
		"heavy rain":  func(c *feed.Conditions) { c.HeavyRain = true },
		"brown patch": func(c *feed.Conditions) { c.NightF, c.DayF = 68, 90 },
	} {
		c := fine
		change(&c)
		if h := feed.Holds(c); len(h) != 1 || !strings.Contains(h[0], name) {
			t.Errorf("%s: %v", name, h)
		}
	}
	nan := fine
	nan.NightF, nan.DayF = math.NaN(), math.NaN()
	if h := feed.Holds(nan); len(h) != 0 {
		t.Errorf("unknown temperatures hold for %v", h)
	}
}

// midAtlantic is weather whose means run from 1 C in January to 25 C in July.
func midAtlantic(t *testing.T) weather.Series {
	t.Helper()
	var days []weather.Day
	for d := civil.MustDate("2025-11-01"); d.Before(civil.MustDate("2026-12-31")); d = d.AddDays(1) {
		mean := 13 - 12*math.Cos(2*math.Pi*float64(d.YearDay()-20)/365)
		days = append(days, weather.Day{Date: d, Max: unit.Celsius(mean + 5.5), Min: unit.Celsius(mean - 5.5), Quality: weather.Observed})
	}
	s, err := weather.NewSeries(weather.Place{Latitude: 39}, days, weather.Normals{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestCrabgrassFallsInTheCalendarWindow: a mid-Atlantic spring opens it between
// early March and mid April and closes it by mid May.
func TestCrabgrassFallsInTheCalendarWindow(t *testing.T) {
	w := feed.Treatment(feed.CrabgrassBefore, midAtlantic(t), 2026, civil.Date{}, true)
	if w.Opens.Before(civil.MustDate("2026-03-01")) || w.Opens.After(civil.MustDate("2026-04-15")) || w.Closes.After(civil.MustDate("2026-05-31")) || w.Best.Before(w.Opens) || w.Closes.Before(w.Best) {
		t.Errorf("%s %s %s", w.Opens, w.Best, w.Closes)
	}
	if !strings.Contains(w.Reason, "computed") || !strings.Contains(w.Reason, "70 to 140") {
		t.Errorf("reason %q", w.Reason)
	}
	if w := feed.Treatment(feed.CrabgrassBefore, weather.Series{}, 2026, civil.Date{}, true); w.Opens != civil.MustDate("2026-03-15") || !strings.Contains(w.Reason, "cannot be computed") {
		t.Errorf("without weather: %+v", w)
	}
}

func TestTreatmentsEndAndStrikeHotDays(t *testing.T) {
	w := feed.Treatment(feed.Nutsedge, weather.Series{}, 2026, civil.MustDate("2026-06-20"), false)
	if w.Opens != civil.MustDate("2026-06-20") || w.Best != w.Opens {
		t.Errorf("mid-window: %+v", w)
	}
	if w := feed.Treatment(feed.Nutsedge, weather.Series{}, 2026, civil.MustDate("2026-07-20"), false); w.Open() || !strings.Contains(w.Reason, "closed on") {
		t.Errorf("after it: %+v", w)
	}
	s, err := weather.NewSeries(weather.Place{}, []weather.Day{{Date: civil.MustDate("2026-05-20"), Max: unit.Fahrenheit(91), Min: unit.Fahrenheit(70), Quality: weather.Forecast}}, weather.Normals{})
	if err != nil {
		t.Fatal(err)
	}
	w = feed.Treatment(feed.BroadleafSpring, s, 2026, civil.Date{}, false)
	if len(w.Struck) != 1 || w.Holds(civil.MustDate("2026-05-20")) || !w.Holds(civil.MustDate("2026-05-21")) {
		t.Errorf("a day of 91 F: %+v", w.Struck)
	}
	if w := feed.Treatment("dandruff", s, 2026, civil.Date{}, false); w.Open() || w.Reason == "" {
		t.Errorf("unknown target: %+v", w)
	}
	for _, target := range feed.AllTargets {
		if w := feed.Treatment(target, s, 2026, civil.Date{}, false); !w.Open() || w.Best.Before(w.Opens) || w.Closes.Before(w.Best) || w.Work != turf.Spray {
			t.Errorf("%s: %+v", target, w)
		}
	}
}
