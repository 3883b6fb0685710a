package recordrule

import (
	"time"

	"thirdcut/internal/civil"
)

// When a sign is placed.
const (
	AtStart          = "at_start"
	AtApplication    = "at_application"
	ImmediatelyAfter = "immediately_after"
	OnDay            = "on_day_of_application"
)

var placings = []string{AtStart, AtApplication, ImmediatelyAfter, OnDay}

// Sign is the sign that an application calls for. Until is the first instant
// at which it may come down; zero when the rule does not say. Conditional is
// not empty where the duty holds only under a local law.
type Sign struct {
	Required    bool
	Placed      string
	From        time.Time
	Until       time.Time
	Remove      string // who takes it down and when, as the rule writes it
	Conditional string
	Text        string
	Citation    string
	Status      string
}

// SignFor returns the sign for an application made on the day; ok is false when
// the rule says nothing of signs. A sign placed at the start stands from then;
// one placed with or after the application is counted from its end, the careful
// reading; hours are elapsed time. Unknown times count from the end of the day.
func SignFor(r Rule, on civil.Date, when When) (s Sign, ok bool) {
	p := r.Posting
	if p == nil {
		return Sign{}, false
	}
	s = Sign{Required: p.LawnSignRequired == nil || *p.LawnSignRequired, Placed: p.Placed, Remove: p.Remove,
		Conditional: p.Conditional, Text: p.Value, Citation: p.Citation, Status: p.Status}
	if !s.Required || on.IsZero() {
		return s, true
	}
	zone := when.Calendar.zone()
	s.From = when.FinishedAt
	if p.Placed == AtStart {
		s.From = when.StartedAt
	}
	if s.From.IsZero() {
		s.From = on.AddDays(1).At(0, zone)
	}
	if p.MinHours != nil {
		s.Until = s.From.Add(time.Duration(*p.MinHours * float64(time.Hour)))
	}
	if p.RemoveNotBefore == "next_day" || p.Remove == "next_day_by_customer" {
		if next := on.AddDays(1).At(0, zone); next.After(s.Until) {
			s.Until = next
		}
	}
	return s, true
}
