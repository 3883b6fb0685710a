package api

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"sort"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
	"thirdcut/internal/postgres"
	"thirdcut/internal/product"
	"thirdcut/internal/property"
	"thirdcut/internal/schedule"
	"thirdcut/internal/stock"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
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
	if err := s.fillPlan(ctx, p, &data); err != nil {
		return err
	}
	return s.show(c, http.StatusOK, "plan", "Plan of "+p.From.Words()+" to "+p.To.Words(), "/plans", data)
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
	if err := do(c.Request.Context(), id, version, who.PersonID); err != nil {
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

type sheetsData struct {
	Date   civil.Date
	Sheets []sheetLine
}

func (s *Server) sheetsPage(c *gin.Context) error {
	ctx := c.Request.Context()
	_, clock, err := s.now(ctx)
	if err != nil {
		return err
	}
	day := clock.Today()
	if text := c.Query("date"); text != "" {
		if day, err = parseDate("date", text); err != nil {
			return err
		}
	}
	visits, err := s.DB.VisitsBetween(ctx, day, day)
	if err != nil {
		return err
	}
	who, _ := accountFrom(ctx)
	lines, err := s.sheetLines(ctx, who, day, visits)
	if err != nil {
		return err
	}
	return s.show(c, http.StatusOK, "sheets", "Route sheets", "/sheets", sheetsData{day, lines})
}

// sheetOf reads the crew and day of a sheet's address, if the asker may see it.
func (s *Server) sheetOf(c *gin.Context, date string) (crew.Crew, civil.Date, error) {
	id, err := uuid.Parse(c.Param("crew"))
	if err != nil {
		return crew.Crew{}, civil.Date{}, fault.New(fault.NotFound, "crew", "there is no such crew; choose one under Route sheets")
	}
	who, _ := accountFrom(c.Request.Context())
	day, err := sheetKey{id, date}.day(who)
	if err != nil {
		return crew.Crew{}, civil.Date{}, err
	}
	k, err := s.DB.Crew(c.Request.Context(), id)
	return k, day, err
}

type sheetTask struct{ Work, Area, What string }

type sheetStop struct {
	Position                 int
	Arrive, Leave            civil.TimeOfDay
	State, Mark, Class       string
	Address, Customer, Phone string
	Access, Gate             string
	Hazards, Waits           []string
	Tasks                    []sheetTask
	Path                     string
	Open                     bool
}

type sheetData struct {
	Date             civil.Date
	Depot            string
	Start, End       civil.TimeOfDay
	Driving, Working float64
	Version          int
	Sent             bool
	Path             string
	Load             []string
	Stops            []sheetStop
}

func (s *Server) sheetPage(c *gin.Context) error {
	date, ending, asFile := strings.Cut(c.Param("date"), ".")
	if asFile {
		return s.sheetFile(c, date, ending)
	}
	k, day, err := s.sheetOf(c, date)
	if err != nil {
		return err
	}
	ctx := c.Request.Context()
	visits, err := s.DB.VisitsOn(ctx, k.ID, day)
	if err != nil {
		return err
	}
	sheets, err := s.DB.Sheets(ctx, day, day)
	if err != nil {
		return err
	}
	data := sheetData{Date: day, Depot: k.Depot.Name, Start: k.ShiftFrom, End: k.ShiftTo, Path: sheetPath(k.ID, day)}
	for _, sh := range sheets {
		if sh.CrewID == k.ID {
			data.Start, data.End, data.Driving, data.Working, data.Version, data.Sent = sh.Start, sh.End, sh.DrivingMinutes, sh.WorkingMinutes, sh.Version, !sh.SentAt.IsZero()
		}
	}
	products, err := s.productsOf(ctx)
	if err != nil {
		return err
	}
	for _, v := range visits {
		stop, err := s.sheetStop(ctx, v, products)
		if err != nil {
			return err
		}
		data.Stops = append(data.Stops, stop)
	}
	data.Load = loadList(visits, products, s.areasOf(ctx, visits))
	return s.show(c, http.StatusOK, "sheet", k.Name, "/sheets", data)
}

func (s *Server) productsOf(ctx context.Context) (map[uuid.UUID]product.Product, error) {
	list, err := s.DB.Products(ctx)
	if err != nil {
		return nil, err
	}
	by := map[uuid.UUID]product.Product{}
	for _, p := range list {
		by[p.ID] = p
	}
	return by, nil
}

// areasOf reads the turf areas of the visits; one that cannot be read is left
// out of the load list, which then says less, never wrong.
func (s *Server) areasOf(ctx context.Context, visits []visit.Visit) map[uuid.UUID]property.TurfArea {
	ids := []uuid.UUID{}
	for _, v := range visits {
		ids = append(ids, v.PropertyID)
	}
	by := map[uuid.UUID]property.TurfArea{}
	list, err := s.DB.Properties(ctx, postgres.PropertyFilter{IDs: ids, WithoutOutlines: true, Retired: true})
	if err != nil {
		return by
	}
	for _, p := range list {
		for _, a := range p.Areas {
			by[a.ID] = a
		}
	}
	return by
}

// loadList sums the product that the day's planned rates take on the areas on file.
func loadList(visits []visit.Visit, products map[uuid.UUID]product.Product, areas map[uuid.UUID]property.TurfArea) []string {
	sums := map[uuid.UUID]float64{}
	units := map[uuid.UUID]string{}
	for _, v := range visits {
		for _, t := range v.Tasks {
			rate, ok := t.RateUnit.Rate(t.Rate)
			if t.ProductID == uuid.Nil || !ok || v.State == visit.Closed {
				continue
			}
			amount := rate.On(unit.Area(areas[t.TurfAreaID].AreaSqFt) * unit.SquareFoot)
			if n, ok := amount.In(t.RateUnit.AmountUnit()); ok {
				sums[t.ProductID] += n
				units[t.ProductID] = t.RateUnit.AmountUnit()
			}
		}
	}
	var lines []string
	for id, n := range sums {
		line := fmt.Sprintf("%s: %s %s, plus label and safety data sheet", products[id].Name, strconv.FormatFloat(n, 'f', 1, 64), units[id])
		if v, ok := firstLabel(products[id]); ok && v.Limits.ProtectiveEquipment != "" {
			line += "; wear " + v.Limits.ProtectiveEquipment
		}
		lines = append(lines, line)
	}
	sort.Strings(lines)
	return lines
}

func firstLabel(p product.Product) (product.LabelVersion, bool) {
	if len(p.Labels) == 0 {
		return product.LabelVersion{}, false
	}
	return p.Labels[0], true
}

func (s *Server) sheetStop(ctx context.Context, v visit.Visit, products map[uuid.UUID]product.Product) (sheetStop, error) {
	p, err := s.DB.Property(ctx, v.PropertyID)
	if err != nil {
		return sheetStop{}, err
	}
	customer, err := s.DB.Customer(ctx, p.CustomerID)
	if err != nil {
		return sheetStop{}, err
	}
	stop := sheetStop{Position: v.Position, Arrive: v.Arrive, Leave: v.Leave, State: string(v.State), Mark: stateMark(v.State),
		Address: strings.Join(nonEmpty(p.Address, p.Municipality), ", "), Customer: customer.Name, Phone: customer.Phone, Access: p.AccessNote,
		Path: "/visits/" + v.ID.String(), Open: v.State == visit.Planned || v.State == visit.Out}
	switch v.State {
	case visit.Closed:
		stop.Class = "done"
	case visit.Returned:
		stop.Class = "back"
	}
	stop.Hazards = hazards(p)
	_, clock, err := s.now(ctx)
	if err != nil {
		return stop, err
	}
	var crewsOfToday []uuid.UUID
	if v.Date == clock.Today() {
		crewsOfToday = append(crewsOfToday, v.CrewID)
	}
	if who, _ := accountFrom(ctx); account.MaySeeGateCode(who, crewsOfToday) {
		stop.Gate = p.GateCode
	}
	if stop.Waits, err = s.waits(ctx, p); err != nil {
		return stop, err
	}
	names := map[uuid.UUID]string{}
	for _, a := range p.Areas {
		names[a.ID] = a.Name
	}
	for _, t := range v.Tasks {
		stop.Tasks = append(stop.Tasks, sheetTask{sentence(t.Work.Words()), names[t.TurfAreaID], taskWhat(t, p, products)})
	}
	return stop, nil
}

func hazards(p property.Property) []string {
	var out []string
	for _, h := range p.Sensitivities {
		out = append(out, sentence(h))
	}
	if p.WaterDistanceFt != nil {
		out = append(out, fmt.Sprintf("Water %s ft away: keep the label's distance", plainNumber(*p.WaterDistanceFt)))
	}
	return out
}

func taskWhat(t visit.Task, p property.Property, products map[uuid.UUID]product.Product) string {
	for _, a := range p.Areas {
		if a.ID != t.TurfAreaID {
			continue
		}
		switch {
		case t.Work == turf.Mow || t.Work == turf.FirstCut:
			return fmt.Sprintf("%s of %s at %s in", squareFeet(a.AreaSqFt), a.Species.Words(), plainNumber(a.CuttingHeightIn))
		case t.Work.Treats():
			return fmt.Sprintf("%s at %s %s on %s, against %s", products[t.ProductID].Name, strconv.FormatFloat(t.Rate, 'g', 4, 64), t.RateUnit, squareFeet(a.AreaSqFt), dash(t.Target))
		}
	}
	return t.Why
}

// waits are what still keeps people or mowers off a property's lawns, in words.
func (s *Server) waits(ctx context.Context, p property.Property) ([]string, error) {
	settings, clock, err := s.now(ctx)
	if err != nil {
		return nil, err
	}
	list, err := s.DB.Waits(ctx, p.ID, clock.Now())
	if err != nil {
		return nil, err
	}
	var out []string
	for _, w := range list {
		out = append(out, w.Words(settings.Zone))
	}
	return out, nil
}

// sheetFile gives a sheet out as a calendar (RFC 5545) or as places (RFC 7946).
func (s *Server) sheetFile(c *gin.Context, date, ending string) error {
	k, day, err := s.sheetOf(c, date)
	if err != nil {
		return err
	}
	ctx := c.Request.Context()
	settings, clock, err := s.now(ctx)
	if err != nil {
		return err
	}
	sheet, err := s.DB.SheetFor(ctx, k.ID, day)
	if err != nil {
		return err
	}
	var out bytes.Buffer
	kind := ""
	switch ending {
	case "ics":
		kind, err = "text/calendar; charset=utf-8", schedule.Calendar(&out, sheet, settings.Zone, clock.Now())
	case "geojson":
		kind, err = "application/geo+json", schedule.GeoJSON(&out, sheet)
	default:
		return fault.New(fault.NotFound, "no-such-page", "a route sheet is had as .ics or .geojson, not as .%s", ending)
	}
	if err != nil {
		return err
	}
	c.Header("Content-Disposition", `attachment; filename="`+day.String()+`.`+ending+`"`)
	c.Data(http.StatusOK, kind, out.Bytes())
	return nil
}

func (s *Server) sheetSent(c *gin.Context) error {
	k, day, err := s.sheetOf(c, c.Param("date"))
	if err != nil {
		return err
	}
	if _, err := s.DB.SendSheet(c.Request.Context(), k.ID, day); err != nil {
		return err
	}
	return s.say(c, "/", "The route sheet of "+k.Name+" is out.")
}

type visitMow struct {
	Key, Work, Area, What string
	Height                bool
}

type treatLine struct{ Key, Area, OnFile, Example string }

type visitTreat struct {
	Key, Product, Caution, Planned, Label, Target, Method string
	Findings                                              []label.Finding
	Lines                                                 []treatLine
	Lots                                                  []stock.Lot
}

type visitData struct {
	ID            uuid.UUID
	State, Mark   string
	Date          civil.Date
	Arrive, Leave civil.TimeOfDay
	Crew          string
	SheetPath     string
	Hazards       []string
	Access, Gate  string
	Waits         []string
	Findings      []label.Finding
	Said          string
	EntryID       string
	Form          map[string]string
	Machines      []crew.Machine
	Mows          []visitMow
	Treatments    []visitTreat
	People        []crew.Person
}

func (s *Server) visitPage(c *gin.Context) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	who, _ := accountFrom(c.Request.Context())
	v, err := s.visitFor(c.Request.Context(), who, id)
	if err != nil {
		return err
	}
	form := map[string]string{"started": v.Arrive.String(), "finished": v.Leave.String(), "by": who.PersonID.String()}
	return s.showVisit(c, http.StatusOK, v, form, uuid.Must(uuid.NewV7()).String(), nil, "", "")
}

