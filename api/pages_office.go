package api

import (
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/export"
	"thirdcut/internal/fault"
	"thirdcut/internal/intake"
	"thirdcut/internal/postgres"
	"thirdcut/internal/recordrule"
	"thirdcut/internal/turf"
)

func (s *Server) officePages() {
	s.engine.GET("/exports", s.signedIn(account.ExportRecords, s.exportsPage))
	s.engine.POST("/exports", s.signedIn(account.ExportRecords, s.exportAsked))
	s.engine.GET("/exports/:id/file", s.signedIn(account.ExportRecords, s.exportFile))
	s.engine.GET("/imports", s.signedIn(account.ImportLawns, s.importsPage))
	s.engine.POST("/imports/lawns", s.signedIn(account.ImportLawns, s.lawnsPosted))
	s.engine.POST("/imports/weather", s.signedIn(account.ImportWeather, s.weatherPosted))
	s.engine.GET("/jobs", s.signedIn(account.SeeJobs, s.jobsPage))
	s.engine.POST("/jobs/:number/retry", s.signedIn(account.RetryJobs, s.jobRetried))
	s.engine.GET("/lawns", s.signedIn(account.SeeProperties, s.lawnsPage))
	s.engine.GET("/lawns/:id", s.signedIn(account.SeeProperties, s.lawnPage))
}

// pathID reads the id of a page's address.
func pathID(c *gin.Context) (uuid.UUID, error) {
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return id, fault.New(fault.NotFound, "no-such-page", "there is nothing at %s; its last part is no id", c.Request.URL.Path)
	}
	return id, nil
}

type ruleChoice struct{ ID, Words string }

type exportsData struct {
	Rules          []ruleChoice
	Rule, From, To string
	Files          []exportLine
	Busy           bool
}

type exportLine struct {
	export.File
	Size string
}

// ruleChoices are the rules that an export can be made for, the company's first.
func ruleChoices(c company.Settings) []ruleChoice {
	var first, rest []ruleChoice
	for _, r := range recordrule.All() {
		if r.Kind == recordrule.RecordRule {
			rest = append(rest, ruleChoice{r.ID, r.Jurisdiction + ": " + r.Title})
		}
	}
	for _, id := range c.Jurisdictions {
		if i := slices.IndexFunc(rest, func(r ruleChoice) bool { return r.ID == id }); i >= 0 {
			first = append(first, rest[i])
			rest = slices.Delete(rest, i, i+1)
		}
	}
	return append(first, rest...)
}

func (s *Server) exportsPage(c *gin.Context) error {
	settings, clock, err := s.now(c.Request.Context())
	if err != nil {
		return err
	}
	files, err := s.DB.Exports(c.Request.Context(), 30)
	if err != nil {
		return err
	}
	data := exportsData{Rules: ruleChoices(settings), From: civil.On(clock.Today().Year, time.January, 1).String(), To: clock.Today().String()}
	for _, f := range files {
		f.AskedAt, f.FinishedAt = f.AskedAt.In(settings.Zone), f.FinishedAt.In(settings.Zone)
		data.Files = append(data.Files, exportLine{f, strconv.FormatInt((f.SizeBytes+1023)/1024, 10) + " kB"})
		data.Busy = data.Busy || f.State == "asked" || f.State == "running"
	}
	return s.show(c, http.StatusOK, "exports", "Export for an inspection", "/records", data)
}

func (s *Server) exportAsked(c *gin.Context) error {
	from, err := parseDate("from", c.PostForm("from"))
	if err != nil {
		return err
	}
	to, err := parseDate("to", c.PostForm("to"))
	if err != nil {
		return err
	}
	who, _ := accountFrom(c.Request.Context())
	if _, err := s.Exports.Ask(c.Request.Context(), c.PostForm("rule"), c.PostForm("format"), from, to, who.PersonID); err != nil {
		return err
	}
	return s.say(c, "/exports", "The file is being made. It stands below as soon as it is ready.")
}

func (s *Server) exportFile(c *gin.Context) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	f, err := s.readyExport(c.Request.Context(), id)
	if err != nil {
		return err
	}
	s.sendExport(c.Request.Context(), c.Writer, f)
	return nil
}

type importsData struct {
	Result       *importResult
	Problems     []intake.Problem
	ProblemCount int
	Runs         []postgres.ImportRun
}

