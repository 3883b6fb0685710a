package schedule

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/mowing"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
	"thirdcut/internal/weather"
)

// Store keeps what the schedule reads and decides. Each method is one
// transaction or one snapshot.
type Store interface {
	Company(ctx context.Context) (company.Settings, error)
	Crews(ctx context.Context) ([]crew.Crew, error)
	People(ctx context.Context) ([]crew.Person, error)

	// LawnsFor reads the properties (nil: all in use) with all that windows
	// come from, in one snapshot.
	LawnsFor(ctx context.Context, properties []uuid.UUID, today civil.Date) (Lawns, error)
	WeatherOf(ctx context.Context, placeID string) (weather.Place, []weather.Day, error)
	// OpenRefreshes lists the refreshes asked for and not done, of one property
	// or for uuid.Nil of all: whoever computes after reading them answers them all.
	OpenRefreshes(ctx context.Context, propertyID uuid.UUID) (Refreshes, error)
	// SaveWindows replaces the windows of the areas by those given, and marks
	// those jobs done, and the one that the context works for. What another
	// refresh saved since these were asked for is asked for again.
	SaveWindows(ctx context.Context, areas []uuid.UUID, windows []AreaWindow, answered Refreshes) error

	// Learn recomputes one area's season under the area's lock from all its
	// heights: learn is given them and returns what was learned. A change asks
	// for the property's windows anew.
	Learn(ctx context.Context, areaID uuid.UUID, season int, learn func(Season) (Growth, error)) error
	// Factors lists what has been learned this season, by species.
	Factors(ctx context.Context, season int) (map[turf.Species][]float64, error)
	SavePriors(ctx context.Context, priors []Prior) error

	AskPlan(ctx context.Context, p Proposal) error
	Proposal(ctx context.Context, id uuid.UUID) (Proposal, error)
	StartPlan(ctx context.Context, id uuid.UUID) (again bool, err error)
	KeepPlan(ctx context.Context, id uuid.UUID, basis string, d Document) error
	FailPlan(ctx context.Context, id uuid.UUID, why string) error
	DropPlan(ctx context.Context, id uuid.UUID, version int, by uuid.UUID) error
	// AcceptPlan locks the proposal and the days, hands check the visits that
	// stand there now, and writes the visits that it returns.
	AcceptPlan(ctx context.Context, id uuid.UUID, version int, by uuid.UUID, check func(Proposal, []visit.Visit) ([]visit.Visit, []RouteSheet, error)) error

	// VisitsBetween are all visits of the days, withdrawn ones left out.
	VisitsBetween(ctx context.Context, from, to civil.Date) ([]visit.Visit, error)
	Visit(ctx context.Context, id uuid.UUID) (visit.Visit, error)
	VisitsOn(ctx context.Context, crewID uuid.UUID, date civil.Date) ([]visit.Visit, error)
	// MoveVisit locks the visit with its day and the one it goes to, hands
	// arrange the visits that stand there, and writes what it returns.
	MoveVisit(ctx context.Context, id uuid.UUID, version int, to Place, arrange func(moved visit.Visit, from, into []visit.Visit) (Arranged, error)) (visit.Visit, error)
	SendSheet(ctx context.Context, crewID uuid.UUID, date civil.Date) (RouteSheet, error)
	Sheets(ctx context.Context, from, to civil.Date) ([]RouteSheet, error)
}

// Refreshes are the jobs that one refresh answers.
type Refreshes struct {
	PropertyID uuid.UUID // uuid.Nil: of all properties
	IDs        []int64
	At         time.Time // of the database, before anything was read to compute from
}

// Season is an area with its heights of one season, in order of time.
type Season struct {
	Property property.Property
	Area     property.TurfArea
	Heights  []visit.Cut
	PriorX   float64
	PriorNo  int // version of the prior
}

// Growth is what an area has taught in a season.
type Growth struct {
	Learned mowing.Learned
	Steps   []mowing.LearnStep
}

// Prior is the species' mean of ln k in this company.
type Prior struct {
	Species turf.Species
	Mean    float64
	SD      float64
	Areas   int
}

// Service is the use cases of the schedule. Real is the real clock; business
// time comes from the company's settings.
type Service struct {
	Store Store
	Real  func() time.Time
	// Iterations bounds the search for a plan; zero lets the planner choose.
	Iterations int
}

func (s *Service) now(ctx context.Context) (company.Settings, civil.Clock, error) {
	c, err := s.Store.Company(ctx)
	if err != nil {
		return c, civil.Clock{}, err
	}
	return c, c.Clock(s.Real), nil
}