// showVisit shows the report's form with what was typed, and what was answered.
func (s *Server) showVisit(c *gin.Context, status int, v visit.Visit, form map[string]string, entryID string, found []label.Finding, said, problem string) error {
	ctx := c.Request.Context()
	p, err := s.DB.Property(ctx, v.PropertyID)
	if err != nil {
		return err
	}
	k, err := s.DB.Crew(ctx, v.CrewID)
	if err != nil {
		return err
	}
	products, err := s.productsOf(ctx)
	if err != nil {
		return err
	}
	stop, err := s.sheetStop(ctx, v, products)
	if err != nil {
		return err
	}
	data := visitData{ID: v.ID, State: string(v.State), Mark: stateMark(v.State), Date: v.Date, Arrive: v.Arrive, Leave: v.Leave, Crew: k.Name,
		SheetPath: sheetPath(v.CrewID, v.Date), Hazards: stop.Hazards, Access: stop.Access, Gate: stop.Gate, Waits: stop.Waits, Findings: found, Said: said,
		EntryID: entryID, Form: form}
	for _, m := range k.Machines {
		if m.Kind == "reel" || m.Kind == "rotary" {
			data.Machines = append(data.Machines, m)
		}
	}
	if data.People, err = s.crewPeople(ctx, k); err != nil {
		return err
	}
	if err := s.visitTasks(ctx, v, p, products, &data); err != nil {
		return err
	}
	page := s.frame(ctx, stop.Address, "/sheets")
	page.Problem, page.Data = problem, data
	return s.templates.Render(c.Writer, status, "visit", page)
}

