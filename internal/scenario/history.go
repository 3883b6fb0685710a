package scenario

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"

	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
	"thirdcut/internal/growth"
	"thirdcut/internal/label"
	"thirdcut/internal/mowing"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/visit"
	"thirdcut/internal/water"
	"thirdcut/internal/weather"
)

// The size of the history. Ours.
const (
	historyWeeks = 5
	growthSpread = 0.25 // sd of ln of an area's own factor
	rulerSpread  = 0.12 // inches
)

// stage is one visit of the history with the report that closes it.
type stage struct {
	visit  visit.Visit
	crew   int
	index  int // of the property
	report func(visit.Visit) (visit.Entry, error)
}

// past draws the history.
type past struct {
	*builder
	rng     *rand.Rand
	series  weather.Series
	climate growth.Climate
	truth   map[uuid.UUID]*truth
	records []uuid.UUID // ids of the applications, in order
}

// truth is how an area of the demo really grows, which the program has to find out.
type truth struct {
	curve  mowing.Curve
	factor float64
	cutOn  civil.Date
}

func (b *builder) history() error {
	p := &past{builder: b, rng: rand.New(rand.NewPCG(b.Seed, 3)), truth: map[uuid.UUID]*truth{}}
	from := civil.On(b.Date.Year, time.January, 1)
	series, err := weather.NewSeries(Station, b.days, weather.NormalsFrom(b.days, b.Date.Year))
	if err != nil {
		return err
	}
	p.series, p.climate = series, growth.Read(series, from, b.Date)
	for _, prop := range b.made.Properties {
		for _, a := range prop.Areas {
			p.truth[a.ID] = p.truthOf(a, from)
		}
	}
	stages := append(p.treatments(), p.cuts()...)
	slices.SortStableFunc(stages, func(a, b stage) int {
		return cmp.Or(a.visit.Date.Compare(b.visit.Date), cmp.Compare(a.crew, b.crew), cmp.Compare(a.visit.Arrive, b.visit.Arrive))
	})
	visits := make([]visit.Visit, len(stages))
	for i, s := range stages {
		visits[i] = s.visit
	}
	if visits, err = b.DB.AddVisits(b.ctx, visits); err != nil {
		return err
	}
	if err := p.report(stages, visits); err != nil {
		return err
	}
	return p.mishaps(stages, visits)
}

func (p *past) truthOf(a property.TurfArea, from civil.Date) *truth {
	height := unit.Length(a.CuttingHeightIn) * unit.Inch
	balance := water.Balance(water.Area{Species: a.Species, Height: height, Soil: a.Soil, Irrigated: a.Irrigated}, p.series, from, p.Date, 0)
	curve := mowing.Lawn{Area: growth.Area{Species: a.Species, Height: height, Exposure: a.Exposure, Irrigated: a.Irrigated, NitrogenYear: a.NLbPerThousandYear}}.
		Grow(p.climate, growth.Daily{Ks: water.StressOf(balance)})
	return &truth{curve: curve, factor: math.Exp(growthSpread * p.rng.NormFloat64())}
}

func (p *past) workday(d civil.Date) bool { return p.made.Company.WorksOn(d) }

// inSeason is the season of the office sheet's service plans.
func inSeason(d civil.Date) bool {
	return d.Within(civil.MonthDay{Month: time.April, Day: 1}, civil.MonthDay{Month: time.November, Day: 15})
}

