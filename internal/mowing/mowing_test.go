package mowing_test

import (
	"encoding/json"
	"math"
	"os"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/growth"
	"thirdcut/internal/mowing"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/weather"
)

type value struct {
	Value any    `json:"value"`
	Unit  string `json:"unit"`
}

type row struct {
	ID        string           `json:"id"`
	Function  string           `json:"function"`
	Inputs    map[string]value `json:"inputs"`
	Expected  value            `json:"expected"`
	Tolerance struct {
		Value float64 `json:"value"`
	} `json:"tolerance"`
}

func (r row) inches(name string) unit.Length {
	return unit.Length(r.Inputs[name].Value.(float64)) * unit.Inch
}

// TestCalcRows computes every row of the mowing check table.
func TestCalcRows(t *testing.T) {
	b, err := os.ReadFile("../../testdata/calc/mowing.json")
	if err != nil {
		t.Fatal(err)
	}
	var rows []row
	if err := json.Unmarshal(b, &rows); err != nil {
		t.Fatal(err)
	}
	if len(rows) < 25 {
		t.Fatalf("got %d rows, want the whole table", len(rows))
	}
	for _, r := range rows {
		t.Run(r.ID, func(t *testing.T) {
			if want, ok := r.Expected.Value.(bool); ok {
				if got := mowing.BreaksThird(r.inches("grass_height"), r.inches("cutting_height")); got != want {
					t.Errorf("got %v, want %v", got, want)
				}
				return
			}
			got, want := compute(t, r), r.Expected.Value.(float64)
			if !(math.Abs(got-want) <= r.Tolerance.Value+1e-9) {
				t.Errorf("got %v, want %v ± %v", got, want, r.Tolerance.Value)
			}
		})
	}
}

func compute(t *testing.T, r row) float64 {
	t.Helper()
	switch r.Function {
	case "mow_trigger_height":
		return mowing.TriggerHeight(r.inches("cutting_height")).Inches()
	case "leaf_share_removed":
		return mowing.ShareRemoved(r.inches("grass_height"), r.inches("cutting_height"))
	case "lowest_cut":
		return mowing.LowestCut(r.inches("grass_height")).Inches()
	case "cuts_to_height":
		n, err := mowing.CutsToHeight(r.inches("grass_height"), r.inches("cutting_height"))
		if err != nil {
			t.Fatal(err)
		}
		return float64(n)
	case "days_to_one_third":
		standing := "cutting_height"
		if _, ok := r.Inputs["grass_height"]; ok {
			standing = "grass_height"
		}
		d, err := mowing.DaysToThird(r.inches(standing), r.inches("cutting_height"),
			unit.Growth(r.Inputs["growth_rate"].Value.(float64))*unit.InchPerDay)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	t.Fatalf("the test does not know the function %s", r.Function)
	return 0
}

// TestRawTriggerRows checks every printed mow-when-it-reaches height of the source table.
func TestRawTriggerRows(t *testing.T) {
	b, err := os.ReadFile("../../testdata/agronomy/mowing.json")
	if err != nil {
		t.Fatal(err)
	}
	var table struct {
		Rows []struct {
			row
			Origin string `json:"value_origin"`
		} `json:"rows"`
	}
	if err := json.Unmarshal(b, &table); err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, r := range table.Rows {
		if _, ok := r.Inputs["height_of_cut"]; !ok || r.Origin != "printed_in_source" {
			continue
		}
		n++
		if got, want := mowing.TriggerHeight(r.inches("height_of_cut")).Inches(), r.Expected.Value.(float64); math.Abs(got-want) > r.Tolerance.Value {
			t.Errorf("%s: %v in, want %v", r.ID, got, want)
		}
	}
	if n < 12 {
		t.Errorf("checked %d printed rows, want at least 12", n)
	}
}

// TestNebraskaIntervals is case 1: 1.5 in a week; the source prints whole days, down (T-06).
func TestNebraskaIntervals(t *testing.T) {
	for _, c := range []struct{ height, want, printed float64 }{{3, 7, 7}, {2, 4.67, 4}, {1.5, 3.5, 3}} {
		got, err := mowing.Interval(unit.Length(c.height)*unit.Inch, 1.5/7*unit.InchPerDay)
		if err != nil || math.Abs(got-c.want) > 0.005 || math.Floor(got+1e-9) != c.printed {
			t.Errorf("%v in: %.3f days (%v), want %v, printed %v", c.height, got, err, c.want, c.printed)
		}
	}
}

func TestFaultsNameTheWayOut(t *testing.T) {
	nan, inf := unit.Length(math.NaN()), unit.Length(math.Inf(1))
	for _, c := range []struct {
		height unit.Length
		growth unit.Growth
		code   string
	}{
		{3 * unit.Inch, 0, "no-growth"}, {3 * unit.Inch, -1 * unit.InchPerDay, "no-growth"}, {3 * unit.Inch, unit.Growth(math.NaN()), "no-growth"},
		{0, unit.InchPerDay, "bad-height"}, {-1 * unit.Inch, unit.InchPerDay, "bad-height"}, {nan, unit.InchPerDay, "bad-height"}, {inf, unit.InchPerDay, "bad-height"},
	} {
		if _, err := mowing.Interval(c.height, c.growth); !fault.HasCode(err, c.code) || !fault.Is(err, fault.Rule) {
			t.Errorf("Interval(%v, %v): %v, want %s", c.height, c.growth, err, c.code)
		}
	}
	if _, err := mowing.CutsToHeight(nan, unit.Inch); !fault.HasCode(err, "bad-height") {
		t.Errorf("CutsToHeight of no height: %v", err)
	}
	if _, err := mowing.StepDown(30*unit.Inch, unit.Inch, 0, 4); !fault.HasCode(err, "bad-height") {
		t.Errorf("StepDown from 30 in: %v", err)
	}
	if _, err := mowing.StepDown(3*unit.Inch, unit.Inch, 0, 0); !fault.HasCode(err, "bad-wait") {
		t.Errorf("StepDown without wait: %v", err)
	}
}

// TestStepDown is case 6.
func TestStepDown(t *testing.T) {
	rate := func(mm float64) unit.Growth { return unit.Growth(mm) * unit.MillimetrePerDay }
	for _, c := range []struct {
		name       string
		from, to   float64
		rate       float64
		wait, cuts int     // cuts 0: never
		stalls     float64 // in
	}{
		{"bermuda, 4 days", 3, 0.75, 3.5, 4, 0, 1.10},
		{"bermuda, 3 days", 3, 0.75, 3.5, 3, 0, 0.83},
		{"bermuda, 2 days", 3, 0.75, 3.5, 2, 6, 0},
		{"tall fescue, 4 days", 6, 3, 4.5, 4, 3, 0},
		{"nothing grows", 6, 3, 0, 4, 2, 0},
		{"already there", 3, 3, 4.5, 4, 1, 0},
	} {
		s, err := mowing.StepDown(unit.Length(c.from)*unit.Inch, unit.Length(c.to)*unit.Inch, rate(c.rate), c.wait)
		if err != nil {
			t.Fatal(err)
		}
		if s.Reaches != (c.cuts > 0) || c.cuts > 0 && len(s.Steps) != c.cuts || math.Abs(s.Stalls.Inches()-c.stalls) > 0.006 {
			t.Errorf("%s: reaches %v in %d cuts, stalls at %.2f in; want %d cuts, %.2f in", c.name, s.Reaches, len(s.Steps), s.Stalls.Inches(), c.cuts, c.stalls)
		}
		if s.Words() == "" {
			t.Errorf("%s: says nothing", c.name)
		}
	}
}

func TestStepDownNeverTakesOverAThird(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, err := mowing.StepDown(unit.Length(rapid.Float64Range(0.2, 24).Draw(t, "from"))*unit.Inch,
			unit.Length(rapid.Float64Range(0.2, 5).Draw(t, "to"))*unit.Inch,
			unit.Growth(rapid.Float64Range(-1, 15).Draw(t, "rate"))*unit.MillimetrePerDay, rapid.IntRange(1, 9).Draw(t, "wait"))
		if err != nil {
			t.Fatal(err)
		}
		if len(s.Steps) == 0 || len(s.Steps) > 8 {
			t.Fatalf("%d cuts", len(s.Steps))
		}
		for _, c := range s.Steps {
			if c.Before >= c.After && mowing.BreaksThird(c.Before, c.After) {
				t.Fatalf("a cut from %v to %v in takes more than a third", c.Before.Inches(), c.After.Inches())
			}
		}
	})
}

