package api

import (
	"context"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/postgres"
	"thirdcut/internal/schedule"
	"thirdcut/internal/visit"
)

type plansData struct {
	MayPlan bool
	From    string
	Days    int
	Plans   []planLine
}

type planLine struct {
	postgres.ProposalLine
	Mark string
}

func planMark(s schedule.ProposalState) string {
	switch s {
	case schedule.Accepted:
		return "go"
	case schedule.Failed:
		return "stop"
	case schedule.Proposed:
		return "ask"
	}
	return ""
}

func (s *Server) plansPage(c *gin.Context) error {
	settings, clock, err := s.now(c.Request.Context())
	if err != nil {
		return err
	}
	lines, err := s.DB.ProposalLines(c.Request.Context(), 30)
	if err != nil {
		return err
	}
	who, _ := accountFrom(c.Request.Context())
	data := plansData{MayPlan: account.May(who, account.Plan), From: clock.Today().String(), Days: 12}
	for _, l := range lines {
		l.AskedAt = l.AskedAt.In(settings.Zone)
		data.Plans = append(data.Plans, planLine{l, planMark(l.State)})
	}
	return s.show(c, http.StatusOK, "plans", "Plans", "/plans", data)
}

func (s *Server) planAsked(c *gin.Context) error {
	from, err := parseDate("first day", c.PostForm("from"))
	if err != nil {
		return err
	}
	days, err := strconv.Atoi(strings.TrimSpace(c.PostForm("days")))
	if err != nil {
		return fault.New(fault.Invalid, "bad-days", "%q is no number of days; write 1 to 21", c.PostForm("days"))
	}
	who, _ := accountFrom(c.Request.Context())
	p, err := s.Schedule.AskPlan(c.Request.Context(), from, days, who.PersonID)
	if err != nil {
		return err
	}
	return s.say(c, "/plans/"+p.ID.String(), "The plan is being made.")
}

type planStop struct {
	Position            int
	Arrive, Leave       civil.TimeOfDay
	Property, Work, Why string
}

type planCrew struct {
	Name    string
	Driving float64
	Stops   []planStop
}

type planDay struct {
	Date  civil.Date
	Crews []planCrew
}

type unplacedLine struct{ Property, Work, Why string }

type planData struct {
	ID               uuid.UUID
	State, Mark      string
	Problem          string
	Version          int
	Waiting          bool
	MayAccept        bool
	From             string
	Length           int // days
	Replaces         int // planned visits that stand on these days now
	MayAsk           bool
	Visits           int
	Driving, Working float64
	Unplaced         []unplacedLine
	Days             []planDay
}

func (s *Server) planPage(c *gin.Context) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	ctx := c.Request.Context()
	p, err := s.DB.Proposal(ctx, id)
	if err != nil {
		return err
	}
	who, _ := accountFrom(ctx)
	data := planData{ID: id, State: string(p.State), Mark: planMark(p.State), Problem: p.Problem, Version: p.Version,
		Waiting: p.State == schedule.Asked || p.State == schedule.Computing, MayAccept: p.State == schedule.Proposed && account.May(who, account.AcceptPlan),
		Visits: len(p.Plan.Visits), Driving: p.Plan.DrivingMinutes, Working: p.Plan.WorkingMinutes}
	data.From, data.Length, data.MayAsk = p.From.String(), p.To.Since(p.From)+1, account.May(who, account.Plan)
	if data.Replaces, err = s.replaced(ctx, p); err != nil {
		return err
	}
	if err := s.fillPlan(ctx, p, &data); err != nil {
		return err
	}
	return s.show(c, http.StatusOK, "plan", "Plan of "+p.From.Words()+" to "+p.To.Words(), "/plans", data)
}

// replaced counts the planned visits in whose place an open proposal would stand.
func (s *Server) replaced(ctx context.Context, p schedule.Proposal) (n int, err error) {
	if p.State != schedule.Proposed {
		return 0, nil
	}
	visits, err := s.DB.VisitsBetween(ctx, p.From, p.To)
	for _, v := range visits {
		if v.State == visit.Planned && !v.Pinned {
			n++
		}
	}
	return n, err
}

func (s *Server) fillPlan(ctx context.Context, p schedule.Proposal, data *planData) error {
	addresses, err := s.addresses(ctx, p)
	if err != nil {
		return err
	}
	crews, err := s.crewNames(ctx)
	if err != nil {
		return err
	}
	for _, u := range p.Plan.Unplaced {
		data.Unplaced = append(data.Unplaced, unplacedLine{addresses[u.PropertyID], u.Work.Words(), u.Why})
	}
	for _, v := range p.Plan.Visits { // by date, crew and position
		if n := len(data.Days); n == 0 || data.Days[n-1].Date != v.Date {
			data.Days = append(data.Days, planDay{Date: v.Date})
		}
		day := &data.Days[len(data.Days)-1]
		if n := len(day.Crews); n == 0 || day.Crews[n-1].Name != crews[v.CrewID] {
			day.Crews = append(day.Crews, planCrew{Name: crews[v.CrewID]})
		}
		k := &day.Crews[len(day.Crews)-1]
		k.Driving += v.DrivingMinutes
		stop := planStop{Position: v.Position, Arrive: v.Arrive, Leave: v.Leave, Property: addresses[v.PropertyID]}
		var works, whys []string
		for _, t := range v.Tasks {
			works = appendOnce(works, t.Work.Words())
			whys = appendOnce(whys, t.Window.Reason)
		}
		stop.Work, stop.Why = strings.Join(works, ", "), strings.Join(whys, " ")
		k.Stops = append(k.Stops, stop)
	}
	return nil
}

func appendOnce(list []string, s string) []string {
	for _, have := range list {
		if have == s {
			return list
		}
	}
	return append(list, s)
}

func (s *Server) addresses(ctx context.Context, p schedule.Proposal) (map[uuid.UUID]string, error) {
	seen := map[uuid.UUID]bool{}
	for _, v := range p.Plan.Visits {
		seen[v.PropertyID] = true
	}
	for _, u := range p.Plan.Unplaced {
		seen[u.PropertyID] = true
	}
	ids := make([]uuid.UUID, 0, len(seen))
	for id := range seen {
		ids = append(ids, id)
	}
	list, err := s.DB.Properties(ctx, postgres.PropertyFilter{IDs: ids, WithoutOutlines: true, Retired: true})
	if err != nil {
		return nil, err
	}
	by := map[uuid.UUID]string{}
	for _, p := range list {
		by[p.ID] = p.Address
	}
	return by, nil
}

func (s *Server) decided(c *gin.Context, do func(ctx context.Context, id uuid.UUID, version int, by uuid.UUID) error, done string) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	version, err := strconv.Atoi(c.PostForm("version"))
	if err != nil {
		return fault.New(fault.NeedsVersion, "needs-version", "open the plan again and decide there")
	}
	who, _ := accountFrom(c.Request.Context())
	err = do(c.Request.Context(), id, version, who.PersonID)
	if f := fault.As(err); f != nil && f.Kind == fault.Stale {
		return s.say(c, "/plans/"+id.String(), "Nothing was accepted: "+f.Detail)
	}
	if err != nil {
		return err
	}
	return s.say(c, "/plans/"+id.String(), done)
}

func (s *Server) planAccepted(c *gin.Context) error {
	return s.decided(c, s.Schedule.AcceptPlan, "The plan is accepted. Send each day's sheets on the first page.")
}

func (s *Server) planDropped(c *gin.Context) error {
	return s.decided(c, s.DB.DropPlan, "The plan was put away; nothing was changed.")
}
