package schedule_test

import (
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/property"
	"thirdcut/internal/testkit/build"
	"thirdcut/internal/turf"
)

func TestWindowOfACutNamesWhatItRestsOn(t *testing.T) {
	h := newHouse(t)
	h.mown(build.Day.AddDays(-3), "4 1/2 in")
	front := build.Front(h.Property)
	w := h.windows(h.Property, front.ID)[turf.Mow]
	if !w.Open() || w.Opens.After(w.Best) || w.Best.After(w.Closes) || w.Opens.Before(build.Day) {
		t.Fatalf("window %s to %s, best %s", w.Opens, w.Closes, w.Best)
	}
	for _, word := range []string{"31 May", " in"} {
		if !strings.Contains(w.Reason, word) {
			t.Errorf("the reason %q does not name %q", w.Reason, word)
		}
	}
	if n := h.number(`select count(*) from job_outbox where done_at is null and kind = 'windows:refresh' and payload ->> 'property_id' = $1`, h.Property.ID.String()); n != 0 {
		t.Errorf("%d refreshes of the property are left undone", n)
	}
	// A later cut moves the window on.
	h.mown(build.Day, "4 in")
	if later := h.windows(h.Property, front.ID)[turf.Mow]; !later.Best.After(w.Best) {
		t.Errorf("after a cut today the best day is %s, before it was %s", later.Best, w.Best)
	}
}

func TestClosedDaysAreStruck(t *testing.T) {
	h := newHouse(t)
	p, err := h.SaveProperty(h.Ctx, h.Property.ID, h.Property.Version, func(p *property.Property) error { p.ClosedWeekdays = []int{5}; return nil })
	h.ok(err)
	h.mown(build.Day.AddDays(-1), "4 1/2 in")
	w := h.windows(p, build.Front(p).ID)[turf.Mow]
	struck := map[civil.Date]string{}
	for _, s := range w.Struck {
		struck[s.Date] = s.Reason
	}
	closed := 0
	for d := w.Opens; !d.After(w.Closes); d = d.AddDays(1) {
		if d.Weekday() == time.Friday {
			closed++
			if !strings.Contains(struck[d], "closed on Friday") || w.Holds(d) {
				t.Errorf("%s is a %s and struck for %q", d, d.Weekday(), struck[d])
			}
		}
	}
	if closed == 0 || w.Best.Weekday() == time.Friday {
		t.Errorf("%d closed days in %s to %s, best %s", closed, w.Opens, w.Closes, w.Best)
	}
}

func TestLawnWithoutWeatherOrPlan(t *testing.T) {
	t.Parallel()
	h := bareHouse(t)
	if w := h.windows(h.Property, build.Front(h.Property).ID); len(w) != 0 {
		t.Errorf("without a service plan there are windows: %+v", w)
	}
	h.agree(h.Property, turf.Mow)
	w, ok := h.windows(h.Property, build.Front(h.Property).ID)[turf.Mow]
	if !ok || !strings.Contains(strings.ToLower(w.Reason), "weather") {
		t.Errorf("without weather the window is %+v, %v", w, ok)
	}
	plans, err := h.ServicePlans(h.Ctx, h.Property.ID)
	h.ok(err)
	h.ok(h.EndServicePlan(h.Ctx, h.Property.ID, plans[0].Version, build.Day.AddDays(-1)))
	if w := h.windows(h.Property, build.Front(h.Property).ID); len(w) != 0 {
		t.Errorf("the windows of a plan that ended are left: %+v", w)
	}
}

type learned struct {
	X        float64     `db:"ln_factor"`
	Variance float64     `db:"variance"`
	AsOf     *civil.Date `db:"as_of"`
	Steps    string      `db:"steps"`
}

func (h *house) learn(area uuid.UUID) (l learned) {
	h.t.Helper()
	h.ok(h.service.Learn(h.Ctx, area))
	h.ok(h.Get(&l, `select ln_factor, variance, as_of, steps from learned_growth where turf_area_id = $1 and season = 2026`, area))
	return l
}

