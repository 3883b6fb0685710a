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
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
	"thirdcut/internal/plan"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
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
	booked     map[string]civil.Date // items that stand on days before the plan's first
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
	r, err := s.request(ctx, p.From, p.To, scope{})
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
