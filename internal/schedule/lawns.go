package schedule

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/feed"
	"thirdcut/internal/growth"
	"thirdcut/internal/label"
	"thirdcut/internal/mowing"
	"thirdcut/internal/product"
	"thirdcut/internal/property"
	"thirdcut/internal/recordrule"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/visit"
	"thirdcut/internal/water"
	"thirdcut/internal/weather"
)

// Lawns is what windows and plans are computed from, read in one snapshot.
type Lawns struct {
	Properties []property.Property // with areas and running plan, without outlines
	Cuts       map[uuid.UUID]visit.Cut
	Learned    map[uuid.UUID]mowing.Learned // of the current season
	Priors     map[turf.Species]float64     // mean of ln k in this company
	Applied    map[uuid.UUID][]Applied      // by turf area, of the last year, superseded ones left out
	Choices    []Choice
	Products   map[uuid.UUID]product.Product // those of the choices
}

// Applied is what one application left on one turf area.
type Applied struct {
	RecordID          uuid.UUID
	ProductID         uuid.UUID
	ProductName       string
	On                civil.Date
	ReentryAt         time.Time // zero: the label gives no hours
	Amount            float64   // in Unit
	Unit              string    // kg L
	SqFt              float64
	NPercent          *float64
	MowWaitAfterDays  *int
	MowWaitBeforeDays *int
}

// nitrogen is the lb N per 1,000 sq ft that a dry application brought.
func (a Applied) nitrogen() float64 {
	if a.NPercent == nil || a.Unit != "kg" || a.SqFt <= 0 {
		return 0
	}
	spread := (unit.Mass(a.Amount) * unit.Kilogram).Over(unit.Area(a.SqFt) * unit.SquareFoot)
	return spread.PoundsPerThousand() * *a.NPercent / 100
}

// Choice is the product that the company's licensed person chose for a treatment.
type Choice struct {
	ID        uuid.UUID
	Target    string // feed, or a feed.Target
	Season    string // cool warm any
	Work      turf.Work
	ProductID uuid.UUID
	Pattern   string
	Rate      float64 // 0: by the nitrogen wanted
	RateUnit  label.RateUnit
	Purpose   string
	Method    string
}

// Feeding is the target of the feeding calendar.
const Feeding = "feed"

// lawn is one turf area with everything that its windows come from.
type lawn struct {
	property   property.Property
	area       property.TurfArea
	curve      mowing.Curve
	learned    mowing.Learned
	cutOn      civil.Date
	left       unit.Length
	mow        turf.Window
	mows       bool
	treatments []treatment
}

// treatment is one due application of a chosen product.
type treatment struct {
	choice  Choice
	product product.Product
	label   product.LabelVersion
	window  turf.Window
	rate    float64 // in the choice's or the label's unit
	unit    label.RateUnit
}

// How far windows look back and ahead, days. Back: drought rest is followed
// from the first day on. Ahead: the longest plan and the window after it.
const (
	lookBack  = 75
	lookAhead = 60
)

// sky is the weather of one place, read once for all its lawns.
type sky struct {
	place   weather.Place
	series  weather.Series
	climate growth.Climate
}

// skies reads the weather of every place that the lawns name.
func (s *Service) skies(ctx context.Context, c company.Settings, lawns Lawns, today civil.Date) (map[string]sky, error) {
	by := map[string]sky{}
	for _, p := range lawns.Properties {
		id := placeOf(c, p)
		if _, ok := by[id]; ok {
			continue
		}
		k, err := s.sky(ctx, id, today)
		if err != nil {
			return nil, err
		}
		by[id] = k
	}
	return by, nil
}

func placeOf(c company.Settings, p property.Property) string {
	if p.WeatherPlaceID != "" {
		return p.WeatherPlaceID
	}
	return c.WeatherPlaceID
}

func (s *Service) sky(ctx context.Context, placeID string, today civil.Date) (sky, error) {
	var place weather.Place
	var days []weather.Day
	if placeID != "" {
		var err error
		if place, days, err = s.Store.WeatherOf(ctx, placeID); err != nil {
			return sky{}, err
		}
	}
	// This year is left out of the normals, so that a plan is not told by
	// what it is to foresee.
	normals := weather.NormalsFrom(days, today.Year)
	series, err := weather.NewSeries(place, days, normals)
	if err != nil {
		return sky{}, fmt.Errorf("read the weather of %s: %w", placeID, err)
	}
	return sky{place, series, growth.Read(series, today.AddDays(-lookBack), today.AddDays(lookAhead))}, nil
}