type importResult struct {
	Head  string
	Notes []string
}

func (s *Server) importsPage(c *gin.Context) error {
	return s.showImports(c, http.StatusOK, importsData{}, "")
}

func (s *Server) showImports(c *gin.Context, status int, data importsData, problem string) error {
	runs, err := s.DB.ImportRuns(c.Request.Context(), 20)
	if err != nil {
		return err
	}
	if c, err := s.DB.Company(c.Request.Context()); err == nil { // without a company the times stay as they are
		for i := range runs {
			runs[i].At = runs[i].At.In(c.Zone)
		}
	}
	data.Runs = runs
	page := s.frame(c.Request.Context(), "Take in lawns and weather", "/imports")
	page.Problem, page.Data = problem, data
	return s.templates.Render(c.Writer, status, "imports", page)
}

// upload reads the file of a form.
func (s *Server) upload(c *gin.Context) ([]byte, string, error) {
	f, head, err := c.Request.FormFile("file")
	if err != nil {
		if strings.Contains(err.Error(), "too large") {
			return nil, "", fault.New(fault.TooLarge, "too-large", "the file has more than %d MB; split it", uploadLimit>>20)
		}
		return nil, "", fault.New(fault.Invalid, "no-file", "choose a file first")
	}
	defer f.Close()
	data, err := readUpload(f)
	return data, head.Filename, err
}

func (s *Server) lawnsPosted(c *gin.Context) error {
	data, name, err := s.upload(c)
	if f := fault.As(err); f != nil {
		return s.showImports(c, f.Kind.Status(), importsData{}, f.Detail)
	}
	if err != nil {
		return err
	}
	sheet, err := intake.ReadLawns(data, name, nil)
	if f := fault.As(err); f != nil {
		return s.showImports(c, f.Kind.Status(), importsData{}, f.Detail)
	}
	if err != nil {
		return err
	}
	if len(sheet.Problems) > 0 {
		return s.showImports(c, http.StatusUnprocessableEntity, importsData{Problems: sheet.Problems, ProblemCount: len(sheet.Problems) + sheet.More}, "")
	}
	who, _ := accountFrom(c.Request.Context())
	out, err := s.takeLawns(c.Request.Context(), who, data, name, c.PostForm("dry_run") == "yes")
	if f := fault.As(err); f != nil {
		return s.showImports(c, f.Kind.Status(), importsData{}, f.Error())
	}
	if err != nil {
		return err
	}
	return s.showImports(c, http.StatusOK, importsData{Result: lawnsResult(out)}, "")
}

func lawnsResult(out *importAnswer) *importResult {
	b := out.Body
	head := "Taken in"
	if b.DryRun {
		head = "Tried only: it would be"
	}
	r := &importResult{Head: head + ": " + itoa(b.Added) + " added, " + itoa(b.Changed) + " changed, " + itoa(b.Unchanged) + " as before.", Notes: b.Notes}
	if len(b.NotPlaced) > 0 {
		r.Notes = append(r.Notes, "Not placed on the map: "+strings.Join(b.NotPlaced, "; "))
	}
	return r
}

func (s *Server) weatherPosted(c *gin.Context) error {
	data, name, err := s.upload(c)
	if f := fault.As(err); f != nil {
		return s.showImports(c, f.Kind.Status(), importsData{}, f.Detail)
	}
	if err != nil {
		return err
	}
	settings, err := s.DB.Company(c.Request.Context())
	if err != nil {
		return err
	}
	who, _ := accountFrom(c.Request.Context())
	w, err := intake.ReadWeather(data, name, intake.WeatherOptions{Location: c.PostForm("location")})
	if err == nil && len(w.Problems) > 0 {
		return s.showImports(c, http.StatusUnprocessableEntity, importsData{Problems: w.Problems, ProblemCount: len(w.Problems) + w.More}, "")
	}
	var out *importAnswer
	if err == nil {
		out, err = s.importWeather(c.Request.Context(), who, &weatherUpload{Name: name, Place: settings.WeatherPlaceID, Location: c.PostForm("location"), RawBody: data})
	}
	if f := fault.As(err); f != nil {
		return s.showImports(c, f.Kind.Status(), importsData{}, f.Error())
	}
	if err != nil {
		return err
	}
	return s.showImports(c, http.StatusOK, importsData{Result: lawnsResult(out)}, "")
}

