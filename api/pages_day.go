package api

import (
	"context"
	"net/http"
	"sort"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/civil"
	"thirdcut/internal/postgres"
	"thirdcut/internal/visit"
)

func (s *Server) dayPages() {
	s.engine.GET("/", s.page(s.firstPage))
	s.engine.GET("/plans", s.signedIn(account.SeePlan, s.plansPage))
	s.engine.POST("/plans", s.signedIn(account.Plan, s.planAsked))
	s.engine.GET("/plans/:id", s.signedIn(account.SeePlan, s.planPage))
	s.engine.POST("/plans/:id/accept", s.signedIn(account.AcceptPlan, s.planAccepted))
	s.engine.POST("/plans/:id/drop", s.signedIn(account.AcceptPlan, s.planDropped))
	s.engine.GET("/sheets", s.signedIn(account.SeeRouteSheet, s.sheetsPage))
	s.engine.GET("/sheets/:crew/:date", s.signedIn(account.SeeRouteSheet, s.sheetPage))
	s.engine.POST("/sheets/:crew/:date/send", s.signedIn(account.Plan, s.sheetSent))
	s.engine.GET("/visits/:id", s.signedIn(account.SeeRouteSheet, s.visitPage))
	s.engine.POST("/visits/:id", s.signedIn(account.SendFieldBatch, s.visitReported))
}

// firstPage is today for the office and the route sheets for a technician.
func (s *Server) firstPage(c *gin.Context) error {
	who, ok := accountFrom(c.Request.Context())
	switch {
	case !ok:
		c.Redirect(http.StatusSeeOther, "/sign-in")
		return nil
	case !account.May(who, account.SeePlan):
		c.Redirect(http.StatusSeeOther, "/sheets")
		return nil
	}
	return s.todayPage(c)
}

type sheetLine struct {
	Path, Crew       string
	Stops, Done      int
	Start, End       civil.TimeOfDay
	Driving, Working float64
	Sent, MaySend    bool
}

type todayData struct {
	FirstSteps              string
	Stops, Closed, Returned float64
	DueOpen, DuePast        float64
	Waiting, FailedJobs     int
	WeatherSay              string
	Sheets                  []sheetLine
	MayPlan                 bool
}

func (s *Server) todayPage(c *gin.Context) error {
	ctx := c.Request.Context()
	settings, clock, err := s.now(ctx)
	if err != nil {
		return err
	}
	who, _ := accountFrom(ctx)
	data := todayData{MayPlan: account.May(who, account.Plan)}
	visits, err := s.DB.VisitsBetween(ctx, clock.Today(), clock.Today())
	if err != nil {
		return err
	}
	for _, v := range visits {
		data.Stops++
		switch v.State {
		case visit.Closed:
			data.Closed++
		case visit.Returned:
			data.Returned++
		}
	}
	if data.Sheets, err = s.sheetLines(ctx, who, clock.Today(), visits); err != nil {
		return err
	}
	open, past, err := s.DB.DueCounts(ctx, clock.Today())
	if err != nil {
		return err
	}
	data.DueOpen, data.DuePast = float64(open), float64(past)
	waiting, err := s.DB.QuarantineOpen(ctx)
	if err != nil {
		return err
	}
	data.Waiting = len(waiting)
	f, err := s.DB.JobFigures(ctx)
	if err != nil {
		return err
	}
	data.FailedJobs = f.Failed
	data.WeatherSay, err = s.weatherSay(ctx, settings.WeatherPlaceID, clock.Today())
	if err != nil {
		return err
	}
	data.FirstSteps, err = s.firstSteps(ctx)
	if err != nil {
		return err
	}
	return s.show(c, http.StatusOK, "today", "Today", "/", data)
}

// firstSteps says what an empty house lacks first.
func (s *Server) firstSteps(ctx context.Context) (string, error) {
	p, err := s.DB.PropertiesPage(ctx, postgres.PropertyQuery{PageQuery: postgres.PageQuery{Limit: 1}})
	if err != nil || len(p.Items) > 0 {
		return "", err
	}
	return "take in the lawns from your sheet under Take in, then the weather; then ask for a plan.", nil
}

// weatherSay warns where windows rest on old weather.
func (s *Server) weatherSay(ctx context.Context, placeID string, today civil.Date) (string, error) {
	if placeID == "" {
		return "No weather place is set, so growth is computed without weather. Set one in the company's settings and take in a weather file.", nil
	}
	days, err := s.DB.WeatherDays(ctx, placeID, today.AddDays(-3), today.AddDays(-1))
	if err != nil {
		return "", err
	}
	if len(days) == 0 {
		return "The newest weather is more than three days old; due dates rest on what is usual for the season. Take in newer weather.", nil
	}
	return "", nil
}

// sheetLines are the route sheets of a day that the asker may see.
func (s *Server) sheetLines(ctx context.Context, who account.Account, day civil.Date, visits []visit.Visit) ([]sheetLine, error) {
	names, err := s.crewNames(ctx)
	if err != nil {
		return nil, err
	}
	sheets, err := s.DB.Sheets(ctx, day, day)
	if err != nil {
		return nil, err
	}
	by := map[uuid.UUID]*sheetLine{}
	for _, sh := range sheets {
		by[sh.CrewID] = &sheetLine{Start: sh.Start, End: sh.End, Driving: sh.DrivingMinutes, Working: sh.WorkingMinutes, Sent: !sh.SentAt.IsZero()}
	}
	for _, v := range visits {
		l, ok := by[v.CrewID]
		if !ok {
			l = &sheetLine{Start: v.Arrive}
			by[v.CrewID] = l
		}
		l.Stops++
		l.End = max(l.End, v.Leave)
		if v.State == visit.Closed || v.State == visit.Returned {
			l.Done++
		}
		if v.State == visit.Planned {
			l.Sent = false
		}
	}
	var lines []sheetLine
	for id, l := range by {
		if l.Stops == 0 || !account.MaySeeSheet(who, id) {
			continue
		}
		l.Path, l.Crew, l.MaySend = sheetPath(id, day), names[id], account.May(who, account.Plan)
		lines = append(lines, *l)
	}
	sort.Slice(lines, func(i, j int) bool { return lines[i].Crew < lines[j].Crew })
	return lines, nil
}

func sheetPath(crewID uuid.UUID, day civil.Date) string {
	return "/sheets/" + crewID.String() + "/" + day.String()
}