// join brings a turf area together with its weather, growth and past.
func join(c company.Settings, p property.Property, a property.TurfArea, lawns Lawns, k sky, today civil.Date) lawn {
	l := lawn{property: p, area: a}
	height := unit.Length(a.CuttingHeightIn) * unit.Inch
	from := today.AddDays(-lookBack)
	balance := water.Balance(water.Area{Species: a.Species, Height: height, Soil: a.Soil, Irrigated: a.Irrigated}, k.series, from, today.AddDays(lookAhead), 0)
	m := mowing.Lawn{
		Area:  growth.Area{Species: a.Species, Height: height, Exposure: a.Exposure, Irrigated: a.Irrigated, NitrogenYear: a.NLbPerThousandYear},
		Today: today, Closed: closedDays(c, p, lawns.Applied[a.ID], today),
	}
	if cut, ok := lawns.Cuts[a.ID]; ok {
		l.cutOn = cut.On
		if left, ok := cut.Left(); ok {
			l.left = unit.Length(left) * unit.Inch
		}
		m.Area.Measured = cut.On
	}
	if p.Plan != nil {
		m.SeasonFrom, m.SeasonTo = p.Plan.SeasonFrom, p.Plan.SeasonTo
		if p.Plan.LeastDays != nil {
			m.LeastDays = *p.Plan.LeastDays
		}
		if p.Plan.GreatestDays != nil {
			m.GreatestDays = *p.Plan.GreatestDays
		}
		l.mows = covers(p.Plan, turf.Mow)
	}
	l.curve = m.Grow(k.climate, growth.Daily{Ks: water.StressOf(balance)})
	var known bool
	// An area that no reading has told of yet starts from the prior as it is now.
	if l.learned, known = lawns.Learned[a.ID]; !known || l.learned.On.IsZero() {
		l.learned = mowing.Prior(lawns.Priors[a.Species], a.Exposure)
	}
	if l.mows {
		l.mow = l.mowWindow(today)
	}
	l.treatments = treatmentsOf(l, lawns, k.series, today)
	return l
}

// mowWindow is when the lawn is to be cut next. A lawn of which no cut is on
// record may come at any day from today on, so that somebody measures it soon;
// the end of its window is that of a lawn that stands at its cutting height.
func (l lawn) mowWindow(today civil.Date) turf.Window {
	if !l.cutOn.IsZero() {
		return l.curve.Window(l.cutOn, l.left, l.learned)
	}
	w := l.curve.Window(today.AddDays(-1), unit.Length(l.area.CuttingHeightIn)*unit.Inch, l.learned)
	if !w.Open() {
		return w
	}
	for d := today; d.Before(w.Opens); d = d.AddDays(1) {
		opens := w
		opens.Opens = d
		if opens.Holds(d) {
			w = opens
			break
		}
	}
	w.Reason = "No measured height yet: no cut is on record here, so it is taken as standing at its cutting height this morning; measure it at the first visit. " + w.Reason
	return w
}

func covers(p *property.ServicePlan, w turf.Work) bool {
	for _, have := range p.Services {
		if have == w {
			return true
		}
	}
	return false
}

// closedDays are the days ahead on which nobody comes, with the reason.
func closedDays(c company.Settings, p property.Property, applied []Applied, today civil.Date) []turf.StruckDay {
	var struck []turf.StruckDay
	for d := today; d.Since(today) <= lookAhead; d = d.AddDays(1) {
		if reason := closedOn(c, p, d); reason != "" {
			struck = append(struck, turf.StruckDay{Date: d, Reason: reason})
		}
	}
	for _, a := range applied {
		struck = append(struck, reentryDays(c, a, today)...)
		if a.MowWaitAfterDays == nil {
			continue
		}
		for n := 0; n < *a.MowWaitAfterDays; n++ {
			if d := a.On.AddDays(n); !d.Before(today) {
				struck = append(struck, turf.StruckDay{Date: d, Reason: fmt.Sprintf("the label of %s wants %d days without mowing after %s", a.ProductName, *a.MowWaitAfterDays, a.On)})
			}
		}
	}
	return struck
}

// reentryDays are the days through which nobody may go onto the area again. On
// the day on which the label's hours end the crew's sheet says from when.
func reentryDays(c company.Settings, a Applied, today civil.Date) (struck []turf.StruckDay) {
	if a.ReentryAt.IsZero() {
		return nil
	}
	ends := civil.DateOf(a.ReentryAt, c.Zone)
	for d := laterOf(a.On, today); d.Before(ends); d = d.AddDays(1) {
		struck = append(struck, turf.StruckDay{Date: d, Reason: fmt.Sprintf("nobody may go on it until %s %s, by the label of %s",
			ends.Words(), a.ReentryAt.In(c.Zone).Format("15:04"), a.ProductName)})
	}
	return struck
}