type jobsData struct {
	Waiting, Failed int
	Jobs            []postgres.OutboxJob
}

func (s *Server) jobsPage(c *gin.Context) error {
	f, err := s.DB.JobFigures(c.Request.Context())
	if err != nil {
		return err
	}
	jobs, err := s.DB.FailedJobs(c.Request.Context(), 100)
	if err != nil {
		return err
	}
	return s.show(c, http.StatusOK, "jobs", "Jobs", "/jobs", jobsData{f.Waiting, f.Failed, jobs})
}

func (s *Server) jobRetried(c *gin.Context) error {
	n, err := strconv.ParseInt(c.Param("number"), 10, 64)
	if err != nil {
		return fault.New(fault.NotFound, "job", "there is no job %q", c.Param("number"))
	}
	if err := s.DB.RetryJob(c.Request.Context(), n); err != nil {
		return err
	}
	return s.say(c, "/jobs", "The job is tried again.")
}

type lawnLine struct {
	ID                uuid.UUID
	Address, Customer string
	Areas             int
	SqFt              float64
	Placed            bool
	Due               string
}

type lawnsData struct {
	Search    string
	NotPlaced bool
	Lawns     []lawnLine
	More      string
}

func (s *Server) lawnsPage(c *gin.Context) error {
	q := postgres.PropertyQuery{NotPlaced: c.Query("not_placed") == "yes",
		PageQuery: postgres.PageQuery{Search: c.Query("q"), After: c.Query("after"), Limit: 50}}
	p, err := s.DB.PropertiesPage(c.Request.Context(), q)
	if err != nil {
		return err
	}
	ids := make([]uuid.UUID, len(p.Items))
	for i, l := range p.Items {
		ids[i] = l.ID
	}
	due, err := s.DB.NextCuts(c.Request.Context(), ids)
	if err != nil {
		return err
	}
	data := lawnsData{Search: q.Search, NotPlaced: q.NotPlaced}
	for _, l := range p.Items {
		line := lawnLine{ID: l.ID, Address: l.Address, Customer: l.CustomerName, Areas: len(l.Areas), Placed: l.Placed(), Due: "–"}
		for _, a := range l.Areas {
			line.SqFt += a.AreaSqFt
		}
		if d, ok := due[l.ID]; ok {
			line.Due = d.Words()
		}
		data.Lawns = append(data.Lawns, line)
	}
	if p.Next != "" {
		v := c.Request.URL.Query()
		v.Set("after", p.Next)
		data.More = "/lawns?" + v.Encode()
	}
	return s.show(c, http.StatusOK, "lawns", "Lawns", "/lawns", data)
}

type areaCard struct {
	Name    string
	Facts   [][2]string
	Windows []windowCard
}

type windowCard struct {
	turf.Window
	Work string
}

type visitLine struct {
	Date                            civil.Date
	Crew, Work, State, Mark, Reason string
}

type lawnData struct {
	Placed bool
	Facts  [][2]string
	Areas  []areaCard
	Visits []visitLine
}

func (s *Server) lawnPage(c *gin.Context) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	ctx := c.Request.Context()
	p, err := s.DB.Property(ctx, id)
	if err != nil {
		return err
	}
	customer, err := s.DB.Customer(ctx, p.CustomerID)
	if err != nil {
		return err
	}
	windows, err := s.DB.Windows(ctx, id)
	if err != nil {
		return err
	}
	visits, err := s.DB.VisitsOfProperty(ctx, id, 30)
	if err != nil {
		return err
	}
	crews, err := s.crewNames(ctx)
	if err != nil {
		return err
	}
	who, _ := accountFrom(ctx)
	data := lawnData{Placed: p.Placed(), Facts: propertyFacts(p, customer, who)}
	for _, a := range p.Areas {
		card := areaCard{Name: a.Name, Facts: areaFacts(a)}
		for _, w := range windows[a.ID] {
			card.Windows = append(card.Windows, windowCard{w, sentence(w.Work.Words())})
		}
		data.Areas = append(data.Areas, card)
	}
	for _, v := range visits {
		data.Visits = append(data.Visits, visitLine{v.Date, crews[v.CrewID], worksOf(v), string(v.State), stateMark(v.State), v.Reason})
	}
	return s.show(c, http.StatusOK, "lawn", p.Address, "/lawns", data)
}
