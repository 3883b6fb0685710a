package api

import (
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/postgres"
	"thirdcut/internal/recordrule"
)

func (s *Server) recordPages() {
	s.engine.GET("/records", s.signedIn(account.SeeRecords, s.recordsPage))
	s.engine.GET("/records/gaps", s.signedIn(account.SeeRecords, s.gapsPage))
	s.engine.GET("/records/:id", s.signedIn(account.SeeOwnRecords, s.recordPage))
	s.engine.GET("/field/waiting", s.signedIn(account.SettleQuarantine, s.waitingPage))
	s.engine.POST("/field/waiting/:number/settle", s.signedIn(account.SettleQuarantine, s.waitingSettled))
}

type recordLine struct {
	application.Record
	Superseded bool
}

type recordsData struct {
	From, To  civil.Date
	MayExport bool
	Records   []recordLine
	More      string
}

func (s *Server) recordsPage(c *gin.Context) error {
	ctx := c.Request.Context()
	from, to, err := s.days(ctx, c.Query("from"), c.Query("to"))
	if err != nil {
		return err
	}
	p, err := s.DB.RecordsPage(ctx, postgres.RecordQuery{PageQuery: postgres.PageQuery{After: c.Query("after"), Limit: 100}, From: from, To: to, Superseded: true})
	if err != nil {
		return err
	}
	who, _ := accountFrom(ctx)
	data := recordsData{From: from, To: to, MayExport: account.May(who, account.ExportRecords)}
	for _, r := range p.Items {
		data.Records = append(data.Records, recordLine{r.Record, r.SupersededBy != uuid.Nil})
	}
	if p.Next != "" {
		v := c.Request.URL.Query()
		v.Set("after", p.Next)
		data.More = "/records?" + v.Encode()
	}
	return s.show(c, http.StatusOK, "records", "Application records", "/records", data)
}

type recordData struct {
	Record         application.Record
	RecordedAt     time.Time
	Hash, PrevHash string
	SupersededBy   string
	Facts          [][2]string
	Gaps           []string
}

func (s *Server) recordPage(c *gin.Context) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	ctx := c.Request.Context()
	who, _ := accountFrom(ctx)
	r, err := s.recordFor(ctx, who, id)
	if err != nil {
		return err
	}
	settings, err := s.DB.Company(ctx)
	if err != nil {
		return err
	}
	data := recordData{Record: r.Record, RecordedAt: r.RecordedAt.In(settings.Zone), Hash: r.Hash.String(), PrevHash: r.PrevHash.String(), Facts: recordFacts(r.Record, settings.Zone)}
	if r.SupersededBy != uuid.Nil {
		data.SupersededBy = r.SupersededBy.String()
	}
	gaps, err := s.DB.Gaps(ctx, recordrule.All(), postgres.GapQuery{RecordID: id, Limit: 100})
	if err != nil {
		return err
	}
	for _, g := range gaps.Gaps {
		data.Gaps = append(data.Gaps, g.Jurisdiction+": "+g.Requirement+" ("+g.Citation+"), by "+dueWords(g))
	}
	return s.show(c, http.StatusOK, "record", "Record "+strconv.FormatInt(r.Seq, 10), "/records", data)
}

func dueWords(g application.Gap) string {
	if g.Due.IsZero() {
		return "no set time"
	}
	return g.Due.Words
}

func recordFacts(r application.Record, zone *time.Location) [][2]string {
	at := func(t time.Time) string {
		if t.IsZero() {
			return "not told"
		}
		return t.In(zone).Format("15:04")
	}
	facts := [][2]string{
		{"Product", r.ProductName}, {"EPA registration number", dash(r.EPARegNo)}, {"Active ingredient", dash(r.ActiveIngredient)},
		{"Restricted use", yesNo(r.RestrictedUse)}, {"Label", dash(strings.Join(nonEmpty(r.LabelPattern, "revision "+r.LabelRevision), ", "))},
		{"Applied", r.AppliedOn.Words() + ", " + at(r.StartedAt) + " to " + at(r.FinishedAt)},
		{"Amount of product", r.Total.Entered}, {"Rate", dash(r.Rate)}, {"Mix", dash(r.MixRate)}, {"Target", dash(r.Target)},
		{"Method", dash(r.Method)}, {"Equipment", dash(r.Equipment)},
		{"Applied by", whoWords(r.Applicator)}, {"Responsible", whoWords(r.Supervisor)},
		{"Air temperature", withUnit(r.WeatherStart.AirTempF, "F")}, {"Wind", withUnit(r.WeatherStart.WindMPH, "mph") + originWords(r.WeatherStart.WindOrigin) + fromWords(r.WeatherStart.WindDirection)},
		{"Re-entry", dash(r.ReentryText)}, {"Sign put up", yesNo(r.SignPosted)}, {"Notice given", yesNo(r.NoticeGiven)},
		{"Site", strings.Join(nonEmpty(r.SiteAddress, r.Municipality, r.County, r.State+" "+r.ZIPCode), ", ")},
		{"Customer", strings.Join(nonEmpty(r.CustomerName, r.CustomerPhone), ", ")}, {"Company", strings.Join(nonEmpty(r.BusinessName, r.BusinessLicense), ", ")},
	}
	if !r.ReentryAt.IsZero() {
		facts = append(facts, [2]string{"Re-entry from", r.ReentryAt.In(zone).Format("Mon 2 Jan 2006, 15:04")})
	}
	for _, l := range r.Lots {
		facts = append(facts, [2]string{"Lot", l.Number})
	}
	return facts
}

