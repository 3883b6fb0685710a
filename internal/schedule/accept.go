package schedule

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/plan"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
)

// AcceptPlan makes a proposal the company's plan, if nothing that it rests on
// has changed: the checker runs again on the visits as they stand. Otherwise
// fault.Stale "plan-stale" names what changed.
func (s *Service) AcceptPlan(ctx context.Context, id uuid.UUID, version int, by uuid.UUID) error {
	p, err := s.Store.Proposal(ctx, id)
	if err != nil {
		return err
	}
	r, err := s.request(ctx, p.From, p.To, scope{})
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