// crewPeople are the crew's members and its supervisor.
func (s *Server) crewPeople(ctx context.Context, k crew.Crew) ([]crew.Person, error) {
	var people []crew.Person
	there := map[uuid.UUID]bool{}
	for _, m := range k.Members {
		people = append(people, m.Person)
		there[m.Person.ID] = true
	}
	if k.SupervisorID != uuid.Nil && !there[k.SupervisorID] {
		p, err := s.DB.Person(ctx, k.SupervisorID)
		if err != nil {
			return nil, err
		}
		people = append(people, p)
	}
	return people, nil
}

func (s *Server) visitTasks(ctx context.Context, v visit.Visit, p property.Property, products map[uuid.UUID]product.Product, data *visitData) error {
	areas := map[uuid.UUID]property.TurfArea{}
	for _, a := range p.Areas {
		areas[a.ID] = a
	}
	by := map[uuid.UUID]int{} // product: place among the treatments
	for _, t := range v.Tasks {
		if !t.Work.Treats() {
			data.Mows = append(data.Mows, visitMow{Key: t.ID.String(), Work: sentence(t.Work.Words()), Area: areas[t.TurfAreaID].Name,
				What: taskWhat(t, p, products), Height: t.Work == turf.Mow || t.Work == turf.FirstCut})
			continue
		}
		i, ok := by[t.ProductID]
		if !ok {
			i = len(data.Treatments)
			by[t.ProductID] = i
			card, err := s.treatCard(ctx, t, products[t.ProductID])
			if err != nil {
				return err
			}
			data.Treatments = append(data.Treatments, card)
		}
		a := areas[t.TurfAreaID]
		example := "4.5 " + t.RateUnit.AmountUnit()
		if rate, ok := t.RateUnit.Rate(t.Rate); ok {
			if n, ok := rate.On(unit.Area(a.AreaSqFt) * unit.SquareFoot).In(t.RateUnit.AmountUnit()); ok {
				example = strconv.FormatFloat(n, 'f', 2, 64) + " " + t.RateUnit.AmountUnit()
			}
		}
		data.Treatments[i].Findings = append(data.Treatments[i].Findings, t.Findings...)
		data.Treatments[i].Lines = append(data.Treatments[i].Lines, treatLine{t.ID.String(), a.Name, plainNumber(a.AreaSqFt) + " sq ft", example})
	}
	return nil
}