// cuts are the rounds up to the day before the date. Each property has its crew
// and its day of a fortnight. While the grass grows fast every lawn is cut each
// week; in the last two weeks only what is watered or likes the heat is, the
// rest once, as a company does when cool-season grass slows down in summer.
func (p *past) cuts() []stage {
	var stages []stage
	monday := p.Date.AddDays(-((int(p.Date.Weekday()) + 6) % 7))
	used := map[string]int{}
	for week := historyWeeks; week >= 1; week-- {
		for i, prop := range p.made.Properties {
			slot := i / len(crewNames) % 10
			if week <= 2 && slot/5 != 2-week && !fast(prop) {
				continue
			}
			d := monday.AddDays(-7*week + slot%5)
			if !p.workday(d) || !inSeason(d) || !d.Before(p.Date) {
				continue
			}
			k := i % len(crewNames)
			if prop.Areas[0].Mower == turf.Reel {
				k = reels
			}
			day := fmt.Sprint(k, d)
			at := civil.TimeOfDay(7*60 + 20 + 50*used[day])
			used[day]++
			stages = append(stages, p.cut(i, k, d, min(at, 17*60)))
		}
	}
	return stages
}

// fast says whether the lawn goes on growing in a hot summer.
func fast(p property.Property) bool { return p.Areas[0].Irrigated || warmArea(p.Areas[0]) }

func (p *past) cut(i, k int, d civil.Date, at civil.TimeOfDay) stage {
	prop := p.made.Properties[i]
	v := visit.Visit{PropertyID: prop.ID, CrewID: p.made.Crews[k].ID, Date: d, Arrive: at, Leave: at + 42}
	e := visit.Entry{Kind: "close_out", Outcome: "done", DeviceID: "tablet-" + strings.ToLower(crewNames[k])}
	for _, a := range prop.Areas {
		v.Tasks = append(v.Tasks, visit.Task{TurfAreaID: a.ID, Work: turf.Mow, Minutes: 18, Why: "weekly round"})
		set := fmt.Sprintf("%.3g in", a.CuttingHeightIn)
		e.Tasks = append(e.Tasks, visit.TaskReport{TurfAreaID: a.ID, Work: turf.Mow, Done: true, MachineID: p.mower(k, a), HeightSet: set, Clippings: "left"})
		if p.rng.IntN(7) > 0 { // now and then nobody measures
			e.Observations = append(e.Observations, visit.Observed{TurfAreaID: a.ID, Kind: "height_before", Value: fmt.Sprintf("%.2f in", p.standing(a, d))})
		}
		if p.rng.IntN(6) == 0 {
			e.Observations = append(e.Observations, visit.Observed{TurfAreaID: a.ID, Kind: "colour", Value: fmt.Sprint(5 + p.rng.IntN(4))})
		}
		p.truth[a.ID].cutOn = d
	}
	return stage{visit: v, crew: k, index: i, report: func(v visit.Visit) (visit.Entry, error) { return p.finish(e, v) }}
}

// mower is the crew's machine that can cut the area at its height.
func (p *past) mower(k int, a property.TurfArea) uuid.UUID {
	for _, m := range p.made.Crews[k].Machines {
		if m.Kind == string(a.Mower) && m.Cuts(a.CuttingHeightIn) {
			return m.ID
		}
	}
	return uuid.Nil
}

// standing is what a ruler shows before the cut, to the quarter inch below 6 in.
func (p *past) standing(a property.TurfArea, d civil.Date) float64 {
	t := p.truth[a.ID]
	grown := 0.35 * a.CuttingHeightIn // before the first cut of the history nobody knows
	if !t.cutOn.IsZero() {
		sum, _ := t.curve.Growth(t.cutOn, d)
		grown = t.factor * sum.Inches()
	}
	read := a.CuttingHeightIn + grown + rulerSpread*p.rng.NormFloat64()
	return math.Max(0.25, math.Round(read*8)/8)
}

// finish gives the report its ids and times.
func (p *past) finish(e visit.Entry, v visit.Visit) (visit.Entry, error) {
	id, err := uuid.NewV7()
	if err != nil {
		return e, fmt.Errorf("make an id: %w", err)
	}
	e.ID, e.VisitID = id, v.ID
	if e.StartedAt.IsZero() {
		e.StartedAt = v.Date.At(v.Arrive, p.zone).UTC()
	}
	e.FinishedAt = v.Date.At(v.Leave, p.zone).UTC()
	return e, nil
}