// TestLearning is case 8: 0.75 in, S 7.0 mm, x 0, deviation 0.11.
func TestLearning(t *testing.T) {
	state := mowing.Learned{P: 0.11 * 0.11}
	for _, c := range []struct {
		read   float64
		taken  bool
		dx, sd float64
		z      float64
	}{
		{0.70, true, -0.070, 0.107, -2.6},
		{1.10, true, 0.016, 0.107, 0.6},
		{3.5, false, 0, 0.11, 19.8},
	} {
		s := mowing.Observe(state, mowing.Reading{Measured: unit.Length(c.read) * unit.Inch, Left: 0.75 * unit.Inch,
			Growth: 7 * unit.Millimetre, MeanKs: 1})
		if s.Taken != c.taken || math.Abs(s.After.X-c.dx) > 0.0006 || math.Abs(math.Sqrt(s.After.P)-c.sd) > 0.0006 || math.Abs(s.Z-c.z) > 0.1 {
			t.Errorf("%v in: taken %v, dx %.4f, sd %.4f, z %.1f; want %v, %v, %v, %v", c.read, s.Taken, s.After.X, math.Sqrt(s.After.P), s.Z, c.taken, c.dx, c.sd, c.z)
		}
		if !c.taken && !strings.Contains(s.Why, "set aside") {
			t.Errorf("%v in: %q", c.read, s.Why)
		}
	}
}

