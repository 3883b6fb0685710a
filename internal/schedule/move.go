package schedule

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
	"thirdcut/internal/plan"
	"thirdcut/internal/route"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
)

// Place is where the office puts a visit.
type Place struct {
	CrewID   uuid.UUID
	Date     civil.Date
	Position int // from 1; 0 or past the end: the day's last stop
}

// Arranged is what becomes of the days that a move touches: all their visits in
// order with new times, and their route sheets.
type Arranged struct {
	Visits []visit.Visit
	Sheets []RouteSheet
}

// Moved is a visit in its new place, and what speaks against that place. The
// office decides: nothing but a day or crew that cannot be is refused.
type Moved struct {
	Visit    visit.Visit
	Findings []plan.Violation // numbered by the stops of the new day
}

// NotDue is the finding that work was put on a day outside any window of it.
const NotDue = "not-due"

// MoveVisit puts a visit on another day, crew or position and pins it there, so
// that no plan moves it. The stops after it are timed anew: planned ones as
// early as they can be, those that a crew has been told of no earlier than told.
// A visit that leaves a day that was given out is planned again until the new
// day is given out.
//
// Faults: Invalid "bad-day" for a day that has passed, "no-such-crew";
// Conflict "visit-ended" for a visit that is over; Stale "stale"; NotFound "visit".
func (s *Service) MoveVisit(ctx context.Context, id uuid.UUID, version int, to Place) (Moved, error) {
	v, err := s.Store.Visit(ctx, id)
	if err != nil {
		return Moved{}, err
	}
	properties, err := s.propertiesOf(ctx, v, to)
	if err != nil {
		return Moved{}, err
	}
	// Windows that open later are read too, to say that the visit comes too early.
	r, err := s.request(ctx, to.Date, to.Date.AddDays(lookAhead), scope{properties, id})
	if err != nil {
		return Moved{}, err
	}
	if to.Date.Before(r.today) {
		return Moved{}, fault.New(fault.Invalid, "bad-day", "%s has passed; choose today (%s) or a later day", to.Date, r.today)
	}
	if r.crew(to.CrewID) == nil {
		return Moved{}, fault.New(fault.Invalid, "no-such-crew", "there is no such crew on %s; choose one of the list", to.Date)
	}
	var day []visit.Visit
	out := Moved{}
	out.Visit, err = s.Store.MoveVisit(ctx, id, version, to, func(moved visit.Visit, from, into []visit.Visit) (Arranged, error) {
		a := r.arrange(moved, from, into, to)
		day = visitsOf(a.Visits, to)
		return a, nil
	})
	if err != nil {
		return Moved{}, err
	}
	out.Findings = r.consequences(day, to)
	return out, nil
}

// propertiesOf lists the properties of the days that the move touches.
func (s *Service) propertiesOf(ctx context.Context, v visit.Visit, to Place) ([]uuid.UUID, error) {
	ids := []uuid.UUID{v.PropertyID}
	for _, day := range []Place{{CrewID: v.CrewID, Date: v.Date}, to} {
		visits, err := s.Store.VisitsOn(ctx, day.CrewID, day.Date)
		if err != nil {
			return nil, err
		}
		for _, v := range visits {
			ids = append(ids, v.PropertyID)
		}
	}
	return ids, nil
}

func (r *request) crew(id uuid.UUID) *plan.Crew {
	for i := range r.input.Crews {
		if r.input.Crews[i].ID == id {
			return &r.input.Crews[i]
		}
	}
	return nil
}

func visitsOf(list []visit.Visit, day Place) (out []visit.Visit) {
	for _, v := range list {
		if v.CrewID == day.CrewID && v.Date == day.Date {
			out = append(out, v)
		}
	}
	return out
}