func (s *Server) treatCard(ctx context.Context, t visit.Task, p product.Product) (visitTreat, error) {
	card := visitTreat{Key: p.ID.String(), Product: p.Name, Target: t.Target,
		Planned: fmt.Sprintf("%s %s against %s", strconv.FormatFloat(t.Rate, 'g', 4, 64), t.RateUnit, dash(t.Target)),
		Caution: "Read the label in hand before the first drop: it beats this screen. Wear what it names; mind wind, heat, water and bees; keep people and pets off until the re-entry time."}
	if t.LabelVersionID != uuid.Nil {
		v, err := s.DB.LabelVersion(ctx, t.LabelVersionID)
		if err != nil {
			return card, err
		}
		card.Label = limitsWords(v.Limits)
	}
	var err error
	card.Lots, err = s.DB.Lots(ctx, p.ID)
	return card, err
}

func limitsWords(l label.Limits) string {
	var words []string
	if l.RateMax != nil {
		words = append(words, "at most "+plainNumber(*l.RateMax)+" "+string(l.RateUnit))
	}
	if l.AirTempMaxF != nil {
		words = append(words, "not over "+plainNumber(*l.AirTempMaxF)+" F")
	}
	if l.WindMaxMPH != nil {
		words = append(words, "wind not over "+plainNumber(*l.WindMaxMPH)+" mph")
	}
	if l.ReentryText != "" {
		words = append(words, "re-entry "+l.ReentryText)
	}
	if l.ProtectiveEquipment != "" {
		words = append(words, "wear "+l.ProtectiveEquipment)
	}
	return strings.Join(words, "; ") + " (revision " + l.Revision + ")"
}

