package scenario

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/label"
	"thirdcut/internal/product"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
)

// Day is what a day's reports came to.
type Day struct{ Closed, Returned, Applications int }

// CloseDay reports the sent visits of the day from the field, each as its crew
// would: heights as planned, applications at the planned rate, one visit of
// twenty returned. Business time then stands at 18:00 of the day.
func CloseDay(ctx context.Context, h House, made Made, date civil.Date) (Day, error) {
	if err := h.DB.SetClock(ctx, date.At(18*60, made.Company.Zone).UTC()); err != nil {
		return Day{}, err
	}
	b := &builder{House: h, ctx: ctx, made: made, zone: made.Company.Zone}
	var done Day
	rng := rand.New(rand.NewPCG(h.Seed, 4))
	n := 0
	for i, k := range made.Crews {
		sheet, err := h.DB.SheetFor(ctx, k.ID, date)
		if err != nil {
			return done, err
		}
		for _, stop := range sheet.Stops {
			if stop.Visit.State != visit.Out {
				continue
			}
			n++
			e, err := b.dayReport(rng, i, n, stop, sheet)
			if err != nil {
				return done, err
			}
			if err := Send(ctx, h.Visits, visit.Who{PersonID: lead(k).ID, CrewIDs: []uuid.UUID{k.ID}}, e); err != nil {
				return done, err
			}
			done.Applications += len(e.Applications)
			if e.Outcome == "done" {
				done.Closed++
			} else {
				done.Returned++
			}
		}
	}
	return done, nil
}

func (b *builder) dayReport(rng *rand.Rand, k, n int, stop visit.Stop, sheet visit.Sheet) (visit.Entry, error) {
	v := stop.Visit
	id, err := uuid.NewV7()
	if err != nil {
		return visit.Entry{}, fmt.Errorf("make an id: %w", err)
	}
	e := visit.Entry{ID: id, Kind: "close_out", VisitID: v.ID, Outcome: "done", DeviceID: "tablet-" + strings.ToLower(crewNames[k]),
		StartedAt: v.Date.At(v.Arrive, b.zone).UTC(), FinishedAt: v.Date.At(v.Leave, b.zone).UTC()}
	if n%20 == 13 {
		e.Outcome, e.Reason = "not_done", "A car stood in front of the gate."
		return e, nil
	}
	for _, t := range v.Tasks {
		r := visit.TaskReport{TurfAreaID: t.TurfAreaID, Work: t.Work, Done: true}
		for _, a := range stop.Property.Areas {
			if a.ID != t.TurfAreaID {
				continue
			}
			if t.Work == turf.Mow {
				r.HeightSet, r.Clippings = fmt.Sprintf("%.3g in", a.CuttingHeightIn), "left"
				e.Observations = append(e.Observations, visit.Observed{TurfAreaID: a.ID, Kind: "height_before",
					Value: fmt.Sprintf("%.2f in", a.CuttingHeightIn*(1.25+0.1*rng.NormFloat64()))})
			}
			if t.Work.Treats() {
				a, err := b.planned(k, t, a.AreaSqFt, v, sheet.Products[t.ProductID])
				if err != nil {
					return e, err
				}
				e.Applications = append(e.Applications, a)
			}
		}
		e.Tasks = append(e.Tasks, r)
	}
	return e, nil
}

// planned is an application as it was planned and as it was done.
func (b *builder) planned(k int, t visit.Task, sqft float64, v visit.Visit, p product.Product) (visit.Application, error) {
	id, err := uuid.NewV7()
	if err != nil {
		return visit.Application{}, fmt.Errorf("make an id: %w", err)
	}
	unitName, _, _ := strings.Cut(string(t.RateUnit), "/")
	a := visit.Application{ID: id, ProductID: t.ProductID, LabelVersionID: t.LabelVersionID, ApplicatorID: lead(b.made.Crews[k]).ID,
		Lines:     []visit.ApplicationLine{{TurfAreaID: t.TurfAreaID, AreaTreated: fmt.Sprintf("%.0f sq ft", sqft), Amount: fmt.Sprintf("%.3g %s", t.Rate*sqft/1000, unitName)}},
		StartedAt: v.Date.At(v.Arrive+2, b.zone).UTC(), FinishedAt: v.Date.At(v.Leave, b.zone).Add(-time.Minute).UTC(),
		Equipment: "walk-behind spreader", Method: "broadcast", Target: t.Target, AirTemp: "78 F", Wind: "4 mph", WindDirection: "SW",
		WeatherOther: "fair", SignPosted: true, NoticeGiven: true}
	if t.Work == turf.Spray {
		a.Equipment, a.Method, a.Diluent = "ride-on sprayer", "broadcast spray", "12 gal"
	}
	if label.RateUnit(t.RateUnit).Liquid() && p.Form == "dry" {
		return a, fmt.Errorf("%s is dry but planned by volume", p.Name)
	}
	for key, have := range b.made.Products {
		if have.ID == p.ID {
			a.LotIDs = []uuid.UUID{b.made.Lots[key].ID}
		}
	}
	return a, nil
}