func TestVerdictsAndOddReadings(t *testing.T) {
	good := mowing.Reading{On: civil.MustDate("2026-05-10"), Measured: 4.2 * unit.Inch, Left: 3 * unit.Inch, Growth: 30 * unit.Millimetre, MeanKs: 1}
	change := func(f func(*mowing.Reading)) mowing.Reading { r := good; f(&r); return r }
	prior := mowing.Prior(0, turf.Sun)
	for name, c := range map[string]struct {
		reading mowing.Reading
		taken   bool
	}{
		"good":                {good, true},
		"over 24 in":          {change(func(r *mowing.Reading) { r.Measured = 42 * unit.Inch }), false},
		"negative":            {change(func(r *mowing.Reading) { r.Measured = -1 * unit.Inch }), false},
		"not a number":        {change(func(r *mowing.Reading) { r.Measured = unit.Length(math.NaN()) }), false},
		"left unknown":        {change(func(r *mowing.Reading) { r.Left = 0 }), false},
		"growth unknown":      {change(func(r *mowing.Reading) { r.Growth = unit.Length(math.NaN()) }), false},
		"first cut":           {change(func(r *mowing.Reading) { r.Teaches = "first cut before green-up" }), false},
		"dropped":             {change(func(r *mowing.Reading) { r.Verdict = mowing.Drop }), false},
		"far off":             {change(func(r *mowing.Reading) { r.Measured = 11 * unit.Inch }), false},
		"far off, but taken":  {change(func(r *mowing.Reading) { r.Measured = 11 * unit.Inch; r.Verdict = mowing.Take }), true},
		"shorter than it was": {change(func(r *mowing.Reading) { r.Measured = 2.9 * unit.Inch }), true},
	} {
		s := mowing.Observe(prior, c.reading)
		if s.Taken != c.taken || !c.taken && (s.Why == "" || s.After.X != prior.X) {
			t.Errorf("%s: taken %v (%s), want %v", name, s.Taken, s.Why, c.taken)
		}
	}
	r := change(func(r *mowing.Reading) {})
	_, steps := mowing.Learn(prior, []mowing.Reading{r, r, r, r})
	if steps[2].Why != "" || !strings.Contains(steps[3].Why, "four") && !strings.Contains(steps[3].Why, "4 times") {
		t.Errorf("four identical readings: %q, %q", steps[2].Why, steps[3].Why)
	}
}

// TestLearningSettles: from a wrong prior the factor comes to the true one, with
// noise of the ruler at 3/4 in every two days (the case that breaks a log form).
func TestLearningSettles(t *testing.T) {
	for _, truth := range []float64{0.7, 1, 1.4} {
		mean := 0.0
		const lawns = 40
		for lawn := range lawns {
			var readings []mowing.Reading
			for i := range 60 {
				// A fixed pseudo-random error, mean 0, about 3 mm.
				u := math.Mod(float64(i*lawns+lawn)*0.6180339887, 1)
				e := (u - 0.5) * 2 * 5.2
				readings = append(readings, mowing.Reading{On: civil.MustDate("2026-05-01").AddDays(2 * i), Left: 0.75 * unit.Inch,
					Measured: 0.75*unit.Inch + unit.Length(7*truth+e)*unit.Millimetre, Growth: 7 * unit.Millimetre, MeanKs: 1})
			}
			k, _ := mowing.Learn(mowing.Prior(0, turf.Sun), readings)
			mean += k.K() / lawns
		}
		if math.Abs(mean-truth) > 0.05*truth {
			t.Errorf("settles at %.3f, truth %v", mean, truth)
		}
	}
}

func TestDroughtTeachesLess(t *testing.T) {
	r := mowing.Reading{Measured: 3.4 * unit.Inch, Left: 3 * unit.Inch, Growth: 30 * unit.Millimetre, MeanKs: 1}
	wet := mowing.Observe(mowing.Prior(0, turf.Sun), r)
	r.MeanKs = 0.1
	dry := mowing.Observe(mowing.Prior(0, turf.Sun), r)
	if !(math.Abs(dry.After.X) < math.Abs(wet.After.X)) {
		t.Errorf("dry moves x by %v, wet by %v; drought must teach less", dry.After.X, wet.After.X)
	}
}

func TestRulerStepAndOffset(t *testing.T) {
	for h, want := range map[float64]float64{0.75: 1.0 / 16, 1: 1.0 / 8, 1.9: 1.0 / 8, 2: 0.25, 4: 0.25} {
		if got := mowing.RulerStep(unit.Length(h) * unit.Inch).Inches(); math.Abs(got-want) > 1e-12 {
			t.Errorf("%v in: %v, want %v", h, got, want)
		}
	}
	got := mowing.LeftOffset([]unit.Length{3 * unit.Inch, 3 * unit.Inch}, []unit.Length{3.125 * unit.Inch, 3.375 * unit.Inch})
	if math.Abs(got.Inches()-0.25) > 1e-12 {
		t.Errorf("offset %v in, want 0.25", got.Inches())
	}
}

// steady is growing weather of one mean temperature from a day on.
func steady(t testing.TB, from string, days int, meanC float64) growth.Climate {
	t.Helper()
	var w []weather.Day
	start := civil.MustDate(from)
	for i := range days {
		w = append(w, weather.Day{Date: start.AddDays(i), Max: unit.Celsius(meanC + 6), Min: unit.Celsius(meanC - 6), Quality: weather.Observed})
	}
	s, err := weather.NewSeries(weather.Place{Latitude: 30.5}, w, weather.Normals{})
	if err != nil {
		t.Fatal(err)
	}
	return growth.Read(s, start, start.AddDays(days-1))
}

func fedTo(factor float64, days int) growth.Daily {
	pool := make([]float64, days)
	for i := range pool {
		pool[i] = (factor - 0.5) / 0.5 * 0.45
		if factor > 1 {
			pool[i] = 0.45 + (factor-1)/0.3*0.9
		}
	}
	return growth.Daily{Pool: pool}
}

func closedOn(c growth.Climate, open func(weekday string) bool) (out []turf.StruckDay) {
	for _, d := range c.Days {
		if !open(d.Date.Weekday().String()[:3]) {
			out = append(out, turf.StruckDay{Date: d.Date, Reason: "no crew works that day"})
		}
	}
	return out
}

