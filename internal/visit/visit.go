// Package visit holds field work: visits with their tasks, and the close-outs
// in which a technician says what happened.
package visit

import (
	"encoding/json"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/label"
	"thirdcut/internal/turf"
)

// State is where a visit stands.
type State string

// The states.
const (
	Planned   State = "planned"
	Out       State = "out"       // on a crew's route sheet, sent
	Closed    State = "closed"    // done
	Returned  State = "returned"  // could not be done, with a reason
	Withdrawn State = "withdrawn" // the office took it off
)

// Visit is one piece of field work at one property on one date by one crew.
type Visit struct {
	ID             uuid.UUID
	PropertyID     uuid.UUID
	CrewID         uuid.UUID
	Date           civil.Date
	State          State
	Position       int // place in the route sheet, from 1
	Arrive, Leave  civil.TimeOfDay
	DrivingMinutes float64
	Pinned         bool
	Reason         string
	ProposalID     uuid.UUID
	Version        int
	Tasks          []Task
}

// Task is one kind of work on one turf area in a visit.
type Task struct {
	ID             uuid.UUID
	TurfAreaID     uuid.UUID
	Work           turf.Work
	Minutes        float64
	DueOpens       civil.Date
	DueBest        civil.Date
	DueCloses      civil.Date
	Why            string
	ProductID      uuid.UUID
	LabelVersionID uuid.UUID
	Rate           float64
	RateUnit       label.RateUnit
	Target         string
	Treatment      string // which treatment of the year it is, empty for other work
	Findings       []label.Finding
}

// Entry is one report from the field, as it travels in POST /api/v1/field/batch.
// Its id is made where it is written, so that sending it twice is one report.
// Amounts are texts with their unit, as the person entered them.
type Entry struct {
	ID         uuid.UUID `json:"id"`
	Kind       string    `json:"kind"` // close_out
	VisitID    uuid.UUID `json:"visit_id"`
	Outcome    string    `json:"outcome"` // done not_done
	Reason     string    `json:"reason,omitempty"`
	StartedAt  time.Time `json:"started_at,omitzero"`
	FinishedAt time.Time `json:"finished_at"`
	DeviceID   string    `json:"device_id,omitempty"`
	DeviceAt   time.Time `json:"device_at,omitzero"`

	Tasks        []TaskReport  `json:"tasks,omitempty"`
	Observations []Observed    `json:"observations,omitempty"`
	Applications []Application `json:"applications,omitempty"`
}

// TaskReport says what became of one task.
type TaskReport struct {
	TurfAreaID uuid.UUID `json:"turf_area_id"`
	Work       turf.Work `json:"work"`
	Done       bool      `json:"done"`
	MachineID  uuid.UUID `json:"machine_id,omitzero"`
	HeightSet  string    `json:"height_set,omitempty"` // deck or bench setting: 3 in
	Clippings  string    `json:"clippings,omitempty"`  // left bagged
	Note       string    `json:"note,omitempty"`
}

// Observed is one thing measured or seen.
type Observed struct {
	ID         uuid.UUID `json:"id"`
	TurfAreaID uuid.UUID `json:"turf_area_id"`
	Kind       string    `json:"kind"`  // height_before height_left height colour density weeds disease note
	Value      string    `json:"value"` // with its unit: 3 1/4 in; or 1-9; or words
}

// Application is one product put down during the visit, as entered.
type Application = application.Told

// ApplicationLine is what one turf area got, as entered.
type ApplicationLine = application.ToldLine

// Outcome of one entry of a batch.
type Outcome string

// The outcomes.
const (
	Accepted Outcome = "accepted"
	Already  Outcome = "already"
	NeedsYou Outcome = "needs_you"
	TryAgain Outcome = "try_again" // the program failed and kept nothing: send the entry again
)

// Result answers one entry.
type Result struct {
	ID       string          `json:"id"`
	Outcome  Outcome         `json:"outcome"`
	Findings []label.Finding `json:"findings"`
	Marks    []string        `json:"marks,omitempty"`
	Problem  *Trouble        `json:"problem,omitempty"`
}

// Trouble says why an entry needs a person.
type Trouble struct {
	Code   string `json:"code"`
	Detail string `json:"detail"`
}

// RawEntry is an entry before it has been read: what quarantine keeps.
type RawEntry struct {
	ID      string
	Content json.RawMessage
}