// arrange takes the visit out of its day and puts it into the other one, which
// may be the same.
func (r *request) arrange(moved visit.Visit, from, into []visit.Visit, to Place) Arranged {
	left := Place{CrewID: moved.CrewID, Date: moved.Date}
	other := func(v visit.Visit) bool { return v.ID == moved.ID }
	into = slices.DeleteFunc(slices.Clone(into), other)
	if moved.CrewID != to.CrewID || moved.Date != to.Date {
		moved.State = visit.Planned
	}
	moved.CrewID, moved.Date, moved.Pinned = to.CrewID, to.Date, true
	r.findAnew(&moved)
	at := len(into)
	if to.Position >= 1 {
		at = min(at, to.Position-1)
	}
	var a Arranged
	a.add(r.timed(slices.Insert(into, at, moved), to, moved.ID))
	if left.CrewID != to.CrewID || left.Date != to.Date {
		a.add(r.timed(slices.DeleteFunc(slices.Clone(from), other), left, uuid.Nil))
	}
	return a
}

func (a *Arranged) add(visits []visit.Visit, sheet RouteSheet) {
	a.Visits, a.Sheets = append(a.Visits, visits...), append(a.Sheets, sheet)
}

// findAnew holds the visit's applications against their labels on its new day.
func (r *request) findAnew(v *visit.Visit) {
	v.Tasks = slices.Clone(v.Tasks)
	for i := range v.Tasks {
		t := &v.Tasks[i]
		if found, ok := r.taskFindings(*t, v.Date, v.Tasks); ok {
			t.Findings = found
		}
	}
}

// taskFindings are what the label says of a task that puts down a product that
// is still the chosen one; ok is false for other tasks.
func (r *request) taskFindings(t visit.Task, on civil.Date, beside []visit.Task) (found []label.Finding, ok bool) {
	planned, known := r.treatments[treatItem(t.TurfAreaID, t.Treatment)]
	l := r.lawns[t.TurfAreaID]
	if !t.Work.Treats() || !known || l == nil || planned.product.ID != t.ProductID {
		return nil, false
	}
	var cuts []civil.Date
	for _, b := range beside {
		if b.TurfAreaID == t.TurfAreaID && (b.Work == turf.Mow || b.Work == turf.FirstCut) {
			cuts = append(cuts, on)
		}
	}
	planned.rate, planned.unit = t.Rate, t.RateUnit
	return r.findings(*l, planned, on, cuts), true
}

// timed numbers the stops of a day and gives each its times. Stops that are
// over stand where they were; those that a crew was told of, or that somebody
// placed, come no earlier than they stood; the others as early as they can.
// A day that cannot be driven before midnight is cut off there, and found.
func (r *request) timed(day []visit.Visit, place Place, moved uuid.UUID) ([]visit.Visit, RouteSheet) {
	sheet := RouteSheet{CrewID: place.CrewID, Date: place.Date}
	crew := r.crew(place.CrewID)
	if crew == nil { // it has been retired since: nothing to time by
		for i := range day {
			day[i].Position = i + 1
		}
		return day, sheet
	}
	home := route.Point{Latitude: *crew.DepotLatitude, Longitude: *crew.DepotLongitude}
	at, free := home, float64(crew.ShiftFrom)
	for i := range day {
		v := &day[i]
		there := r.point(v.PropertyID, home)
		v.Position, v.DrivingMinutes = i+1, minutesBetween(at, there)
		if v.State != visit.Closed && v.State != visit.Returned {
			stay := v.Leave - v.Arrive
			v.Arrive = r.arrival(*v, free+v.DrivingMinutes, v.ID != moved && (v.Pinned || v.State == visit.Out))
			v.Leave = min(v.Arrive+stay, endOfDay)
		}
		if i == 0 {
			sheet.Start = max(0, v.Arrive-civil.TimeOfDay(v.DrivingMinutes+0.999))
		}
		sheet.DrivingMinutes += v.DrivingMinutes
		sheet.WorkingMinutes += float64(v.Leave - v.Arrive)
		at, free = there, max(free, float64(v.Leave))
	}
	if len(day) > 0 {
		back := minutesBetween(at, home)
		sheet.DrivingMinutes += back
		sheet.End = min(endOfDay, civil.TimeOfDay(free+back+0.999))
	}
	return day, sheet
}

const endOfDay civil.TimeOfDay = 1440

// arrival is the minute at which the stop can begin, at the property's hours.
func (r *request) arrival(v visit.Visit, earliest float64, notBefore bool) civil.TimeOfDay {
	t := civil.TimeOfDay(earliest + 0.999) // whole minutes, never early
	if p := r.input.Properties[v.PropertyID]; p.AllowedFrom != nil {
		t = max(t, *p.AllowedFrom)
	}
	if notBefore {
		t = max(t, v.Arrive)
	}
	return min(t, endOfDay)
}

