package schedule

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/crew"
	"thirdcut/internal/label"
	"thirdcut/internal/plan"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/visit"
)

// scope is what a request is about; its zero value is the whole company.
type scope struct {
	properties []uuid.UUID // nil: all
	without    uuid.UUID   // a visit that is about to stand elsewhere
}

// request gathers a plan's input from what the company keeps.
func (s *Service) request(ctx context.Context, from, to civil.Date, about scope) (*request, error) {
	c, clock, err := s.now(ctx)
	if err != nil {
		return nil, err
	}
	crews, err := s.Store.Crews(ctx)
	if err != nil {
		return nil, err
	}
	people, err := s.Store.People(ctx)
	if err != nil {
		return nil, err
	}
	visits, err := s.Store.VisitsBetween(ctx, from, to)
	if err != nil {
		return nil, err
	}
	read, err := s.Store.LawnsFor(ctx, about.properties, clock.Today())
	if err != nil {
		return nil, err
	}
	skies, err := s.skies(ctx, c, read, clock.Today())
	if err != nil {
		return nil, err
	}
	before, err := s.Store.VisitsBetween(ctx, clock.Today(), from.AddDays(-1))
	if err != nil {
		return nil, err
	}
	r := &request{company: c, today: clock.Today(), booked: map[string]civil.Date{}, lawns: map[uuid.UUID]*lawn{}, treatments: map[string]treatment{}, applied: read.Applied,
		input: plan.Input{From: from, To: to, Properties: map[uuid.UUID]plan.Property{}, ArrivalMinutes: arrivalMinutes,
			Seed: 1, Iterations: s.Iterations, Previous: map[string]plan.Previous{}}}
	for _, k := range crews {
		if k.RetiredOn.IsZero() || k.RetiredOn.After(from) {
			r.input.Crews = append(r.input.Crews, crewOf(c, k, people))
		}
	}
	r.book(before, about.without)
	for _, p := range read.Properties {
		r.addProperty(p, read, skies[placeOf(c, p)], clock.Today())
	}
	r.keep(visits)
	return r, nil
}

// arrivalMinutes are spent on parking, the gate and unloading. Common practice.
const arrivalMinutes = 6

func crewOf(c company.Settings, k crew.Crew, people []crew.Person) plan.Crew {
	lat, lon := k.Depot.Latitude, k.Depot.Longitude
	out := plan.Crew{ID: k.ID, Name: k.Name, DepotLatitude: &lat, DepotLongitude: &lon, ShiftFrom: k.ShiftFrom, ShiftTo: k.ShiftTo,
		DaysOff: append(append([]civil.Date{}, k.DaysOff...), c.Holidays...), Abilities: k.Abilities}
	for _, d := range k.WorkDays {
		if contains(c.WorkWeek, d) {
			out.WorkDays = append(out.WorkDays, d)
		}
	}
	for _, m := range k.Machines {
		out.Machines = append(out.Machines, plan.Machine{Kind: m.Kind, HeightMinIn: m.HeightMinIn, HeightMaxIn: m.HeightMaxIn, WidthIn: m.WidthIn})
	}
	licensed := map[uuid.UUID]bool{}
	for _, m := range k.Members {
		licensed[m.Person.ID] = true
	}
	licensed[k.SupervisorID] = true
	for _, p := range people {
		if !licensed[p.ID] {
			continue
		}
		for _, l := range p.Licenses {
			if l.State == c.State && l.Kind != crew.Training {
				out.Licenses = append(out.Licenses, plan.License{Kind: string(l.Kind), From: l.ValidFrom, To: l.ValidTo})
			}
		}
	}
	return out
}

func (r *request) addProperty(p property.Property, read Lawns, k sky, today civil.Date) {
	r.input.Properties[p.ID] = plan.Property{Name: p.Address, Latitude: p.Latitude, Longitude: p.Longitude,
		AllowedFrom: p.AllowedFrom, AllowedTo: p.AllowedTo, ClosedWeekdays: p.ClosedWeekdays}
	for _, a := range p.Areas {
		l := join(r.company, p, a, read, k, today)
		r.lawns[a.ID] = &l
		if l.mows {
			r.addMow(l)
		}
		for _, t := range l.treatments {
			r.addTreatment(l, t)
		}
	}
}