func closedOn(c company.Settings, p property.Property, d civil.Date) string {
	weekday := company.ISOWeekday(d)
	switch {
	case !c.WorksOn(d):
		return "the company does not work"
	case contains(p.ClosedWeekdays, weekday):
		return "the property is closed on " + d.Weekday().String()
	}
	return ""
}

func contains[T comparable](list []T, v T) bool {
	for _, have := range list {
		if have == v {
			return true
		}
	}
	return false
}

// treatmentsOf are the applications that the service plan covers and for which
// somebody chose a product.
func treatmentsOf(l lawn, lawns Lawns, series weather.Series, today civil.Date) []treatment {
	if l.property.Plan == nil {
		return nil
	}
	var due []treatment
	for _, c := range lawns.Choices {
		if !covers(l.property.Plan, c.Work) || !seasonFits(c.Season, l.area.Species) {
			continue
		}
		p, ok := lawns.Products[c.ProductID]
		if !ok {
			continue
		}
		v, labelled := p.LabelOn(c.Pattern, today)
		t := treatment{choice: c, product: p, label: v, rate: c.Rate, unit: c.RateUnit}
		switch {
		case c.Target == Feeding:
			t = feedingOf(t, l, lawns.Applied[l.area.ID], today)
		default:
			t.window = feed.Treatment(feed.Target(c.Target), series, today.Year, today, l.area.Exposure == turf.Sun)
		}
		t.window.Work = c.Work
		if !labelled {
			t.window = turf.Window{Work: c.Work, Reason: fmt.Sprintf("No confirmed label version of %s for %s is in force, so nothing is planned with it.", p.Name, c.Pattern)}
		}
		if done := doneBefore(t, lawns.Applied[l.area.ID]); done != "" {
			t.window = turf.Window{Work: c.Work, Reason: done}
		}
		due = append(due, t)
	}
	return due
}

func seasonFits(season string, s turf.Species) bool {
	warm := growth.Of(s).Season == growth.WarmSeason
	return season == "any" || (season == "warm") == warm
}

// doneBefore says that the treatment has been made in its window or within the
// label's interval of it.
func doneBefore(t treatment, applied []Applied) string {
	if !t.window.Open() || t.choice.Target == Feeding {
		return ""
	}
	since := t.window.Opens.AddDays(-45)
	for _, a := range applied {
		if a.ProductID == t.product.ID && !a.On.Before(since) {
			return fmt.Sprintf("%s went down on %s, so it is not due again now.", t.product.Name, a.On.Words())
		}
	}
	return ""
}

// feedingOf is the next dose of the feeding calendar, with the rate of product
// that brings its nitrogen.
func feedingOf(t treatment, l lawn, applied []Applied, today civil.Date) treatment {
	ask := feed.Ask{Species: l.area.Species, Year: today.Year, Today: today, Caps: capsOf(l.property.State, today)}
	if l.area.NLbPerThousandYear != nil {
		ask.Plan = *l.area.NLbPerThousandYear
	}
	for _, a := range applied {
		if n := a.nitrogen(); n > 0 && a.On.Year == today.Year {
			ask.Given = append(ask.Given, feed.Given{On: a.On, N: n})
		}
	}
	doses := feed.Plan(ask)
	if len(doses) == 0 {
		t.window = turf.Window{Reason: "The feeding calendar has no further dose this year for " + l.area.Species.Words() + "."}
		return t
	}
	t.window = doses[0].Window
	n := t.product.NPercent
	if n == nil || *n <= 0 {
		t.window = turf.Window{Reason: t.product.Name + " names no nitrogen, so no dose can be computed for it."}
		return t
	}
	t.rate, t.unit = doses[0].N*100 / *n, label.LbPerThousand
	return t
}

// capsOf are the nitrogen limits of the state's law in force on the day.
func capsOf(state string, on civil.Date) feed.Caps {
	r, ok := recordrule.InForce("us-"+strings.ToLower(state), on)
	if !ok || r.Fertiliser == nil {
		return feed.Caps{}
	}
	f := r.Fertiliser
	caps := feed.Caps{PerDose: value(f.N), SolublePerDose: value(f.NSoluble), PerYear: value(f.NYear), Source: f.Citation}
	for _, b := range f.Blackout {
		if contains(b.Nutrients, "N") || contains(b.Nutrients, "any fertiliser") {
			caps.ClosedFrom, caps.ClosedTo = b.From, b.To
		}
	}
	return caps
}

func value(f *float64) float64 {
	if f == nil {
		return 0
	}
	return *f
}