// visitReported turns the form into the same entry that a tablet sends, and
// takes it in the same way.
func (s *Server) visitReported(c *gin.Context) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	ctx := c.Request.Context()
	who, _ := accountFrom(ctx)
	v, err := s.visitFor(ctx, who, id)
	if err != nil {
		return err
	}
	settings, err := s.DB.Company(ctx)
	if err != nil {
		return err
	}
	if err := c.Request.ParseForm(); err != nil {
		return fault.New(fault.BadRequest, "unreadable", "the form could not be read; send it again").Because(err)
	}
	form := map[string]string{}
	for k := range c.Request.PostForm {
		form[k] = strings.TrimSpace(c.Request.PostForm.Get(k))
	}
	entry, err := entryOf(form, v, settings.Zone)
	if f := fault.As(err); f != nil {
		return s.showVisit(c, f.Kind.Status(), v, form, form["entry_id"], nil, "", f.Detail)
	}
	raw, err := json.Marshal(entry)
	if err != nil {
		return fmt.Errorf("write the report: %w", err)
	}
	res := s.Visits.Batch(ctx, sender(who), []json.RawMessage{raw})[0]
	if res.Outcome == visit.NeedsYou {
		why := "The report was kept for the office, but needs a person."
		if res.Problem != nil {
			why += " " + res.Problem.Detail
		}
		return s.showVisit(c, http.StatusUnprocessableEntity, v, form, uuid.Must(uuid.NewV7()).String(), res.Findings, "", why)
	}
	if len(res.Findings) == 0 {
		return s.say(c, sheetPath(v.CrewID, v.Date), "The report is in.")
	}
	if v, err = s.DB.Visit(ctx, id); err != nil {
		return err
	}
	return s.showVisit(c, http.StatusOK, v, form, uuid.Must(uuid.NewV7()).String(), res.Findings, "The report is in and kept as told. What the label or a rule says of it stands above.", "")
}

// entryOf reads the form as the entry of a field batch.
func entryOf(form map[string]string, v visit.Visit, zone *time.Location) (visit.Entry, error) {
	entryID, err := uuid.Parse(form["entry_id"])
	if err != nil {
		return visit.Entry{}, fault.New(fault.Invalid, "invalid", "the form has lost its number; open the visit again")
	}
	started, err := civil.ParseTimeOfDay(form["started"])
	if err != nil {
		return visit.Entry{}, fault.New(fault.Invalid, "bad-time", "Started: %v", err)
	}
	finished, err := civil.ParseTimeOfDay(form["finished"])
	if err != nil {
		return visit.Entry{}, fault.New(fault.Invalid, "bad-time", "Finished: %v", err)
	}
	if finished < started {
		return visit.Entry{}, fault.New(fault.Invalid, "bad-time", "the visit ends (%s) before it starts (%s)", finished, started)
	}
	e := visit.Entry{ID: entryID, Kind: "close_out", VisitID: v.ID, Outcome: form["outcome"], Reason: form["reason"],
		StartedAt: v.Date.At(started, zone), FinishedAt: v.Date.At(finished, zone), DeviceID: "page"}
	if e.Outcome == "not_done" {
		if e.Reason == "" {
			return e, fault.New(fault.Invalid, "no-reason", "say why it could not be done")
		}
		return e, nil
	}
	if err := tasksOf(form, v, &e); err != nil {
		return e, err
	}
	return e, applicationsOf(form, v, &e)
}