// TestHybridBermudaInJuly is case 2: whole-day best 2 at f_N 1.0 and 1.2 once k is known.
func TestHybridBermudaInJuly(t *testing.T) {
	c := steady(t, "2026-07-01", 30, 30)
	for _, n := range []float64{1, 1.2} {
		lawn := mowing.Lawn{Area: growth.Area{Species: turf.BermudagrassHybrid, Height: 0.75 * unit.Inch, Irrigated: true}}
		cut := civil.MustDate("2026-07-08")
		w := lawn.Grow(c, fedTo(n, 30)).Window(cut, 0.75*unit.Inch, mowing.Learned{P: 0.05 * 0.05})
		if got := w.Best.Since(cut); got != 2 || w.Closes.Since(cut) > 3 {
			t.Errorf("f_N %v: best after %d days, closes after %d; want 2, at most 3 (%s)", n, got, w.Closes.Since(cut), w.Reason)
		}
	}
	// A new low lawn (prior 0.35) has a chance of 0.18 on day 2 and is tight then if day 1 is closed.
	lawn := mowing.Lawn{Area: growth.Area{Species: turf.BermudagrassHybrid, Height: 0.75 * unit.Inch, Irrigated: true}}
	v := lawn.Grow(c, fedTo(1, 30))
	if p := v.ChanceOn(civil.MustDate("2026-07-08"), 0.75*unit.Inch, mowing.Prior(0, turf.Sun), civil.MustDate("2026-07-10")); math.Abs(p-0.18) > 0.02 {
		t.Errorf("chance on day 2 of a new low lawn %.3f, want 0.18", p)
	}
}

// TestWorkWeeks is case 7: crews Mon Wed Fri cannot keep 0.75 in over the weekend; with Saturday they can.
func TestWorkWeeks(t *testing.T) {
	c := steady(t, "2026-07-01", 60, 30)
	for _, week := range []struct {
		days  string
		tight int
	}{{"Mon Wed Fri", 1}, {"Mon Wed Fri Sat", 0}} {
		lawn := mowing.Lawn{Area: growth.Area{Species: turf.BermudagrassHybrid, Height: 0.75 * unit.Inch, Irrigated: true},
			Closed: closedOn(c, func(d string) bool { return strings.Contains(week.days, d) })}
		v := lawn.Grow(c, fedTo(1, 60))
		known := mowing.Learned{P: 0.03 * 0.03}
		tight, over, cuts := 0, 0, 0
		cut := civil.MustDate("2026-07-06") // a Monday
		for cut.Before(civil.MustDate("2026-07-13")) {
			w := v.Window(cut, 0.75*unit.Inch, known)
			if w.Tight {
				tight++
			}
			standing := v.Standing(cut, 0.75*unit.Inch, known, w.Best)
			if mowing.BreaksThird(standing, 0.75*unit.Inch) {
				over++
				if s := mowing.ShareRemoved(standing, 0.75*unit.Inch); math.Abs(s-0.35) > 0.006 || w.Best.Weekday().String() != "Monday" {
					t.Errorf("%s: share %.3f on %s, want 0.35 on Monday", week.days, s, w.Best.Weekday())
				}
			}
			cut = w.Best
			if cuts++; cuts > 10 {
				t.Fatal("does not move on")
			}
		}
		if tight != week.tight || over != week.tight {
			t.Errorf("%s: %d tight windows, %d cuts over a third; want %d", week.days, tight, over, week.tight)
		}
	}
	if h := mowing.LowestHeight(3.46*unit.MillimetrePerDay, 3).Inches(); math.Abs(h-0.82) > 0.005 {
		t.Errorf("least height for a 3-day gap %.3f in, want 0.82", h)
	}
	if mowing.Keeps(0.75*unit.Inch, 3.46*unit.MillimetrePerDay, 3) || !mowing.Keeps(0.75*unit.Inch, 3.46*unit.MillimetrePerDay, 2) {
		t.Error("0.75 in keeps a gap of 2 days and not one of 3")
	}
}

// TestNewLowLawnsWaitTwoDays: not learned yet, P is over 0.10 on the second day
// but under 0.20: cut and measure every two days, not daily.
func TestNewLowLawnsWaitTwoDays(t *testing.T) {
	lawn := mowing.Lawn{Area: growth.Area{Species: turf.BermudagrassHybrid, Height: 0.75 * unit.Inch, Irrigated: true}}
	v := lawn.Grow(steady(t, "2026-07-01", 30, 30), fedTo(1, 30))
	cut := civil.MustDate("2026-07-08")
	w := v.Window(cut, 0.75*unit.Inch, mowing.Prior(0, turf.Sun))
	if w.Best.Since(cut) != 2 || w.Tight || !strings.Contains(w.Reason, "after two days") {
		t.Errorf("best after %d days, tight %v: %s", w.Best.Since(cut), w.Tight, w.Reason)
	}
}

func TestOutOfSeasonIsNotPlanned(t *testing.T) {
	lawn := fescue()
	lawn.GreatestDays = 7
	lawn.SeasonFrom, lawn.SeasonTo = civil.MonthDay{Month: 6, Day: 10}, civil.MonthDay{Month: 11, Day: 15}
	c := steady(t, "2026-06-01", 40, 19)
	if w := lawn.Grow(c, fedTo(1, 40)).Window(civil.MustDate("2026-06-02"), 3*unit.Inch, mowing.Learned{P: 0.01}); w.Opens.Before(civil.MustDate("2026-06-10")) {
		t.Errorf("opens %s, before the season", w.Opens)
	}
	lawn.SeasonFrom = civil.MonthDay{Month: 9, Day: 1}
	if w := lawn.Grow(c, fedTo(1, 40)).Window(civil.MustDate("2026-06-02"), 3*unit.Inch, mowing.Learned{P: 0.01}); w.Open() || !strings.Contains(w.Reason, "season agreed") {
		t.Errorf("out of season: %+v", w)
	}
}