// round is a batch of like treatments of the season.
type round struct {
	product  string
	work     turf.Work
	before   int // days before the date on which it begins
	most     int // visits
	rate     float64
	unit     string
	target   string
	fits     func(property.TurfArea) bool
	perVisit civil.TimeOfDay
}

func anyArea(property.TurfArea) bool { return true }

func warmArea(a property.TurfArea) bool { return growth.Of(a.Species).Season == growth.WarmSeason }

var rounds = []round{
	{Broadleaf, turf.Spray, 63, 28, 1.0, "fl oz", "broadleaf weeds", anyArea, 40},
	{Feed, turf.Spread, 27, 8, 3.3, "lb", "nitrogen", warmArea, 40},
	{Surface, turf.Spray, 20, 10, 0.6, "fl oz", "chinch bugs", anyArea, 40},
	{Iron, turf.Spray, 18, 6, 3.0, "fl oz", "colour", anyArea, 40},
	{Grub, turf.Spread, 13, 10, 1.6, "lb", "white grubs", anyArea, 40},
}

// treatments are the season's applications, by the crews that treat.
func (p *past) treatments() []stage {
	var stages []stage
	n := 0
	for _, r := range rounds {
		d, taken := p.Date.AddDays(-r.before), 0
		for i, prop := range p.made.Properties {
			if taken == r.most {
				break
			}
			if prop.Plan == nil || !slices.Contains(prop.Plan.Services, r.work) || !r.fits(prop.Areas[0]) {
				continue
			}
			for !p.workday(d) {
				d = d.AddDays(1)
			}
			if !inSeason(d) || !d.Before(p.Date) {
				break
			}
			k := []int{1, 4}[taken%2]
			at := civil.TimeOfDay(7*60+30) + r.perVisit*civil.TimeOfDay(taken%6/2)
			stages = append(stages, p.treat(r, i, k, n, d, at))
			taken++
			n++
			if taken%6 == 0 {
				d = d.AddDays(1)
			}
		}
	}
	return stages
}

func (p *past) treat(r round, i, k, n int, d civil.Date, at civil.TimeOfDay) stage {
	prop := p.made.Properties[i]
	prod := p.made.Products[r.product]
	v := visit.Visit{PropertyID: prop.ID, CrewID: p.made.Crews[k].ID, Date: d, Arrive: at, Leave: at + 30}
	told := p.told(r, k, d)
	for _, a := range prop.Areas {
		rate := label.RateUnit(r.unit + "/1000 sq ft")
		v.Tasks = append(v.Tasks, visit.Task{TurfAreaID: a.ID, Work: r.work, Minutes: 10, ProductID: prod.ID, LabelVersionID: prod.Labels[0].ID, Rate: r.rate, RateUnit: rate, Target: r.target})
		told.Lines = append(told.Lines, visit.ApplicationLine{TurfAreaID: a.ID, AreaTreated: fmt.Sprintf("%.0f sq ft", a.AreaSqFt),
			Amount: fmt.Sprintf("%.3g %s", r.rate*a.AreaSqFt/1000*p.slip(n), r.unit)})
	}
	p.blemish(&told, n)
	return stage{visit: v, crew: k, index: i, report: func(v visit.Visit) (visit.Entry, error) {
		e := visit.Entry{Kind: "close_out", Outcome: "done", DeviceID: "tablet-" + strings.ToLower(crewNames[k])}
		if n == returnedAt {
			e.Outcome, e.Reason = "not_done", "The gate was locked and nobody answered."
			return p.finish(e, v)
		}
		a := told
		for _, l := range a.Lines {
			e.Tasks = append(e.Tasks, visit.TaskReport{TurfAreaID: l.TurfAreaID, Work: r.work, Done: true})
		}
		a.StartedAt = v.Date.At(v.Arrive+4, p.zone).UTC()
		if n%17 != noEndAt {
			a.FinishedAt = v.Date.At(v.Leave-4, p.zone).UTC()
		}
		e.Applications = []visit.Application{a}
		return p.finish(e, v)
	}}
}