// newID makes an id of an entry's part out of the entry's and the part's name,
// so that the same form sent twice is the same report.
func newID(entry uuid.UUID, part string) uuid.UUID { return uuid.NewSHA1(entry, []byte(part)) }

func tasksOf(form map[string]string, v visit.Visit, e *visit.Entry) error {
	for _, t := range v.Tasks {
		if t.Work.Treats() {
			continue
		}
		key := t.ID.String()
		r := visit.TaskReport{TurfAreaID: t.TurfAreaID, Work: t.Work, Done: form["done."+key] == "yes"}
		if t.Work == turf.Mow || t.Work == turf.FirstCut {
			r.Clippings = form["clippings."+key]
			if id := form["machine."+key]; id != "" {
				m, err := uuid.Parse(id)
				if err != nil {
					return fault.New(fault.Invalid, "bad-machine", "the machine chosen is none; choose one of the list")
				}
				r.MachineID = m
			}
			for field, kind := range map[string]string{"before.": "height_before", "left.": "height_left"} {
				if text := form[field+key]; text != "" {
					e.Observations = append(e.Observations, visit.Observed{ID: newID(e.ID, field+key), TurfAreaID: t.TurfAreaID, Kind: kind, Value: text})
				}
			}
		}
		e.Tasks = append(e.Tasks, r)
	}
	sort.Slice(e.Observations, func(i, j int) bool { return e.Observations[i].ID.String() < e.Observations[j].ID.String() })
	if form["seen"] != "" && len(v.Tasks) > 0 {
		e.Observations = append(e.Observations, visit.Observed{ID: newID(e.ID, "seen"), TurfAreaID: v.Tasks[0].TurfAreaID, Kind: "note", Value: form["seen"]})
	}
	return nil
}

func applicationsOf(form map[string]string, v visit.Visit, e *visit.Entry) error {
	by := map[uuid.UUID]int{}
	for _, t := range v.Tasks {
		if !t.Work.Treats() {
			continue
		}
		key := t.ProductID.String()
		applied := form["applied."+key] == "yes"
		e.Tasks = append(e.Tasks, visit.TaskReport{TurfAreaID: t.TurfAreaID, Work: t.Work, Done: applied})
		if !applied {
			continue
		}
		i, ok := by[t.ProductID]
		if !ok {
			a, err := applicationOf(form, key, t, e)
			if err != nil {
				return err
			}
			i = len(e.Applications)
			by[t.ProductID] = i
			e.Applications = append(e.Applications, a)
		}
		line := visit.ApplicationLine{TurfAreaID: t.TurfAreaID, AreaTreated: form["treated."+t.ID.String()], Amount: form["amount."+t.ID.String()]}
		if line.Amount == "" {
			return fault.New(fault.Invalid, "no-amount", "say how much product was used, with its unit, or take the tick from “It was applied”")
		}
		e.Applications[i].Lines = append(e.Applications[i].Lines, line)
	}
	return nil
}

func applicationOf(form map[string]string, key string, t visit.Task, e *visit.Entry) (visit.Application, error) {
	a := visit.Application{ID: newID(e.ID, "application."+key), ProductID: t.ProductID, LabelVersionID: t.LabelVersionID, Diluent: form["diluent."+key],
		StartedAt: e.StartedAt, FinishedAt: e.FinishedAt, Equipment: form["equipment."+key], Method: form["method."+key], Target: form["target."+key],
		AirTemp: form["air."+key], Wind: form["wind."+key], WindDirection: form["from."+key], SignPosted: form["sign."+key] == "yes", NoticeGiven: form["notice."+key] == "yes"}
	by, err := uuid.Parse(form["by."+key])
	if err != nil {
		return a, fault.New(fault.Invalid, "no-applicator", "say who applied %s", "it")
	}
	a.ApplicatorID = by
	if over := form["over."+key]; over != "" {
		if a.SupervisorID, err = uuid.Parse(over); err != nil {
			return a, fault.New(fault.Invalid, "no-supervisor", "the responsible person chosen is none; choose one of the list")
		}
	}
	if lot := form["lot."+key]; lot != "" {
		id, err := uuid.Parse(lot)
		if err != nil {
			return a, fault.New(fault.Invalid, "no-lot", "the lot chosen is none; choose one of the list")
		}
		a.LotIDs = []uuid.UUID{id}
	}
	if why := form["why."+key]; why != "" {
		a.Reasons = map[string]string{"all": why}
	}
	return a, nil
}
