package api

import (
	"cmp"
	"context"
	"encoding/json"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
	"thirdcut/internal/schedule"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
)

func (s *Server) dayOperations() {
	operation(s, http.MethodGet, "/properties/{id}/windows", "read-windows", "Due windows of a property's turf areas, with the reason", account.SeeProperties, s.readWindows)
	operation(s, http.MethodGet, "/plans", "list-plans", "The latest plans, newest first", account.SeePlan, s.listPlans)
	operation(s, http.MethodPost, "/plans", "ask-plan", "Ask for a plan; a job makes it", account.Plan, s.askPlan, answers(http.StatusAccepted))
	operation(s, http.MethodGet, "/plans/{id}", "read-plan", "One plan, with what was left out and why", account.SeePlan, s.readPlan)
	operation(s, http.MethodPost, "/plans/{id}/accept", "accept-plan", "Make a proposal the company's plan; 412 names what changed", account.AcceptPlan, s.acceptPlan)
	operation(s, http.MethodPost, "/plans/{id}/drop", "drop-plan", "Put a proposal away", account.AcceptPlan, s.dropPlan)
	operation(s, http.MethodGet, "/route-sheets/{crew}/{date}", "read-route-sheet", "One crew's day in order", account.SeeRouteSheet, s.readSheet)
	operation(s, http.MethodPost, "/route-sheets/{crew}/{date}/send", "send-route-sheet", "Give a crew's day out", account.Plan, s.sendSheet)
	operation(s, http.MethodGet, "/visits/{id}", "read-visit", "One visit with its tasks", account.SeeRouteSheet, s.readVisit)
	operation(s, http.MethodPost, "/visits/{id}/withdraw", "withdraw-visit", "Take a visit off", account.Plan, s.withdrawVisit)
	operation(s, http.MethodPost, "/field/batch", "field-batch", "Reports from the field; each entry is answered by itself", account.SendFieldBatch, s.fieldBatch,
		func(op *huma.Operation) { op.MaxBodyBytes = bodyLimit })
}

type windowJSON struct {
	TurfAreaID uuid.UUID        `json:"turf_area_id"`
	Work       turf.Work        `json:"work"`
	Opens      string           `json:"opens"`
	Best       string           `json:"best"`
	Closes     string           `json:"closes"`
	Tight      bool             `json:"tight" doc:"the cadence cannot keep the one-third rule"`
	Reason     string           `json:"reason"`
	Chances    []turf.DayChance `json:"chances" nullable:"false"`
	Struck     []turf.StruckDay `json:"struck" nullable:"false"`
}

type listOf[T any] struct {
	Body struct {
		Items []T `json:"items" nullable:"false"`
	}
}

func newList[T any](items []T) *listOf[T] {
	out := &listOf[T]{}
	out.Body.Items = list(items)
	return out
}