func mowItem(area uuid.UUID) string                  { return area.String() + "/mow" }
func treatItem(area uuid.UUID, target string) string { return area.String() + "/" + target }

// book notes what stands on the days before the plan's first: a lawn that is to
// be cut on one of them is due again only after that cut, and a treatment that
// is to be made on one of them is not planned a second time.
func (r *request) book(visits []visit.Visit, without uuid.UUID) {
	for _, v := range visits {
		if v.ID == without || v.State != visit.Planned && v.State != visit.Out {
			continue
		}
		for _, t := range v.Tasks {
			id := itemOf(t)
			r.booked[id] = laterOf(r.booked[id], v.Date)
		}
	}
}

// mowWindow is when the lawn is due after the cuts that stand already.
func (r *request) mowWindow(l lawn) turf.Window {
	if on, ok := r.booked[mowItem(l.area.ID)]; ok {
		return l.curve.Window(on, unit.Length(l.area.CuttingHeightIn)*unit.Inch, l.learned)
	}
	return l.mow
}

func (r *request) addMow(l lawn) {
	height := unit.Length(l.area.CuttingHeightIn) * unit.Inch
	curve, learned := l.curve, l.learned
	l.mow = r.mowWindow(l)
	if l.mow.Open() && l.mow.Opens.After(r.input.To) {
		return // not due within these days
	}
	if !l.mow.Open() {
		return // asleep, or outside its season: nothing is left out
	}
	r.input.Items = append(r.input.Items, plan.Item{
		ID: mowItem(l.area.ID), PropertyID: l.property.ID, AreaIDs: []uuid.UUID{l.area.ID}, Work: turf.Mow, Window: late(l.mow, r.input.From),
		ServiceMinutes: mowMinutes(l.area, covers(l.property.Plan, turf.Edge)), CuttingHeightIn: l.area.CuttingHeightIn, Mower: l.area.Mower,
		After: func(done civil.Date) turf.Window { return curve.Window(done, height, learned) },
	})
}

// lateDays is how long a lawn that is over its limit already may still be
// planned: late is better than never. Ours.
const lateDays = 6

// late lets a window that ends with the plan's first days go on for a while,
// since a lawn that is overdue today is not to be left out for good.
func late(w turf.Window, from civil.Date) turf.Window {
	end := from.AddDays(lateDays)
	if !w.Open() || !w.Closes.Before(from.AddDays(2)) || !w.Closes.Before(end) {
		return w
	}
	w.Opens, w.Best, w.Closes = laterOf(w.Opens, from), laterOf(w.Best, from), end
	w.Reason += " It is late already; the sooner the better."
	return w
}

func (r *request) addTreatment(l lawn, t treatment) {
	if !t.window.Open() || t.window.Opens.After(r.input.To) {
		return
	}
	id := treatItem(l.area.ID, t.choice.Target)
	r.treatments[id] = t
	if _, ok := r.booked[id]; ok {
		return
	}
	item := plan.Item{ID: id, PropertyID: l.property.ID, AreaIDs: []uuid.UUID{l.area.ID}, Work: t.choice.Work, Window: t.window,
		ServiceMinutes: minutesOf(l.area, t.choice.Work), NeedsLicense: licenseFor(t)}
	if why := refusal(r.findings(l, t, laterOf(t.window.Opens, r.input.From), nil)); why != "" {
		var free bool
		if item.Window, free = r.strike(l, t, item.Window, nil); !free {
			item.Refusal = why
		}
	}
	r.input.Items = append(r.input.Items, item)
}

func laterOf(a, b civil.Date) civil.Date {
	if a.After(b) {
		return a
	}
	return b
}

func licenseFor(t treatment) string {
	if t.product.Pesticide() {
		return string(crew.Pesticide)
	}
	return string(crew.Fertiliser)
}

