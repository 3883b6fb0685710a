package scenario

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"

	"thirdcut/internal/application"
	"thirdcut/internal/visit"
)

// Send hands one report in through the field's door and wants it accepted. The
// program asks to send again when the database was busy; it is sent three times.
func Send(ctx context.Context, s visit.Service, who visit.Who, e visit.Entry) error {
	raw, err := json.Marshal(e)
	if err != nil {
		return fmt.Errorf("write the report: %w", err)
	}
	var r visit.Result
	for range 3 {
		if r = s.Batch(ctx, who, []json.RawMessage{raw})[0]; r.Outcome != visit.TryAgain {
			break
		}
	}
	if r.Outcome != visit.Accepted {
		return fmt.Errorf("the report of visit %s was not accepted: %s, %+v", e.VisitID, r.Outcome, r.Problem)
	}
	return nil
}

// mishaps are what offices meet: a second report, one that needs a person, and
// a record that is corrected.
func (p *past) mishaps(stages []stage, visits []visit.Visit) error {
	seen := 0
	for i, s := range stages {
		if len(visits[i].Tasks) == 0 || !visits[i].Tasks[0].Work.Treats() {
			continue
		}
		if seen++; seen <= secondAt {
			continue
		}
		return p.twice(s, visits[i])
	}
	return nil
}

func (p *past) twice(s stage, v visit.Visit) error {
	again, err := p.finish(visit.Entry{Kind: "close_out", Outcome: "done", DeviceID: "phone"}, v)
	if err != nil {
		return err
	}
	if err := Send(p.ctx, p.Visits, p.who(s.crew), again); err != nil {
		return err
	}
	lost := again
	if lost, err = p.finish(lost, v); err != nil {
		return err
	}
	stranger := uuid.NewSHA1(v.ID, []byte("an area that is not on file"))
	lost.Tasks = []visit.TaskReport{{TurfAreaID: stranger, Work: v.Tasks[0].Work, Done: true}}
	raw, err := json.Marshal(lost)
	if err != nil {
		return err
	}
	if r := p.Visits.Batch(p.ctx, p.who(s.crew), []json.RawMessage{raw})[0]; r.Outcome != visit.NeedsYou {
		return fmt.Errorf("a report of an unknown area was %s", r.Outcome)
	}
	return p.correct()
}

// correct gives one record the wind that was forgotten.
func (p *past) correct() error {
	if correctAt >= len(p.records) {
		return nil
	}
	_, err := p.DB.CorrectRecord(p.ctx, p.records[correctAt], func(r *application.Record) error {
		mph := 4.0
		r.WeatherStart.WindMPH, r.WeatherStart.WindEntered, r.WeatherStart.WindDirection, r.WeatherStart.WindOrigin = &mph, "4 mph", "W", "measured"
		return nil
	}, "The wind was on the crew's paper slip.", p.made.Office.ID)
	return err
}