func (s *Server) readWindows(ctx context.Context, _ account.Account, in *ByID) (*listOf[windowJSON], error) {
	if _, err := s.DB.Property(ctx, in.ID); err != nil {
		return nil, err
	}
	by, err := s.DB.Windows(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	var items []windowJSON
	for id, windows := range by {
		for _, w := range windows {
			items = append(items, windowJSON{id, w.Work, w.Opens.String(), w.Best.String(), w.Closes.String(), w.Tight, w.Reason, list(w.Chances), list(w.Struck)})
		}
	}
	slices.SortFunc(items, func(a, b windowJSON) int {
		return cmp.Or(strings.Compare(a.Best, b.Best), strings.Compare(a.TurfAreaID.String(), b.TurfAreaID.String()), strings.Compare(string(a.Work), string(b.Work)))
	})
	return newList(items), nil
}

type planLineJSON struct {
	ID             uuid.UUID `json:"id"`
	From           string    `json:"from"`
	To             string    `json:"to"`
	State          string    `json:"state" enum:"asked,computing,proposed,accepted,dropped,failed"`
	AskedAt        time.Time `json:"asked_at"`
	Visits         int       `json:"visits"`
	Unplaced       int       `json:"unplaced"`
	DrivingMinutes float64   `json:"driving_minutes"`
}

func (s *Server) listPlans(ctx context.Context, _ account.Account, _ *struct{}) (*listOf[planLineJSON], error) {
	lines, err := s.DB.ProposalLines(ctx, 50)
	if err != nil {
		return nil, err
	}
	var items []planLineJSON
	for _, l := range lines {
		items = append(items, planLineJSON{l.ID, l.From.String(), l.To.String(), string(l.State), l.AskedAt.UTC(), l.Visits, l.Unplaced, l.Driving})
	}
	return newList(items), nil
}

type planJSON struct {
	ID         uuid.UUID  `json:"id"`
	From       string     `json:"from"`
	To         string     `json:"to"`
	State      string     `json:"state" enum:"asked,computing,proposed,accepted,dropped,failed"`
	Problem    string     `json:"problem"`
	AskedAt    time.Time  `json:"asked_at"`
	ComputedAt *time.Time `json:"computed_at"`
	Version    int        `json:"version"`
	Plan       any        `json:"plan" doc:"visits, what was left out and why, crew days, treatments; null until it is made"`
}

func newPlanJSON(p schedule.Proposal) planJSON {
	j := planJSON{ID: p.ID, From: p.From.String(), To: p.To.String(), State: string(p.State), Problem: p.Problem, AskedAt: p.AskedAt.UTC(),
		ComputedAt: momentJSON(p.ComputedAt), Version: p.Version}
	if !p.Plan.From.IsZero() {
		j.Plan = p.Plan
	}
	return j
}

func (s *Server) askPlan(ctx context.Context, who account.Account, in *struct {
	Body struct {
		From string `json:"from" doc:"first day"`
		Days int    `json:"days" minimum:"1" maximum:"21"`
	}
}) (*one[planJSON], error) {
	from, err := parseDate("/from", in.Body.From)
	if err != nil {
		return nil, err
	}
	p, err := s.Schedule.AskPlan(ctx, from, in.Body.Days, who.PersonID)
	if err != nil {
		return nil, err
	}
	return &one[planJSON]{etag(p.Version), newPlanJSON(p)}, nil
}

func (s *Server) readPlan(ctx context.Context, _ account.Account, in *ByID) (*one[planJSON], error) {
	p, err := s.DB.Proposal(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	return &one[planJSON]{etag(p.Version), newPlanJSON(p)}, nil
}

type matchByID struct {
	ByID
	FieldMatch
}

func (s *Server) acceptPlan(ctx context.Context, who account.Account, in *matchByID) (*one[planJSON], error) {
	version, err := matchVersion(in.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := s.Schedule.AcceptPlan(ctx, in.ID, version, who.PersonID); err != nil {
		return nil, err
	}
	return s.readPlan(ctx, who, &in.ByID)
}

func (s *Server) dropPlan(ctx context.Context, who account.Account, in *matchByID) (*one[planJSON], error) {
	version, err := matchVersion(in.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := s.DB.DropPlan(ctx, in.ID, version, who.PersonID); err != nil {
		return nil, err
	}
	return s.readPlan(ctx, who, &in.ByID)
}

type taskJSON struct {
	ID         uuid.UUID       `json:"id"`
	TurfAreaID uuid.UUID       `json:"turf_area_id"`
	Work       turf.Work       `json:"work"`
	Minutes    float64         `json:"minutes"`
	Why        string          `json:"why"`
	DueOpens   string          `json:"due_opens"`
	DueBest    string          `json:"due_best"`
	DueCloses  string          `json:"due_closes"`
	ProductID  *uuid.UUID      `json:"product_id" nullable:"true"`
	Rate       float64         `json:"rate" doc:"planned, in rate_unit; 0: none"`
	RateUnit   label.RateUnit  `json:"rate_unit"`
	Target     string          `json:"target"`
	Findings   []label.Finding `json:"findings" nullable:"false"`
}

type visitJSON struct {
	ID         uuid.UUID  `json:"id"`
	PropertyID uuid.UUID  `json:"property_id"`
	CrewID     uuid.UUID  `json:"crew_id"`
	Date       string     `json:"date"`
	State      string     `json:"state" enum:"planned,out,closed,returned,withdrawn"`
	Position   int        `json:"position"`
	Arrive     string     `json:"arrive" doc:"HH:MM"`
	Leave      string     `json:"leave" doc:"HH:MM"`
	Reason     string     `json:"reason"`
	Tasks      []taskJSON `json:"tasks" nullable:"false"`
	Version    int        `json:"version"`
}

func newVisitJSON(v visit.Visit) visitJSON {
	j := visitJSON{ID: v.ID, PropertyID: v.PropertyID, CrewID: v.CrewID, Date: v.Date.String(), State: string(v.State), Position: v.Position,
		Arrive: v.Arrive.String(), Leave: v.Leave.String(), Reason: v.Reason, Tasks: []taskJSON{}, Version: v.Version}
	for _, t := range v.Tasks {
		tj := taskJSON{ID: t.ID, TurfAreaID: t.TurfAreaID, Work: t.Work, Minutes: t.Minutes, Why: t.Why, DueOpens: t.DueOpens.String(), DueBest: t.DueBest.String(),
			DueCloses: t.DueCloses.String(), Rate: t.Rate, RateUnit: t.RateUnit, Target: t.Target, Findings: list(t.Findings)}
		if t.ProductID != uuid.Nil {
			tj.ProductID = &t.ProductID
		}
		j.Tasks = append(j.Tasks, tj)
	}
	return j
}

type sheetKey struct {
	Crew uuid.UUID `path:"crew"`
	Date string    `path:"date" doc:"YYYY-MM-DD"`
}

func (k sheetKey) day(who account.Account) (civil.Date, error) {
	if !account.MaySeeSheet(who, k.Crew) {
		return civil.Date{}, fault.New(fault.Forbidden, "forbidden", "this is another crew's route sheet; yours are under Route sheets")
	}
	return parseDate("path date", k.Date)
}

type sheetJSON struct {
	CrewID         uuid.UUID   `json:"crew_id"`
	Date           string      `json:"date"`
	Version        int         `json:"version"`
	SentAt         *time.Time  `json:"sent_at"`
	DrivingMinutes float64     `json:"driving_minutes"`
	WorkingMinutes float64     `json:"working_minutes"`
	Stops          []visitJSON `json:"stops" nullable:"false"`
}

func (s *Server) readSheet(ctx context.Context, who account.Account, in *sheetKey) (*struct{ Body sheetJSON }, error) {
	day, err := in.day(who)
	if err != nil {
		return nil, err
	}
	return s.sheetAnswer(ctx, in.Crew, day)
}

func (s *Server) sheetAnswer(ctx context.Context, crewID uuid.UUID, day civil.Date) (*struct{ Body sheetJSON }, error) {
	visits, err := s.DB.VisitsOn(ctx, crewID, day)
	if err != nil {
		return nil, err
	}
	sheets, err := s.DB.Sheets(ctx, day, day)
	if err != nil {
		return nil, err
	}
	out := sheetJSON{CrewID: crewID, Date: day.String(), Stops: []visitJSON{}}
	for _, sh := range sheets {
		if sh.CrewID == crewID {
			out.Version, out.SentAt, out.DrivingMinutes, out.WorkingMinutes = sh.Version, momentJSON(sh.SentAt), sh.DrivingMinutes, sh.WorkingMinutes
		}
	}
	for _, v := range visits {
		out.Stops = append(out.Stops, newVisitJSON(v))
	}
	return &struct{ Body sheetJSON }{out}, nil
}

func (s *Server) sendSheet(ctx context.Context, who account.Account, in *sheetKey) (*struct{ Body sheetJSON }, error) {
	day, err := in.day(who)
	if err != nil {
		return nil, err
	}
	if _, err := s.DB.SendSheet(ctx, in.Crew, day); err != nil {
		return nil, err
	}
	return s.sheetAnswer(ctx, in.Crew, day)
}

func (s *Server) readVisit(ctx context.Context, who account.Account, in *ByID) (*one[visitJSON], error) {
	v, err := s.visitFor(ctx, who, in.ID)
	if err != nil {
		return nil, err
	}
	return &one[visitJSON]{etag(v.Version), newVisitJSON(v)}, nil
}

// visitFor is the visit, if the asker may see its crew's sheet.
func (s *Server) visitFor(ctx context.Context, who account.Account, id uuid.UUID) (visit.Visit, error) {
	v, err := s.DB.Visit(ctx, id)
	if err != nil {
		return v, err
	}
	if !account.MaySeeSheet(who, v.CrewID) {
		return v, fault.New(fault.Forbidden, "forbidden", "this visit is another crew's; a report about it can still be sent and is kept")
	}
	return v, nil
}

func (s *Server) withdrawVisit(ctx context.Context, _ account.Account, in *struct {
	ByID
	FieldMatch
	Body struct {
		Reason string `json:"reason" minLength:"1" maxLength:"500"`
	}
}) (*one[visitJSON], error) {
	version, err := matchVersion(in.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := s.DB.WithdrawVisit(ctx, in.ID, version, in.Body.Reason); err != nil {
		return nil, err
	}
	v, err := s.DB.Visit(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	return &one[visitJSON]{etag(v.Version), newVisitJSON(v)}, nil
}

type batchAnswer struct {
	Body struct {
		Results []visit.Result `json:"results" nullable:"false" doc:"one for each entry, in the order sent"`
	}
}

func (s *Server) fieldBatch(ctx context.Context, who account.Account, in *struct {
	Body struct {
		Entries []json.RawMessage `json:"entries" minItems:"1" maxItems:"200" nullable:"false" doc:"reports; one that cannot be read is kept for the office and answered needs_you"`
	}
}) (*batchAnswer, error) {
	out := &batchAnswer{}
	out.Body.Results = s.Visits.Batch(ctx, sender(who), in.Body.Entries)
	return out, nil
}

// sender is who sends reports from the field.
func sender(who account.Account) visit.Who {
	return visit.Who{PersonID: who.PersonID, CrewIDs: who.CrewIDs, MayReportForAll: account.May(who, account.SeeAllRouteSheets)}
}