func (p *past) told(r round, k int, d civil.Date) visit.Application {
	prod := p.made.Products[r.product]
	id := uuid.Must(uuid.NewV7())
	p.records = append(p.records, id)
	equipment, method := "ride-on sprayer", "broadcast spray"
	if r.work == turf.Spread {
		equipment, method = "walk-behind spreader", "broadcast"
	}
	t := visit.Application{ID: id, ProductID: prod.ID, LabelVersionID: prod.Labels[0].ID, LotIDs: []uuid.UUID{p.made.Lots[r.product].ID},
		ApplicatorID: lead(p.made.Crews[k]).ID, Equipment: equipment, Method: method, Target: r.target,
		WindDirection: pick(p.rng, []string{"SW", "W", "NW", "S"}), WeatherOther: "fair", SignPosted: true, NoticeGiven: true}
	if r.work == turf.Spray {
		t.Diluent = "12 gal"
	}
	if day, ok := p.series.On(d); ok {
		t.AirTemp = fmt.Sprintf("%.0f F", day.MeanTemperature().Fahrenheit())
		wind := 4.0
		if day.HasWind() {
			wind = math.Min(8, math.Round(0.6*day.Wind.MilesPerHour()))
		}
		t.Wind = fmt.Sprintf("%.0f mph", wind)
	}
	return t
}

func lead(k crew.Crew) crew.Person {
	for _, m := range k.Members {
		if m.Lead {
			return m.Person
		}
	}
	return crew.Person{}
}

// Which applications went wrong, by their number in the season.
const (
	noWindAt   = 3 // of each 13
	noEndAt    = 5 // of each 17
	overRateAt = 8
	lapsedAt   = 11
	returnedAt = 14
	secondAt   = 20
	correctAt  = 16 // lacks its wind until it is corrected
)

func (p *past) slip(n int) float64 {
	if n == overRateAt {
		return 1.6
	}
	return 1
}

func (p *past) blemish(t *visit.Application, n int) {
	if n%13 == noWindAt {
		t.Wind, t.WindDirection = "", ""
	}
	if n == lapsedAt {
		t.ApplicatorID = p.lapsed.ID
	}
}

// report sends the reports day by day, as the crews did, some at once.
func (p *past) report(stages []stage, visits []visit.Visit) error {
	for from := 0; from < len(stages); {
		day, end := visits[from].Date, from
		for end < len(stages) && visits[end].Date == day {
			end++
		}
		if err := p.clockAt(day, 18*60); err != nil {
			return err
		}
		entries := make([]visit.Entry, 0, end-from)
		for i := from; i < end; i++ {
			e, err := stages[i].report(visits[i])
			if err != nil {
				return err
			}
			entries = append(entries, e)
		}
		if err := p.send(entries, stages[from:end]); err != nil {
			return err
		}
		from = end
	}
	return nil
}

// send hands in a day's reports, four at once; those with applications one by
// one, since records are numbered in the order in which they come.
func (p *past) send(entries []visit.Entry, stages []stage) error {
	var group errgroup.Group
	group.SetLimit(4)
	var mu sync.Mutex
	var records sync.Mutex
	for i, e := range entries {
		if len(e.Applications) > 0 {
			records.Lock()
		}
		group.Go(func() error {
			if len(e.Applications) > 0 {
				defer records.Unlock()
			}
			if err := Send(p.ctx, p.Visits, p.who(stages[i].crew), e); err != nil {
				return err
			}
			mu.Lock()
			defer mu.Unlock()
			if e.Outcome == "done" {
				p.made.Closed++
			} else {
				p.made.Returned++
			}
			return nil
		})
	}
	return group.Wait()
}

func (p *past) who(k int) visit.Who {
	return visit.Who{PersonID: lead(p.made.Crews[k]).ID, CrewIDs: []uuid.UUID{p.made.Crews[k].ID}}
}
