package api

import (
	"context"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
	"thirdcut/internal/label"
	"thirdcut/internal/product"
	"thirdcut/internal/property"
	"thirdcut/internal/stock"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/visit"
)

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
	Reported      bool
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
	data := visitData{Reported: v.State == visit.Closed || v.State == visit.Returned, ID: v.ID, State: string(v.State), Mark: stateMark(v.State), Date: v.Date, Arrive: v.Arrive, Leave: v.Leave, Crew: k.Name,
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
