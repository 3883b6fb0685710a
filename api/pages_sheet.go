package api

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"sort"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/postgres"
	"thirdcut/internal/product"
	"thirdcut/internal/property"
	"thirdcut/internal/schedule"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/visit"
)

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
	wear := map[uuid.UUID]string{}
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
				wear[t.ProductID] = protection(products[t.ProductID], t.LabelVersionID)
			}
		}
	}
	var lines []string
	for id, n := range sums {
		line := fmt.Sprintf("%s: %s %s, plus label and safety data sheet", products[id].Name, strconv.FormatFloat(n, 'f', 1, 64), units[id])
		if wear[id] != "" {
			line += "; wear " + wear[id]
		}
		lines = append(lines, line)
	}
	sort.Strings(lines)
	return lines
}

// protection is what the planned label version says must be worn.
func protection(p product.Product, labelVersionID uuid.UUID) string {
	for _, v := range p.Labels {
		if v.ID == labelVersionID {
			return v.Limits.ProtectiveEquipment
		}
	}
	return ""
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
