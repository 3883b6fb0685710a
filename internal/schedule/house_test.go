package schedule_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
	"thirdcut/internal/property"
	"thirdcut/internal/schedule"
	"thirdcut/internal/testkit/build"
	"thirdcut/internal/testkit/pgtest"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/visit"
	"thirdcut/internal/weather"
)

func TestMain(m *testing.M) { pgtest.Main(m) }

// house is a small company with two years of weather, whose property is mown,
// edged, sprayed and spread from April to November.
type house struct {
	*build.World
	t       *testing.T
	service *schedule.Service
	now     time.Time
}

func newHouse(t *testing.T) *house {
	t.Helper()
	t.Parallel()
	h := bareHouse(t)
	_, err := h.SaveWeatherDays(h.Ctx, "shop", seasons())
	h.ok(err)
	h.agree(h.Property, turf.Mow, turf.Edge, turf.Spray, turf.Spread)
	return h
}

// bareHouse has neither weather nor service plans.
func bareHouse(t *testing.T) *house {
	t.Helper()
	w := build.Company(t, build.Open(t, pgtest.New(t)))
	h := &house{World: w, t: t, now: build.Clock()}
	h.service = &schedule.Service{Store: w.DB, Real: func() time.Time { return h.now }, Iterations: 200}
	return h
}

// seasons is made-up weather of Maryland from 2024 until the day before
// build.Day, with a forecast of a week.
func seasons() (days []weather.Day) {
	last := build.Day.AddDays(-1)
	for d := civil.MustDate("2024-01-01"); !d.After(last.AddDays(7)); d = d.AddDays(1) {
		year := math.Sin(2 * math.Pi * (float64(d.DayNumber()-civil.On(d.Year, 1, 1).DayNumber()) - 105) / 365)
		v := weather.Day{Date: d, Max: unit.Celsius(18 + 12*year), Min: unit.Celsius(7 + 12*year), Wind: unit.Speed(math.NaN()),
			Quality: weather.Observed, Source: "test"}
		if d.DayNumber()%3 == 0 {
			v.Precipitation = 12 * unit.Millimetre
		}
		if d.After(last) {
			v.Quality = weather.Forecast
		}
		days = append(days, v)
	}
	return days
}

func (h *house) ok(err error) {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
}

// refused wants a fault of that code that says all of the words, and returns
// all that it says.
func (h *house) refused(err error, kind fault.Kind, code string, words ...string) {
	h.t.Helper()
	f := fault.As(err)
	if f == nil || f.Kind != kind || f.Code != code {
		h.t.Fatalf("got %v, want a fault of kind %d, %s", err, kind, code)
	}
	for _, w := range words {
		if !strings.Contains(f.Detail, w) {
			h.t.Errorf("it says %q and not %q", f.Detail, w)
		}
	}
}

func (h *house) agree(p property.Property, services ...turf.Work) {
	h.t.Helper()
	_, err := h.SaveServicePlan(h.Ctx, p.ID, 0, civil.MustDate("2026-01-02"), func(s *property.ServicePlan) error {
		s.SeasonFrom, s.SeasonTo, s.Services = civil.MonthDay{Month: 4, Day: 1}, civil.MonthDay{Month: 11, Day: 15}, services
		return nil
	})
	h.ok(err)
}

// do and number are the test's own looks into the database.
func (h *house) do(statement string, args ...any) {
	h.t.Helper()
	_, err := h.Exec(statement, args...)
	h.ok(err)
}

func (h *house) number(query string, args ...any) (n int) {
	h.t.Helper()
	h.ok(h.Get(&n, query, args...))
	return n
}

// mown sends a report that the front was mown that day at that height before,
// as measured, and left at 3 1/2 in.
func (h *house) mown(day civil.Date, before string) {
	h.t.Helper()
	e := h.World.Mown(h.Visit(h.Crew, h.Property, day), h.Property)
	e.StartedAt, e.FinishedAt = day.At(480, h.Company.Zone).UTC(), day.At(525, h.Company.Zone).UTC()
	e.Observations[0].Value = before
	h.send(e)
}

func (h *house) send(e visit.Entry) {
	h.t.Helper()
	b, err := json.Marshal(e)
	h.ok(err)
	r := visit.Service{Store: h.DB}.Batch(h.Ctx, build.Who(h.Lead, h.Crew), []json.RawMessage{b})[0]
	if r.Outcome != visit.Accepted {
		h.t.Fatalf("%s: %+v", r.Outcome, r.Problem)
	}
}

// windows refreshes and reads the windows of one area, by work.
func (h *house) windows(p property.Property, area uuid.UUID) map[turf.Work]turf.Window {
	h.t.Helper()
	h.ok(h.service.RefreshWindows(h.Ctx, p.ID))
	all, err := h.Windows(h.Ctx, p.ID)
	h.ok(err)
	by := map[turf.Work]turf.Window{}
	for _, w := range all[area] {
		by[w.Work] = w
	}
	return by
}

// nutsedge lets the company use a product against nutsedge, due in June.
func (h *house) nutsedge(l label.Limits) {
	h.t.Helper()
	l.Place, l.RateUnit, l.ReentryText, l.SignalWord = "p. 3, Turf", label.FlOzPerThousand, "until dry", "CAUTION"
	p := h.Weed
	if l.RateMax != nil {
		p.ID, p.Name, p.Labels = uuid.Nil, "Sample Sedge Two", nil
		p = h.Product(p, l)
	}
	h.ok(h.AddChoice(h.Ctx, schedule.Choice{Target: "nutsedge", Season: "any", Work: turf.Spray, ProductID: p.ID, Pattern: "turf", Rate: 1,
		RateUnit: label.FlOzPerThousand, Purpose: "yellow nutsedge", Method: "broadcast spray"}))
}

// plan asks for a plan from build.Day on and makes it.
func (h *house) plan(days int) schedule.Proposal {
	h.t.Helper()
	p, err := h.service.AskPlan(h.Ctx, build.Day.AddDays(1), days, h.Owner.ID)
	h.ok(err)
	h.ok(h.service.ComputePlan(h.Ctx, p.ID))
	p, err = h.Proposal(h.Ctx, p.ID)
	h.ok(err)
	if p.State != schedule.Proposed {
		h.t.Fatalf("the plan is %s: %s", p.State, p.Problem)
	}
	return p
}

func (h *house) accept(p schedule.Proposal) []visit.Visit {
	h.t.Helper()
	h.ok(h.service.AcceptPlan(h.Ctx, p.ID, p.Version, h.Owner.ID))
	list, err := h.VisitsBetween(h.Ctx, p.From, p.To)
	h.ok(err)
	return list
}