func whoWords(w application.Who) string {
	if w.Name == "" {
		return "–"
	}
	if w.License == "" {
		return w.Name + ", no licence on file"
	}
	return w.Name + ", licence " + w.License
}

func withUnit(v *float64, unit string) string {
	if v == nil {
		return "not measured"
	}
	return plainNumber(*v) + " " + unit
}

func originWords(origin string) string {
	if origin == application.FromStation {
		return " (day's mean of the weather station, not measured at the site)"
	}
	return ""
}

func fromWords(direction string) string {
	if direction == "" {
		return ""
	}
	return ", from " + direction
}

type gapLine struct {
	application.Gap
	Site, Rule, Element, DueBy string
}

type gapsData struct {
	Gaps     []gapLine
	Total    int
	Days     int
	Unjudged []string // rules of which nothing can be said
}

func (s *Server) gapsPage(c *gin.Context) error {
	ctx := c.Request.Context()
	_, clock, err := s.now(ctx)
	if err != nil {
		return err
	}
	const back = 120
	gaps, err := s.DB.Gaps(ctx, recordrule.All(), postgres.GapQuery{From: clock.Today().AddDays(-back), To: clock.Today(), Limit: 500})
	if err != nil {
		return err
	}
	data := gapsData{Days: back, Total: gaps.Total, Unjudged: gaps.Unjudged}
	for _, g := range gaps.Gaps {
		data.Gaps = append(data.Gaps, gapLine{g, g.SiteAddress, g.Jurisdiction, sentence(g.Requirement), dueWords(g)})
	}
	return s.show(c, http.StatusOK, "gaps", "What rules still want", "/records", data)
}

type waitingLine struct {
	ID              int64
	Reason, Content string
	Person          string
	ReceivedAt      time.Time
}

type markedLine struct {
	FinishedAt      time.Time
	Address, Person string
	Marks           []string
}

type waitingData struct {
	Entries []waitingLine
	Marked  []markedLine
}

func (s *Server) waitingPage(c *gin.Context) error {
	ctx := c.Request.Context()
	settings, err := s.DB.Company(ctx)
	if err != nil {
		return err
	}
	open, err := s.DB.QuarantineOpen(ctx)
	if err != nil {
		return err
	}
	people, err := s.DB.People(ctx)
	if err != nil {
		return err
	}
	names := map[uuid.UUID]string{}
	for _, p := range people {
		names[p.ID] = p.Name
	}
	var data waitingData
	for _, q := range open {
		data.Entries = append(data.Entries, waitingLine{q.ID, sentence(q.Reason), q.Content, dash(names[q.SentBy]), q.ReceivedAt.In(settings.Zone)})
	}
	marked, err := s.DB.MarkedReports(ctx, postgres.PageQuery{Limit: 50})
	if err != nil {
		return err
	}
	ids := make([]uuid.UUID, len(marked.Items))
	for i, m := range marked.Items {
		ids[i] = m.PropertyID
	}
	places, err := s.DB.Properties(ctx, postgres.PropertyFilter{IDs: ids, WithoutOutlines: true, Retired: true})
	if err != nil {
		return err
	}
	addresses := map[uuid.UUID]string{}
	for _, p := range places {
		addresses[p.ID] = p.Address
	}
	for _, m := range marked.Items {
		data.Marked = append(data.Marked, markedLine{m.FinishedAt.In(settings.Zone), dash(addresses[m.PropertyID]), dash(names[m.ReportedBy]), markWords(m.Marks)})
	}
	return s.show(c, http.StatusOK, "waiting", "From the field", "/field/waiting", data)
}

func (s *Server) waitingSettled(c *gin.Context) error {
	n, err := strconv.ParseInt(c.Param("number"), 10, 64)
	if err != nil {
		return fault.New(fault.NotFound, "no-such-page", "there is no such report")
	}
	how := strings.TrimSpace(c.PostForm("how"))
	if how == "" {
		return fault.New(fault.Invalid, "no-how", "say how the report was settled")
	}
	who, _ := accountFrom(c.Request.Context())
	if err := s.DB.SettleQuarantine(c.Request.Context(), n, how, who.PersonID); err != nil {
		return err
	}
	return s.say(c, "/field/waiting", "Settled. The report itself is kept.")
}

// markWords are a report's marks as a person reads them.
func markWords(marks []string) []string {
	words := make([]string, len(marks))
	for i, m := range marks {
		words[i] = strings.ReplaceAll(m, "_", " ")
	}
	return words
}
