package schedule

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"sort"
	"strings"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
	"thirdcut/internal/plan"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/visit"
)

// Document is a plan with what its applications would put down.
type Document struct {
	plan.Proposal
	Treatments map[string]PlannedTreatment `json:"treatments"` // by item
}

// PlannedTreatment is the product of one planned application on one turf area.
type PlannedTreatment struct {
	ProductID      uuid.UUID       `json:"product_id"`
	ProductName    string          `json:"product_name"`
	LabelVersionID uuid.UUID       `json:"label_version_id"`
	Rate           float64         `json:"rate"`
	RateUnit       label.RateUnit  `json:"rate_unit"`
	Target         string          `json:"target"`
	Purpose        string          `json:"purpose"`
	Method         string          `json:"method"`
	Findings       []label.Finding `json:"findings"`
}

// request is a plan's input with what stands behind its items.
type request struct {
	input      plan.Input
	company    company.Settings
	today      civil.Date
	lawns      map[uuid.UUID]*lawn // by turf area
	treatments map[string]treatment
	applied    map[uuid.UUID][]Applied
}

// ComputePlan makes the plan that was asked for and keeps it as a proposal.
// A plan that is there already is left as it is.
func (s *Service) ComputePlan(ctx context.Context, id uuid.UUID) error {
	again, err := s.Store.StartPlan(ctx, id)
	if err != nil || !again {
		return err
	}
	p, err := s.Store.Proposal(ctx, id)
	if err != nil {
		return err
	}
	r, err := s.request(ctx, p.From, p.To, nil)
	if err != nil {
		return err
	}
	search, cancel := searchTime(ctx)
	defer cancel()
	doc, err := r.solve(search)
	if f := fault.As(err); f != nil {
		return s.Store.FailPlan(ctx, id, f.Detail)
	}
	if err != nil {
		return err
	}
	return s.Store.KeepPlan(ctx, id, basis(r.input.Kept), doc)
}

// saveTime is what is left of a job's time to keep the plan that was found.
const saveTime = time.Minute

// searchTime ends before the context does, so that a search that fills its time
// still has its best plan kept.
func searchTime(ctx context.Context) (context.Context, context.CancelFunc) {
	if end, ok := ctx.Deadline(); ok {
		return context.WithDeadline(ctx, end.Add(-saveTime))
	}
	return ctx, func() {}
}

// basis is a fingerprint of the visits that a plan goes round.
func basis(kept []plan.Kept) string {
	lines := make([]string, len(kept))
	for i, k := range kept {
		lines[i] = fmt.Sprintf("%s %s %s %d %s", k.VisitID, k.CrewID, k.Date, k.Position, k.Arrive)
	}
	sort.Strings(lines)
	sum := sha256.Sum256([]byte(strings.Join(lines, "\n")))
	return hex.EncodeToString(sum[:])
}

