package api

import (
	"encoding/json"
	"fmt"
	"net/http"
	"sort"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/visit"
)

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
					if _, err := unit.ParseLength(text, 0); err != nil {
						return fault.New(fault.Invalid, "no-unit", "a height cannot be read: %v", err)
					}
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
		for _, text := range []string{line.Amount, line.AreaTreated} {
			if e, err := unit.ParseEntered(text); text != "" && (err != nil || e.Unit == "") {
				return fault.New(fault.Invalid, "no-unit", "%q is no amount with its unit; write it such as 4.5 oz, and an area such as 5,200 sq ft", text)
			}
		}
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