// point is where the property is; one that is not on the map counts as at the depot.
func (r *request) point(property uuid.UUID, home route.Point) route.Point {
	p := r.input.Properties[property]
	if p.Latitude == nil || p.Longitude == nil {
		return home
	}
	return route.Point{Latitude: *p.Latitude, Longitude: *p.Longitude}
}

func minutesBetween(a, b route.Point) float64 { return float64(route.DriveSeconds(a, b)) / 60 }

// ofPlace are the violations that a place can have; the checker's others are
// about a whole plan and what it says of itself.
var ofPlace = []string{plan.UnknownCrew, plan.OutsideWindow, plan.OnStruckDay, plan.OnClosedDay, plan.OutsideHours, plan.WithoutAbility,
	plan.WithoutMachine, plan.WithoutLicense, plan.RefusedWork, plan.OverShift, plan.TooFast, plan.NotOnMap}

// consequences holds the day as it stands now against every limit.
func (r *request) consequences(day []visit.Visit, place Place) (found []plan.Violation) {
	in := r.input
	in.Kept, in.Items = nil, slices.Clone(in.Items)
	known := map[string]bool{}
	for i := range in.Items {
		it := &in.Items[i]
		it.Refusal = "" // said of its own day below
		// The work's own window, without what a plan adds to it or strikes.
		if t, ok := r.treatments[it.ID]; ok {
			it.Window = t.window
		} else {
			it.Window = r.mowWindow(*r.lawns[it.AreaIDs[0]])
		}
		known[it.ID] = true
	}
	p := plan.Proposal{From: in.From, To: in.To}
	for i, v := range day {
		stop := plan.Visit{PropertyID: v.PropertyID, Date: v.Date, CrewID: v.CrewID, Position: v.Position, Arrive: v.Arrive, Leave: v.Leave, DrivingMinutes: v.DrivingMinutes}
		if v.State == visit.Closed || v.State == visit.Returned {
			p.Visits = append(p.Visits, stop) // done is done; it takes its time
			continue
		}
		for _, t := range v.Tasks {
			item := itemOf(t)
			if known[item] {
				stop.Tasks = append(stop.Tasks, plan.Task{ItemID: item, AreaID: t.TurfAreaID, Work: t.Work, Minutes: t.Minutes, Round: 1})
			} else if t.Work == turf.Mow || t.Work.Treats() {
				found = append(found, r.notDue(v, i, t))
			}
			if labelled, ok := r.taskFindings(t, v.Date, v.Tasks); ok && refusal(labelled) != "" {
				found = append(found, plan.Violation{Code: plan.RefusedWork, CrewID: v.CrewID, Date: v.Date, ItemID: item, VisitNo: i,
					Why: fmt.Sprintf("Visit %d has work that its label forbids: %s", i+1, refusal(labelled))})
			}
		}
		p.Visits = append(p.Visits, stop)
	}
	for _, f := range plan.Check(in, p) {
		ended := f.VisitNo >= 0 && f.VisitNo < len(day) && (day[f.VisitNo].State == visit.Closed || day[f.VisitNo].State == visit.Returned)
		if slices.Contains(ofPlace, f.Code) && (!ended || f.Code == plan.OverShift) {
			found = append(found, f)
		}
	}
	return found
}

// notDue says that a task has no window in the days to come, and why.
func (r *request) notDue(v visit.Visit, i int, t visit.Task) plan.Violation {
	why := "its area is no longer in use"
	if l := r.lawns[t.TurfAreaID]; l != nil {
		why = "it is not in the property's service plan"
		for _, w := range windowsOf(*l, r.input.From.At(0, r.company.Zone)) {
			if w.Window.Work == t.Work {
				why = w.Window.Reason
			}
		}
	}
	return plan.Violation{Code: NotDue, CrewID: v.CrewID, Date: v.Date, ItemID: itemOf(t), VisitNo: i,
		Why: fmt.Sprintf("Visit %d is to %s what is not due in the weeks from %s on: %s", i+1, t.Work.Words(), v.Date, why)}
}