// request gathers a plan's input from what the company keeps, with the
// properties named or for nil all.
func (s *Service) request(ctx context.Context, from, to civil.Date, properties []uuid.UUID) (*request, error) {
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
	read, err := s.Store.LawnsFor(ctx, properties, clock.Today())
	if err != nil {
		return nil, err
	}
	skies, err := s.skies(ctx, c, read, clock.Today())
	if err != nil {
		return nil, err
	}
	r := &request{company: c, today: clock.Today(), lawns: map[uuid.UUID]*lawn{}, treatments: map[string]treatment{}, applied: read.Applied,
		input: plan.Input{From: from, To: to, Properties: map[uuid.UUID]plan.Property{}, ArrivalMinutes: arrivalMinutes,
			Seed: 1, Iterations: s.Iterations, Previous: map[string]plan.Previous{}}}
	for _, k := range crews {
		if k.RetiredOn.IsZero() || k.RetiredOn.After(from) {
			r.input.Crews = append(r.input.Crews, crewOf(c, k, people))
		}
	}
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

func (r *request) addMow(l lawn) {
	height := unit.Length(l.area.CuttingHeightIn) * unit.Inch
	curve, learned := l.curve, l.learned
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
	item := plan.Item{ID: id, PropertyID: l.property.ID, AreaIDs: []uuid.UUID{l.area.ID}, Work: t.choice.Work, Window: t.window,
		ServiceMinutes: minutesOf(l.area, t.choice.Work), NeedsLicense: licenseFor(t)}
	if why := refusal(r.findings(l, t, laterOf(t.window.Opens, r.input.From), nil)); why != "" {
		var free bool
		if item.Window, free = r.strike(l, t, item.Window, nil); !free {
			item.Refusal = why
		}
	}
	r.treatments[id] = t
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

// solve makes the plan, then holds its applications against their labels with
// the cuts as planned: days that a label's mowing wait forbids are struck and
// the plan is made again, twice at most; what still does not fit is left out.
func (r *request) solve(ctx context.Context) (Document, error) {
	for round := 0; ; round++ {
		p, err := plan.Make(ctx, r.input, plan.Options{})
		if err != nil {
			return Document{}, err
		}
		doc := Document{Proposal: p, Treatments: map[string]PlannedTreatment{}}
		refused := r.judge(&doc)
		if len(refused) == 0 {
			return doc, nil
		}
		r.giveWay(p, refused, round >= 2)
	}
}

// judge notes each planned application with its findings and returns the items
// that the label refuses on their planned day.
func (r *request) judge(doc *Document) (refused map[string]civil.Date) {
	cuts := cutsOf(doc.Proposal)
	refused = map[string]civil.Date{}
	for _, v := range doc.Visits {
		for _, task := range v.Tasks {
			t, ok := r.treatments[task.ItemID]
			if !ok || v.KeptID != uuid.Nil {
				continue
			}
			l := r.lawns[task.AreaID]
			found := r.findings(*l, t, v.Date, cuts[task.AreaID])
			if refusal(found) != "" {
				refused[task.ItemID] = v.Date
			}
			doc.Treatments[task.ItemID] = PlannedTreatment{ProductID: t.product.ID, ProductName: t.product.Name, LabelVersionID: t.label.ID,
				Rate: t.rate, RateUnit: t.unit, Target: t.choice.Target, Purpose: t.choice.Purpose, Method: t.choice.Method, Findings: found}
		}
	}
	return refused
}

func cutsOf(p plan.Proposal) map[uuid.UUID][]civil.Date {
	cuts := map[uuid.UUID][]civil.Date{}
	for _, v := range p.Visits {
		for _, t := range v.Tasks {
			if t.Work == turf.Mow || t.Work == turf.FirstCut {
				cuts[t.AreaID] = append(cuts[t.AreaID], v.Date)
			}
		}
	}
	return cuts
}

// giveWay strikes the days on which the refused applications cannot be, keeps
// the rest of the plan in mind, and at last refuses them.
func (r *request) giveWay(p plan.Proposal, refused map[string]civil.Date, last bool) {
	cuts := cutsOf(p)
	for _, v := range p.Visits {
		for _, t := range v.Tasks {
			if _, no := refused[t.ItemID]; !no && t.Round == 1 {
				r.input.Previous[t.ItemID] = plan.Previous{CrewID: v.CrewID, Date: v.Date, Promised: true}
			}
		}
	}
	for i := range r.input.Items {
		item := &r.input.Items[i]
		if _, no := refused[item.ID]; !no {
			continue
		}
		t, l := r.treatments[item.ID], r.lawns[item.AreaIDs[0]]
		// Later cuts may be planned anew and follow the treatment about, so days
		// that are clear of every day on which the next cut can be come first.
		if w, free := r.strike(*l, t, item.Window, r.possibleCuts(l.area.ID, cuts[l.area.ID])); free && !last {
			item.Window = w
			continue
		}
		var free bool
		if item.Window, free = r.strike(*l, t, item.Window, cuts[l.area.ID]); last || !free {
			item.Refusal = refusal(r.findings(*l, t, refused[item.ID], cuts[l.area.ID]))
		}
	}
}

// possibleCuts are an area's cuts as planned and every day on which the one
// after the first may be.
func (r *request) possibleCuts(area uuid.UUID, planned []civil.Date) []civil.Date {
	if len(planned) == 0 {
		return nil
	}
	out := append([]civil.Date{}, planned...)
	first := planned[0]
	for _, d := range planned {
		if d.Before(first) {
			first = d
		}
	}
	l := r.lawns[area]
	next := l.curve.Window(first, unit.Length(l.area.CuttingHeightIn)*unit.Inch, l.learned)
	for d := next.Opens; next.Open() && !d.After(next.Closes) && !d.After(r.input.To); d = d.AddDays(1) {
		out = append(out, d)
	}
	return out
}

// strike takes the days out of a window on which the label refuses the
// application; free says whether a day of the plan is left.
func (r *request) strike(l lawn, t treatment, w turf.Window, cuts []civil.Date) (out turf.Window, free bool) {
	struck := append([]turf.StruckDay{}, w.Struck...)
	for d := laterOf(w.Opens, r.input.From); !d.After(w.Closes) && !d.After(r.input.To); d = d.AddDays(1) {
		if !w.Holds(d) {
			continue
		}
		if why := refusal(r.findings(l, t, d, cuts)); why != "" {
			struck = append(struck, turf.StruckDay{Date: d, Reason: why})
		} else {
			free = free || r.somebodyCan(t.choice.Work, d)
		}
	}
	w.Struck = struck
	return w, free
}

// somebodyCan says whether a crew that can do the work works on the day.
func (r *request) somebodyCan(w turf.Work, d civil.Date) bool {
	for _, c := range r.input.Crews {
		if contains(c.Abilities, w) && contains(c.WorkDays, company.ISOWeekday(d)) && !contains(c.DaysOff, d) {
			return true
		}
	}
	return false
}

// AcceptPlan makes a proposal the company's plan, if nothing that it rests on
// has changed: the checker runs again on the visits as they stand. Otherwise
// fault.Stale "plan-stale" names what changed.
func (s *Service) AcceptPlan(ctx context.Context, id uuid.UUID, version int, by uuid.UUID) error {
	p, err := s.Store.Proposal(ctx, id)
	if err != nil {
		return err
	}
	r, err := s.request(ctx, p.From, p.To, nil)
	if err != nil {
		return err
	}
	return s.Store.AcceptPlan(ctx, id, version, by, func(p Proposal, now []visit.Visit) ([]visit.Visit, []RouteSheet, error) {
		r.keep(now)
		if p.Basis != basis(r.input.Kept) {
			return nil, nil, stale("/visits", r.changed(p, now))
		}
		if broken := plan.Check(r.input, p.Plan.Proposal); len(broken) > 0 {
			why := make([]string, len(broken))
			for i, b := range broken {
				why[i] = b.Why
			}
			return nil, nil, stale("/plan", why)
		}
		if why := r.passed(p); len(why) > 0 {
			return nil, nil, stale("/plan", why)
		}
		if why := r.mislabelled(p); len(why) > 0 {
			return nil, nil, stale("/plan", why)
		}
		visits, sheets, err := r.visits(p)
		return visits, sheets, err
	})
}

// passed names a day of the plan that is over before anybody said yes to it.
func (r *request) passed(p Proposal) (why []string) {
	for _, v := range p.Plan.Visits {
		if v.KeptID == uuid.Nil && v.Date.Before(r.today) {
			return []string{fmt.Sprintf("It has visits on %s, and that day has passed.", v.Date.Words())}
		}
	}
	return nil
}

// stale says why a plan can no longer be accepted, by at most twenty reasons.
func stale(at string, why []string) *fault.Error {
	f := fault.New(fault.Stale, "plan-stale", "the plan no longer holds: %s Make it again.", why[0])
	for _, w := range why[:min(len(why), 20)] {
		f.With(at, "%s", w)
	}
	return f
}

// changed names the visits that are not as they were when the plan was made.
func (r *request) changed(p Proposal, now []visit.Visit) (why []string) {
	had := map[uuid.UUID]plan.Visit{}
	for _, v := range p.Plan.Visits {
		if v.KeptID != uuid.Nil {
			had[v.KeptID] = v
		}
	}
	states := map[uuid.UUID]visit.State{}
	for _, v := range now {
		states[v.ID] = v.State
	}
	say := func(property uuid.UUID, on civil.Date, what string) {
		why = append(why, fmt.Sprintf("The visit to %s on %s %s.", r.input.Properties[property].Name, on.Words(), what))
	}
	for _, k := range r.input.Kept {
		switch was, ok := had[k.VisitID]; {
		case !ok:
			say(k.PropertyID, k.Date, became[states[k.VisitID]]+" since the plan was made")
		case was.Date != k.Date || was.CrewID != k.CrewID:
			say(k.PropertyID, k.Date, "was moved since the plan was made")
		}
		delete(had, k.VisitID)
	}
	for _, v := range p.Plan.Visits {
		if _, gone := had[v.KeptID]; gone {
			say(v.PropertyID, v.Date, "was taken off or let go since the plan was made")
		}
	}
	if len(why) == 0 {
		why = append(why, "The order or the times of visits of these days were changed since it was made.")
	}
	return why
}

// became is how a visit came to stand fast.
var became = map[visit.State]string{visit.Planned: "was placed by hand", visit.Out: "was sent out", visit.Closed: "was closed", visit.Returned: "came back undone"}

// mislabelled names the planned applications that their labels, as they are
// now, refuse, and those whose product or label is another one now.
func (r *request) mislabelled(p Proposal) (why []string) {
	fresh := Document{Proposal: p.Plan.Proposal, Treatments: map[string]PlannedTreatment{}}
	r.judge(&fresh)
	for _, v := range p.Plan.Visits {
		for _, t := range v.Tasks {
			was, ok := p.Plan.Treatments[t.ItemID]
			if !ok || v.KeptID != uuid.Nil {
				continue
			}
			is := fresh.Treatments[t.ItemID]
			at := fmt.Sprintf("%s at %s on %s", was.ProductName, r.input.Properties[v.PropertyID].Name, v.Date.Words())
			switch no := refusal(is.Findings); {
			case is.ProductID != was.ProductID || is.LabelVersionID != was.LabelVersionID:
				why = append(why, at+" is planned by a product or label that has changed since.")
			case no != "":
				why = append(why, at+" may not go down: "+no)
			}
		}
	}
	return why
}

// visits turns an accepted plan into visits and route sheets.
func (r *request) visits(p Proposal) ([]visit.Visit, []RouteSheet, error) {
	var visits []visit.Visit
	for _, v := range p.Plan.Visits {
		if v.KeptID != uuid.Nil {
			continue
		}
		id, err := uuid.NewV7()
		if err != nil {
			return nil, nil, fmt.Errorf("make an id: %w", err)
		}
		out := visit.Visit{ID: id, PropertyID: v.PropertyID, CrewID: v.CrewID, Date: v.Date, State: visit.Planned, Position: v.Position,
			Arrive: v.Arrive, Leave: v.Leave, DrivingMinutes: v.DrivingMinutes, ProposalID: p.ID, Version: 1}
		for _, t := range v.Tasks {
			tasks, err := r.tasks(p, t)
			if err != nil {
				return nil, nil, err
			}
			out.Tasks = append(out.Tasks, tasks...)
		}
		visits = append(visits, out)
	}
	var sheets []RouteSheet
	for _, d := range p.Plan.CrewDays {
		sheets = append(sheets, RouteSheet{CrewID: d.CrewID, Date: d.Date, DrivingMinutes: d.DrivingMinutes, WorkingMinutes: d.WorkingMinutes,
			Start: d.Start, End: d.End, ProposalID: p.ID})
	}
	return visits, sheets, nil
}

// tasks is a planned task as it goes onto a visit; edging goes with a cut where
// the service plan has it, its minutes being part of the cut's.
func (r *request) tasks(p Proposal, t plan.Task) ([]visit.Task, error) {
	newTask := func(w turf.Work, minutes float64) (visit.Task, error) {
		id, err := uuid.NewV7()
		return visit.Task{ID: id, TurfAreaID: t.AreaID, Work: w, Minutes: minutes, DueOpens: t.Window.Opens, DueBest: t.Window.Best,
			DueCloses: t.Window.Closes, Why: t.Window.Reason}, err
	}
	task, err := newTask(t.Work, t.Minutes)
	if err != nil {
		return nil, fmt.Errorf("make an id: %w", err)
	}
	out := []visit.Task{task}
	if pt, ok := p.Plan.Treatments[t.ItemID]; ok {
		out[0].Treatment, out[0].ProductID, out[0].LabelVersionID = pt.Target, pt.ProductID, pt.LabelVersionID
		out[0].Rate, out[0].RateUnit, out[0].Target, out[0].Findings = pt.Rate, pt.RateUnit, pt.Purpose, pt.Findings
	}
	if l := r.lawns[t.AreaID]; t.Work == turf.Mow && l != nil && l.property.Plan != nil && covers(l.property.Plan, turf.Edge) {
		edge, err := newTask(turf.Edge, 0)
		if err != nil {
			return nil, fmt.Errorf("make an id: %w", err)
		}
		edge.Why = "with the cut"
		out = append(out, edge)
	}
	return out, nil
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