// findings are what label says of the planned application on a day with those
// cuts planned around it.
func (r *request) findings(l lawn, t treatment, on civil.Date, cuts []civil.Date) []label.Finding {
	area := unit.Area(l.area.AreaSqFt) * unit.SquareFoot
	rate, ok := t.unit.Rate(t.rate)
	if !ok {
		return []label.Finding{{Severity: label.Refuse, Code: "rate-unit", Text: fmt.Sprintf("%s has no rate to plan with; enter one with its unit", t.product.Name), Source: "treatment choice"}}
	}
	use := label.Use{Product: t.product.Name, Form: label.Form(t.product.Form), Amount: rate.On(area), AreaTreated: area, AreaOnFile: area,
		Species: l.area.Species, Date: on, Cuts: cuts}
	if !l.cutOn.IsZero() {
		use.Cuts = append(use.Cuts, l.cutOn)
	}
	if ft := l.property.WaterDistanceFt; ft != nil {
		d := unit.Length(*ft) * unit.Foot
		use.Water = &d
	}
	for _, a := range r.applied[l.area.ID] {
		if a.ProductID == t.product.ID {
			use.Others = append(use.Others, label.Application{On: a.On, Amount: a.amount(), Area: unit.Area(a.SqFt) * unit.SquareFoot})
		}
	}
	return label.Check(t.label.Limits, use)
}

func (a Applied) amount() label.Amount {
	if a.Unit == "L" {
		return label.Liquid(unit.Volume(a.Amount)*unit.Litre, "")
	}
	return label.Dry(unit.Mass(a.Amount)*unit.Kilogram, "")
}

// refusal is the first thing that forbids the application, in words.
func refusal(found []label.Finding) string {
	for _, f := range found {
		if f.Severity == label.Refuse {
			return f.Text
		}
	}
	return ""
}

// keep hands the visits to the plan that it may not move: out, pinned or done.
func (r *request) keep(visits []visit.Visit) {
	r.input.Kept = nil
	for _, v := range visits {
		if v.State == visit.Withdrawn || (v.State == visit.Planned && !v.Pinned) {
			if v.State == visit.Planned {
				r.remember(v)
			}
			continue
		}
		p := r.input.Properties[v.PropertyID]
		k := plan.Kept{VisitID: v.ID, PropertyID: v.PropertyID, CrewID: v.CrewID, Date: v.Date, Position: v.Position, Arrive: v.Arrive,
			Minutes: float64(v.Leave - v.Arrive), Latitude: p.Latitude, Longitude: p.Longitude}
		for _, t := range v.Tasks {
			k.Tasks = append(k.Tasks, plan.Task{ItemID: itemOf(t), AreaID: t.TurfAreaID, Work: t.Work, Minutes: t.Minutes, Round: 1,
				Window: turf.Window{Work: t.Work, Opens: t.DueOpens, Best: t.DueBest, Closes: t.DueCloses}})
		}
		r.input.Kept = append(r.input.Kept, k)
	}
}

func itemOf(t visit.Task) string {
	if t.Work.Treats() {
		return treatItem(t.TurfAreaID, t.Treatment)
	}
	return t.TurfAreaID.String() + "/" + string(t.Work)
}

// remember notes where work was planned before: of several times the first,
// since it is the first time of the new plan that is held to it.
func (r *request) remember(v visit.Visit) {
	for _, t := range v.Tasks {
		if was, ok := r.input.Previous[itemOf(t)]; ok && !v.Date.Before(was.Date) {
			continue
		}
		r.input.Previous[itemOf(t)] = plan.Previous{CrewID: v.CrewID, Date: v.Date}
	}
}

// minutesOf is how long a work takes on an area; an area that cannot be
// estimated takes what looking at it takes.
func minutesOf(a property.TurfArea, w turf.Work) float64 {
	e, err := plan.Service{Work: w, Area: unit.Area(a.AreaSqFt) * unit.SquareFoot}.Estimate()
	if err != nil {
		return plan.LookMinutes
	}
	return e.Minutes
}

// mowMinutes are the minutes of a cut, with the edges where they are agreed.
func mowMinutes(a property.TurfArea, edges bool) float64 {
	m := minutesOf(a, turf.Mow)
	if edges {
		m += minutesOf(a, turf.Edge)
	}
	return m
}