func TestBeyondTheWeatherIsSaid(t *testing.T) {
	lawn := fescue()
	c := steady(t, "2026-06-01", 10, 19)
	lawn.LeastDays = 20
	if w := lawn.Grow(c, growth.Daily{}).Window(civil.MustDate("2026-06-02"), 3*unit.Inch, mowing.Learned{P: 0.01}); w.Open() || !strings.Contains(w.Reason, "none within 20 days") {
		t.Errorf("least beyond the weather: %+v", w)
	}
	lawn.Today = civil.MustDate("2026-07-01")
	if w := lawn.Grow(c, growth.Daily{}).Window(civil.MustDate("2026-06-02"), 3*unit.Inch, mowing.Learned{P: 0.01}); w.Open() || !strings.Contains(w.Reason, "read only up to") {
		t.Errorf("today beyond the weather: %+v", w)
	}
}

func fescue() mowing.Lawn {
	return mowing.Lawn{Area: growth.Area{Species: turf.TallFescue, Height: 3 * unit.Inch}}
}

// TestReasonSaysWhy: the sentence names grass, height, day, growth and chance.
func TestReasonSaysWhy(t *testing.T) {
	v := fescue().Grow(steady(t, "2026-06-01", 40, 19), fedTo(1, 40))
	w := v.Window(civil.MustDate("2026-06-02"), 3*unit.Inch, mowing.Learned{P: 0.01})
	for _, part := range []string{"tall fescue cut to 3 in on Tue 2 Jun", "in a day", "more than a third", "10 %"} {
		if !strings.Contains(w.Reason, part) {
			t.Errorf("%q lacks %q", w.Reason, part)
		}
	}
	if w.Tight || len(w.Chances) == 0 || w.Best != w.Chances[0].Date && !w.Best.After(w.Chances[0].Date) {
		t.Errorf("window %+v", w)
	}
	opens, best, closes, tight := v.Days(civil.MustDate("2026-06-02"), 3*unit.Inch, mowing.Learned{P: 0.01})
	if opens != w.Opens || best != w.Best || closes != w.Closes || tight != w.Tight {
		t.Errorf("Days gives %s %s %s, Window %s %s %s", opens, best, closes, w.Opens, w.Best, w.Closes)
	}
}

func TestWhatIsNotKnownIsSaid(t *testing.T) {
	c := steady(t, "2026-06-01", 40, 19)
	v := fescue().Grow(c, fedTo(1, 40))
	prior := mowing.Prior(0, turf.Sun)
	noHeight := v.Window(civil.MustDate("2026-06-02"), 0, prior)
	if !noHeight.Open() || !strings.Contains(noHeight.Reason, "No height was measured") {
		t.Errorf("no height: %q", noHeight.Reason)
	}
	if w := v.Window(civil.Date{}, 0, prior); !w.Open() || !strings.Contains(w.Reason, "No cut is known") {
		t.Errorf("no cut: %q", w.Reason)
	}
	if w := v.Window(civil.MustDate("2026-06-02"), 3*unit.Inch, mowing.Learned{X: math.NaN()}); !w.Open() || !strings.Contains(w.Reason, "could not be read") {
		t.Errorf("no state: %q", w.Reason)
	}
	nothing := growth.Read(weather.Series{}, civil.MustDate("2026-06-01"), civil.MustDate("2026-07-10"))
	if w := fescue().Grow(nothing, growth.Daily{}).Window(civil.MustDate("2026-06-02"), 3*unit.Inch, prior); !strings.Contains(w.Reason, "No weather is known for") {
		t.Errorf("no weather: %q", w.Reason)
	}
	if w := (mowing.Lawn{}).Grow(c, growth.Daily{}).Window(civil.MustDate("2026-06-02"), 0, prior); w.Open() || !strings.Contains(w.Reason, "cutting height") {
		t.Errorf("no cutting height: %q", w.Reason)
	}
	if w := (mowing.Curve{}).Window(civil.MustDate("2026-06-02"), 0, prior); w.Open() || w.Reason == "" {
		t.Errorf("empty curve: %+v", w)
	}
	unknown := mowing.Lawn{Area: growth.Area{Species: turf.UnknownSpecies, Height: 3 * unit.Inch}}
	if w := unknown.Grow(c, growth.Daily{}).Window(civil.MustDate("2026-06-02"), 3*unit.Inch, prior); !strings.Contains(w.Reason, "not named") {
		t.Errorf("unknown grass: %q", w.Reason)
	}
}

// TestAStepDownIsNotACadence: a cut that left much more than the cutting height
// is soon due again, but that is not the plan's fault.
func TestAStepDownIsNotACadence(t *testing.T) {
	w := fescue().Grow(steady(t, "2026-06-01", 40, 19), fedTo(1, 40)).Window(civil.MustDate("2026-06-10"), 4.4*unit.Inch, mowing.Learned{P: 0.01})
	if w.Tight || w.Best != civil.MustDate("2026-06-11") || !strings.Contains(w.Reason, "left taller than its 3 in") {
		t.Errorf("%s tight %v: %s", w.Best, w.Tight, w.Reason)
	}
}