// RefreshWindows computes the due windows of one property's areas, or of all
// for uuid.Nil, from the weather and growth as they are known now.
func (s *Service) RefreshWindows(ctx context.Context, propertyID uuid.UUID) error {
	var ids []uuid.UUID
	if propertyID != uuid.Nil {
		ids = []uuid.UUID{propertyID}
	}
	answered, err := s.Store.OpenRefreshes(ctx, propertyID)
	if err != nil {
		return err
	}
	lawns, _, err := s.lawns(ctx, ids)
	if err != nil {
		return err
	}
	at := s.Real()
	areas := make([]uuid.UUID, 0, len(lawns))
	var windows []AreaWindow
	for _, l := range lawns {
		areas = append(areas, l.area.ID)
		windows = append(windows, windowsOf(l, at)...)
	}
	return s.Store.SaveWindows(ctx, areas, windows, answered)
}

func windowsOf(l lawn, at time.Time) []AreaWindow {
	var out []AreaWindow
	if l.mows {
		out = append(out, AreaWindow{l.area.ID, l.mow, at})
	}
	// One window a kind of work: of several treatments the one due first.
	first := map[turf.Work]turf.Window{}
	for _, t := range l.treatments {
		have, ok := first[t.choice.Work]
		if !ok || (t.window.Open() && (!have.Open() || t.window.Best.Before(have.Best))) {
			first[t.choice.Work] = t.window
		}
	}
	for _, w := range []turf.Work{turf.Spread, turf.Spray} {
		if v, ok := first[w]; ok {
			out = append(out, AreaWindow{l.area.ID, v, at})
		}
	}
	return out
}

// lawns reads and joins the properties' areas with weather and growth.
func (s *Service) lawns(ctx context.Context, properties []uuid.UUID) ([]lawn, civil.Date, error) {
	c, clock, err := s.now(ctx)
	if err != nil {
		return nil, civil.Date{}, err
	}
	today := clock.Today()
	read, err := s.Store.LawnsFor(ctx, properties, today)
	if err != nil {
		return nil, today, err
	}
	skies, err := s.skies(ctx, c, read, today)
	if err != nil {
		return nil, today, err
	}
	var out []lawn
	for _, p := range read.Properties {
		for _, a := range p.Areas {
			if err := ctx.Err(); err != nil {
				return nil, today, err
			}
			out = append(out, join(c, p, a, read, skies[placeOf(c, p)], today))
		}
	}
	return out, today, nil
}

// Learn recomputes what an area's heights of the season have taught. Late,
// corrected and out-of-order reports need no special case, since it always
// starts from the season's beginning.
func (s *Service) Learn(ctx context.Context, areaID uuid.UUID) error {
	c, clock, err := s.now(ctx)
	if err != nil {
		return err
	}
	today := clock.Today()
	return s.Store.Learn(ctx, areaID, today.Year, func(season Season) (Growth, error) {
		k, err := s.seasonSky(ctx, placeOf(c, season.Property), today)
		if err != nil {
			return Growth{}, err
		}
		return learn(season, k, today), nil
	})
}

// seasonSky reads a place's weather from the first of January on.
func (s *Service) seasonSky(ctx context.Context, placeID string, today civil.Date) (sky, error) {
	k, err := s.sky(ctx, placeID, today)
	if err != nil {
		return k, err
	}
	k.climate = climateFrom(k.series, civil.On(today.Year, time.January, 1), today.AddDays(1))
	return k, nil
}

// FreezePriors takes the mean of ln k of each species over the company's areas
// as the starting point of areas that have no readings yet.
func (s *Service) FreezePriors(ctx context.Context) error {
	_, clock, err := s.now(ctx)
	if err != nil {
		return err
	}
	factors, err := s.Store.Factors(ctx, clock.Today().Year)
	if err != nil {
		return err
	}
	var priors []Prior
	for _, sp := range turf.AllSpecies {
		if xs := factors[sp]; len(xs) >= leastForPrior {
			priors = append(priors, priorOf(sp, xs))
		}
	}
	return s.Store.SavePriors(ctx, priors)
}

// leastForPrior is how many areas make a mean worth trusting. Ours.
const leastForPrior = 5

// AskPlan asks for a plan of the days; it is made by a job.
func (s *Service) AskPlan(ctx context.Context, from civil.Date, days int, by uuid.UUID) (Proposal, error) {
	bad := fault.New(fault.Invalid, "bad-days", "a plan is for 1 to 21 days")
	if days < 1 || days > 21 {
		return Proposal{}, bad.With("/days", "%d days cannot be planned; ask for 1 to 21", days)
	}
	_, clock, err := s.now(ctx)
	if err != nil {
		return Proposal{}, err
	}
	if from.Before(clock.Today()) {
		return Proposal{}, bad.With("/from", "%s has passed; plan from today (%s) on", from, clock.Today())
	}
	id, err := uuid.NewV7()
	if err != nil {
		return Proposal{}, fmt.Errorf("make an id: %w", err)
	}
	p := Proposal{ID: id, From: from, To: from.AddDays(days - 1), State: Asked, AskedBy: by, AskedAt: clock.Now(), Version: 1}
	return p, s.Store.AskPlan(ctx, p)
}