func TestLateReportsTeachTheSame(t *testing.T) {
	type cut struct {
		day    string
		before string
	}
	cuts := []cut{{"2026-04-20", "4 in"}, {"2026-04-28", "5 in"}, {"2026-05-05", "4 3/4 in"}, {"2026-05-12", "5 1/4 in"}, {"2026-05-20", "5 in"}}
	right := newHouse(t)
	late := bareHouse(t)
	_, err := late.SaveWeatherDays(late.Ctx, "shop", seasons())
	late.ok(err)
	late.agree(late.Property, turf.Mow, turf.Edge, turf.Spray, turf.Spread)
	var want, got learned
	for i, c := range cuts {
		right.mown(civil.MustDate(c.day), c.before)
		want = right.learn(build.Front(right.Property).ID)
		c = cuts[[]int{3, 0, 4, 2, 1}[i]]
		late.mown(civil.MustDate(c.day), c.before)
		got = late.learn(build.Front(late.Property).ID)
	}
	if want.X == 0 || want.AsOf == nil {
		t.Fatalf("nothing was learned: %+v", want)
	}
	if got.X != want.X || got.Variance != want.Variance || got.Steps != want.Steps {
		t.Errorf("in the wrong order it learned %v (%v), in the right one %v (%v)", got.X, got.Variance, want.X, want.Variance)
	}
	if n := right.number(`select count(*) from job_outbox where kind = 'growth:learn' and done_at is null and payload ->> 'turf_area_id' = $1`, build.Front(right.Property).ID.String()); n != 0 {
		t.Errorf("%d questions about the area are left undone", n)
	}
}

func TestReadingSetAsideMovesNothing(t *testing.T) {
	h := newHouse(t)
	front := build.Front(h.Property).ID
	h.mown(civil.MustDate("2026-05-05"), "4 in")
	h.mown(civil.MustDate("2026-05-12"), "4 3/4 in")
	before := h.learn(front)
	h.mown(civil.MustDate("2026-05-19"), "17 in")
	after := h.learn(front)
	if before.X == 0 || after.X != before.X {
		t.Errorf("the factor went from %v to %v", before.X, after.X)
	}
	if !strings.Contains(after.Steps, "set aside") {
		t.Errorf("the steps do not say that it was set aside: %s", after.Steps)
	}
}

func TestLearningTheSameAreaAtOnce(t *testing.T) {
	h := newHouse(t)
	front := build.Front(h.Property).ID
	for _, day := range []string{"2026-05-05", "2026-05-12", "2026-05-19"} {
		h.mown(civil.MustDate(day), "4 3/4 in")
	}
	var all sync.WaitGroup
	for range 6 {
		all.Go(func() {
			if err := h.service.Learn(h.Ctx, front); err != nil {
				t.Error(err)
			}
			if err := h.service.RefreshWindows(h.Ctx, h.Property.ID); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if n := h.number(`select count(*) from due_window where turf_area_id = $1 and work = 'mow'`, front); n != 1 {
		t.Errorf("%d windows of a cut of one area", n)
	}
}

func TestPriorNeedsFiveAreas(t *testing.T) {
	h := newHouse(t)
	var areas []uuid.UUID
	for _, street := range []string{"3 Fern Way", "4 Fern Way", "5 Fern Way"} {
		for _, a := range h.Lawn(street).Areas {
			areas = append(areas, a.ID)
		}
	}
	xs := []float64{0.1, 0.2, 0.3, 0.4, 0.5}
	for i, x := range xs {
		if i == 4 {
			h.ok(h.service.FreezePriors(h.Ctx))
			if n := h.number(`select count(*) from growth_prior`); n != 0 {
				t.Fatalf("four areas made %d priors", n)
			}
		}
		h.do(`insert into learned_growth (turf_area_id, season, ln_factor, variance, as_of, steps, prior_version, computed_at)
			values ($1, 2026, $2, 0.01, '2026-05-20', '[]', 0, now())`, areas[i], x)
	}
	// An area that no reading has told of does not count.
	h.do(`insert into learned_growth (turf_area_id, season, ln_factor, variance, as_of, steps, prior_version, computed_at)
		values ($1, 2026, 9, 0.01, null, '[]', 0, now())`, areas[5])
	h.ok(h.service.FreezePriors(h.Ctx))
	var p struct {
		Mean  float64 `db:"ln_mean"`
		SD    float64 `db:"ln_sd"`
		Areas int     `db:"areas"`
		No    int     `db:"version"`
	}
	h.ok(h.Get(&p, `select ln_mean, ln_sd, areas, version from growth_prior where species = 'tall_fescue'`))
	if math.Abs(p.Mean-0.3) > 1e-12 || math.Abs(p.SD-math.Sqrt(0.025)) > 1e-12 || p.Areas != 5 || p.No != 1 {
		t.Errorf("the prior is %+v, want mean 0.3, sd 0.158 of 5 areas, version 1", p)
	}
	h.ok(h.service.FreezePriors(h.Ctx))
	if n := h.number(`select max(version) from growth_prior`); n != 2 {
		t.Errorf("the second night made version %d", n)
	}
}