func TestOvergrownIsDueAtOnce(t *testing.T) {
	lawn := fescue()
	lawn.Today = civil.MustDate("2026-06-20")
	w := lawn.Grow(steady(t, "2026-06-01", 40, 19), fedTo(1, 40)).Window(civil.MustDate("2026-06-02"), 3*unit.Inch, mowing.Learned{P: 0.01})
	if w.Opens != lawn.Today || w.Best != lawn.Today || w.Closes != lawn.Today {
		t.Errorf("window %s %s %s, want today alone", w.Opens, w.Best, w.Closes)
	}
	if !strings.Contains(w.Reason, "due at once") || !strings.Contains(w.Reason, "step down in") {
		t.Errorf("reason %q", w.Reason)
	}
	dry := growth.Daily{Ks: make([]float64, 40)}
	for i := range dry.Ks {
		dry.Ks[i] = 0.4
	}
	w = lawn.Grow(steady(t, "2026-06-01", 40, 19), dry).Window(civil.MustDate("2026-06-02"), 6*unit.Inch, mowing.Learned{P: 0.01})
	if !strings.Contains(w.Reason, "only after rain") {
		t.Errorf("stressed grass must not be offered a step-down: %q", w.Reason)
	}
}

func TestDormantHasNoWindow(t *testing.T) {
	cold := steady(t, "2026-01-01", 60, 4)
	w := mowing.Lawn{Area: growth.Area{Species: turf.Zoysiagrass, Height: 1.5 * unit.Inch}}.Grow(cold, growth.Daily{}).
		Window(civil.MustDate("2026-01-05"), 1.5*unit.Inch, mowing.Prior(0, turf.Sun))
	if w.Open() || !strings.Contains(w.Reason, "dormant") {
		t.Errorf("dormant zoysia: %+v", w)
	}
	// Case 10: dry from 20 July, wet on 10 August: not before 20 August.
	c := steady(t, "2026-07-01", 80, 24)
	ks := make([]float64, 80)
	for i := range ks {
		ks[i] = 1
		if d := c.Days[i].Date; !d.Before(civil.MustDate("2026-07-20")) && d.Before(civil.MustDate("2026-08-10")) {
			ks[i] = 0.1
		}
	}
	blue := mowing.Lawn{Area: growth.Area{Species: turf.KentuckyBluegrass, Height: 2.5 * unit.Inch}, Today: civil.MustDate("2026-08-01")}
	w = blue.Grow(c, growth.Daily{Ks: ks}).Window(civil.MustDate("2026-07-18"), 2.5*unit.Inch, mowing.Prior(0, turf.Sun))
	if !w.Open() || w.Opens.Before(civil.MustDate("2026-08-20")) {
		t.Errorf("opens %s, want not before 20 August (%s)", w.Opens, w.Reason)
	}
}

func TestPlanClampsTheWindow(t *testing.T) {
	c := steady(t, "2026-06-01", 60, 19)
	cut := civil.MustDate("2026-06-02")
	known := mowing.Learned{P: 0.01}
	lawn := fescue()
	lawn.GreatestDays = 3
	w := lawn.Grow(c, fedTo(1, 60)).Window(cut, 3*unit.Inch, known)
	if w.Closes.Since(cut) != 3 || w.Best.Since(cut) > 3 || !strings.Contains(w.Reason, "at least every 3 days") {
		t.Errorf("greatest 3: %s %s %s %q", w.Opens, w.Best, w.Closes, w.Reason)
	}
	lawn = fescue()
	lawn.LeastDays = 10
	w = lawn.Grow(c, fedTo(1, 60)).Window(cut, 3*unit.Inch, known)
	if w.Opens.Since(cut) != 10 || !w.Tight || !strings.Contains(w.Reason, "within 10 days") {
		t.Errorf("least 10: %s %s %s tight %v %q", w.Opens, w.Best, w.Closes, w.Tight, w.Reason)
	}
}

func TestClosedDaysAreStruckWithReasons(t *testing.T) {
	c := steady(t, "2026-06-01", 60, 19)
	cut := civil.MustDate("2026-06-02")
	open := fescue().Grow(c, fedTo(1, 60)).Window(cut, 3*unit.Inch, mowing.Learned{P: 0.01})
	lawn := fescue()
	lawn.Closed = []turf.StruckDay{{Date: open.Best, Reason: "label's mowing wait"}, {Date: open.Best, Reason: "property closed"}}
	w := lawn.Grow(c, fedTo(1, 60)).Window(cut, 3*unit.Inch, mowing.Learned{P: 0.01})
	if w.Best != open.Best.AddDays(-1) || len(w.Struck) != 1 || w.Struck[0].Reason != "label's mowing wait; property closed" {
		t.Errorf("best %s (was %s), struck %+v", w.Best, open.Best, w.Struck)
	}
	if w.Holds(open.Best) || !w.Holds(w.Best) {
		t.Error("the struck day must not hold, the best must")
	}
	for _, d := range c.Days {
		lawn.Closed = append(lawn.Closed, turf.StruckDay{Date: d.Date, Reason: "family away"})
	}
	w = lawn.Grow(c, fedTo(1, 60)).Window(cut, 3*unit.Inch, mowing.Learned{P: 0.01})
	if w.Open() || !strings.Contains(w.Reason, "every day") {
		t.Errorf("all closed: %+v", w)
	}
}

func TestFirstCutIsForDormantBermudaAndZoysia(t *testing.T) {
	var days []weather.Day
	for d := civil.MustDate("2025-01-01"); d.Before(civil.MustDate("2027-01-01")); d = d.AddDays(1) {
		mean := 13 - 12*math.Cos(2*math.Pi*float64(d.YearDay()-15)/365)
		days = append(days, weather.Day{Date: d, Max: unit.Celsius(mean + 6), Min: unit.Celsius(mean - 6), Quality: weather.Observed})
	}
	s, err := weather.NewSeries(weather.Place{}, days, weather.NormalsFrom(days))
	if err != nil {
		t.Fatal(err)
	}
	w := mowing.FirstCut(turf.Zoysiagrass, s, 2026, civil.MustDate("2026-02-01"))
	if !w.Open() || w.Work != turf.FirstCut || w.Opens.Month < 3 || w.Closes.Month > 5 || w.Best.Before(w.Opens) || w.Closes.Before(w.Best) {
		t.Errorf("zoysia: %+v", w)
	}
	if w := mowing.FirstCut(turf.Zoysiagrass, s, 2026, civil.MustDate("2026-06-01")); w.Open() || !strings.Contains(w.Reason, "over") {
		t.Errorf("in June: %+v", w)
	}
	if w := mowing.FirstCut(turf.TallFescue, s, 2026, civil.MustDate("2026-02-01")); w.Open() {
		t.Error("never on cool-season grass")
	}
	if w := mowing.FirstCut(turf.Zoysiagrass, weather.Series{}, 2026, civil.Date{}); w.Open() || w.Reason == "" {
		t.Errorf("without weather: %+v", w)
	}
}

type world struct {
	lawn  mowing.Lawn
	c     growth.Climate
	daily growth.Daily
	cut   civil.Date
	left  unit.Length
	k     mowing.Learned
}

// draw makes a world; the generators lean to 0, which is made a good growing day here.
func draw(t *rapid.T) world {
	start := civil.MustDate("2026-05-01").AddDays(rapid.IntRange(0, 364).Draw(t, "start"))
	n := 60 - rapid.IntRange(0, 59).Draw(t, "missing days")
	seen := n - rapid.IntRange(0, n).Draw(t, "forecast days")
	var days []weather.Day
	for i := range n {
		if rapid.IntRange(0, 9).Draw(t, "gap") == 9 {
			continue
		}
		q := weather.Observed
		if i >= seen {
			q = weather.Forecast
		}
		mean := 22 + rapid.Float64Range(-27, 13).Draw(t, "mean")
		days = append(days, weather.Day{Date: start.AddDays(i), Max: unit.Celsius(mean + 6), Min: unit.Celsius(mean - 6), Quality: q})
	}
	s, err := weather.NewSeries(weather.Place{Latitude: 35}, days, weather.Normals{})
	if err != nil {
		t.Fatal(err)
	}
	w := world{c: growth.Read(s, start, start.AddDays(n-1))}
	ks := make([]float64, n)
	for i := range ks {
		ks[i] = 1 - rapid.Float64Range(0, 1).Draw(t, "stress")
	}
	w.daily.Ks = ks
	height := 3 + rapid.Float64Range(-2.75, 1).Draw(t, "height")
	w.lawn = mowing.Lawn{Area: growth.Area{Species: rapid.SampledFrom(turf.AllSpecies).Draw(t, "species"),
		Height: unit.Length(height) * unit.Inch, Exposure: rapid.SampledFrom(turf.AllExposures).Draw(t, "exposure")},
		Today: start.AddDays(rapid.IntRange(-3, n+3).Draw(t, "today")), LeastDays: rapid.IntRange(0, 9).Draw(t, "least")}
	if rapid.Bool().Draw(t, "plan") {
		w.lawn.GreatestDays = 21 - rapid.IntRange(0, 20).Draw(t, "greatest")
	}
	for i := range n {
		if rapid.IntRange(0, 4).Draw(t, "closed") == 4 {
			w.lawn.Closed = append(w.lawn.Closed, turf.StruckDay{Date: start.AddDays(i), Reason: "closed"})
		}
	}
	w.cut = start.AddDays(rapid.IntRange(-3, n+2).Draw(t, "cut"))
	w.left = w.lawn.Area.Height.Times(1 + rapid.Float64Range(-0.3, 0.8).Draw(t, "left"))
	w.k = mowing.Learned{X: rapid.Float64Range(-1, 1).Draw(t, "x"), P: rapid.Float64Range(0, 0.2).Draw(t, "P")}
	return w
}

// TestWindowKeepsItsPromises: days in order, none struck, not before today or
// the plan's least days; before best the model's mean never takes over a third.
func TestWindowKeepsItsPromises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := draw(t)
		v := x.lawn.Grow(x.c, x.daily)
		w := v.Window(x.cut, x.left, x.k)
		if w.Reason == "" || strings.Contains(w.Reason, "NaN") || strings.Contains(w.Reason, "Inf") || strings.Contains(w.Reason, "%!") {
			t.Fatalf("reason %q", w.Reason)
		}
		if !w.Open() {
			if !w.Opens.IsZero() || !w.Closes.IsZero() {
				t.Fatalf("half a window: %+v", w)
			}
			return
		}
		if w.Best.Before(w.Opens) || w.Closes.Before(w.Best) || w.Opens.Before(x.lawn.Today) || !w.Opens.After(x.cut) {
			t.Fatalf("%s %s %s after a cut on %s, today %s", w.Opens, w.Best, w.Closes, x.cut, x.lawn.Today)
		}
		if w.Opens.Since(x.cut) < x.lawn.LeastDays {
			t.Fatalf("opens %d days after the cut, the plan asks for %d", w.Opens.Since(x.cut), x.lawn.LeastDays)
		}
		for _, d := range []civil.Date{w.Opens, w.Best, w.Closes} {
			if !w.Holds(d) {
				t.Fatalf("%s is struck: %+v", d, w.Struck)
			}
		}
		p := v.ChanceOn(x.cut, x.left, x.k, w.Best)
		if p <= mowing.BestChance || p <= mowing.NewLawnChance && w.Best.Since(x.cut) == 2 {
			if s := v.Standing(x.cut, x.left, x.k, w.Best); mowing.BreaksThird(s, x.lawn.Area.Height) {
				t.Fatalf("the best day takes %.3f of %.2f in", mowing.ShareRemoved(s, x.lawn.Area.Height), s.Inches())
			}
		} else if w.Opens != w.Best {
			t.Fatalf("best has a chance of %.3f, but the window opens earlier", p)
		}
		for _, c := range w.Chances {
			if !(c.OverThird >= 0 && c.OverThird <= 1) || !(c.StandingHeightIn > 0 && c.StandingHeightIn < 1000) {
				t.Fatalf("chance %+v", c)
			}
		}
	})
}

// TestFasterGrassIsDueNoLater: monotone in growth.
func TestFasterGrassIsDueNoLater(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := draw(t)
		v := x.lawn.Grow(x.c, x.daily)
		slow := v.Window(x.cut, x.left, x.k)
		x.k.X += rapid.Float64Range(0, 1).Draw(t, "faster")
		fast := v.Window(x.cut, x.left, x.k)
		if slow.Open() && !fast.Open() {
			t.Fatalf("due at %s when slow, never when fast: %s", slow.Best, fast.Reason)
		}
		if slow.Open() && (fast.Best.After(slow.Best) || fast.Closes.After(slow.Closes) || fast.Opens.After(slow.Opens)) {
			t.Fatalf("slow %s %s %s, fast %s %s %s", slow.Opens, slow.Best, slow.Closes, fast.Opens, fast.Best, fast.Closes)
		}
	})
}

// TestWindowBearsAnyInput: no NaN, no infinity, no panic.
func TestWindowBearsAnyInput(t *testing.T) {
	c := steady(t, "2026-06-01", 40, 19)
	odd := []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1, 0, 1e-300, 1e300, 0.02, 0.0762}
	rapid.Check(t, func(t *rapid.T) {
		any := rapid.SampledFrom(odd)
		lawn := mowing.Lawn{Area: growth.Area{Species: turf.Species(rapid.String().Draw(t, "species")), Height: unit.Length(any.Draw(t, "height"))},
			LeastDays: rapid.IntRange(-5, 100).Draw(t, "least"), GreatestDays: rapid.IntRange(-5, 100).Draw(t, "greatest")}
		w := lawn.Grow(c, growth.Daily{Ks: []float64{any.Draw(t, "ks")}}).Window(civil.MustDate("2026-06-01").AddDays(rapid.IntRange(-500, 500).Draw(t, "cut")),
			unit.Length(any.Draw(t, "left")), mowing.Learned{X: any.Draw(t, "x"), P: any.Draw(t, "P")})
		if w.Reason == "" || strings.Contains(w.Reason, "NaN") || strings.Contains(w.Reason, "Inf") {
			t.Fatalf("reason %q", w.Reason)
		}
		for _, p := range w.Chances {
			if math.IsNaN(p.OverThird) || math.IsNaN(p.StandingHeightIn) || math.IsInf(p.StandingHeightIn, 0) {
				t.Fatalf("chance %+v", p)
			}
		}
	})
}

// TestLearningBearsAnyInput: the state stays a number whatever is read.
func TestLearningBearsAnyInput(t *testing.T) {
	odd := rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), -1, 0, 0.01, 0.1, 0.5, 5})
	rapid.Check(t, func(t *rapid.T) {
		var rs []mowing.Reading
		for range rapid.IntRange(0, 12).Draw(t, "n") {
			rs = append(rs, mowing.Reading{On: civil.MustDate("2026-06-01").AddDays(rapid.IntRange(0, 60).Draw(t, "on")),
				Measured: unit.Length(odd.Draw(t, "measured")), Left: unit.Length(odd.Draw(t, "left")), Growth: unit.Length(odd.Draw(t, "growth")),
				MeanKs: odd.Draw(t, "ks"), RulerError: unit.Length(odd.Draw(t, "ruler")), Verdict: rapid.SampledFrom([]mowing.Verdict{"", mowing.Take}).Draw(t, "verdict")})
		}
		k, steps := mowing.Learn(mowing.Learned{X: odd.Draw(t, "x"), P: odd.Draw(t, "P")}, rs)
		if !(math.Abs(k.X) <= 3) || !(k.P >= 0 && k.P <= 4) || len(steps) != len(rs) {
			t.Fatalf("state %+v after %d of %d", k, len(steps), len(rs))
		}
	})
}

// BenchmarkWindow is one area's curve and its window, as a planner asks for it.
func BenchmarkWindow(b *testing.B) {
	v := fescue().Grow(steady(b, "2026-06-01", 60, 19), fedTo(1, 60))
	cut := civil.MustDate("2026-06-10")
	for b.Loop() {
		if w := v.Window(cut, 3*unit.Inch, mowing.Learned{P: 0.01}); !w.Open() {
			b.Fatal(w.Reason)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N), "ns/area")
}

// BenchmarkDays is the same without words.
func BenchmarkDays(b *testing.B) {
	v := fescue().Grow(steady(b, "2026-06-01", 60, 19), fedTo(1, 60))
	cut := civil.MustDate("2026-06-10")
	for b.Loop() {
		if _, best, _, _ := v.Days(cut, 3*unit.Inch, mowing.Learned{P: 0.01}); best.IsZero() {
			b.Fatal("no window")
		}
	}
}

// BenchmarkGrow sums an area's growth over 60 days, once an area.
func BenchmarkGrow(b *testing.B) {
	c := steady(b, "2026-06-01", 60, 19)
	for b.Loop() {
		if v := fescue().Grow(c, growth.Daily{}); v.Last().IsZero() {
			b.Fatal("empty curve")
		}
	}
}
