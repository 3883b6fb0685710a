// Package plan turns due windows into a proposal of crews' days: which work, on
// which day, by which crew, in which order. It is pure: it stores nothing, and
// the same input with the same seed gives the same proposal.
package plan

import (
	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/route"
	"thirdcut/internal/turf"
)

// Input is everything that a plan is made from.
type Input struct {
	From, To   civil.Date // both days are planned
	Crews      []Crew
	Items      []Item
	Properties map[uuid.UUID]Property
	Kept       []Kept
	// Previous is where the last plan that people were told about has an item;
	// moving it costs MovedDayMinutes or MovedCrewMinutes.
	Previous map[string]Previous
	// ArrivalMinutes are spent once a visit on parking, the gate and unloading,
	// however many works the visit has. Zero is none.
	ArrivalMinutes float64
	// Drive tells the seconds from one point to another; nil takes
	// route.DriveSeconds. It must be a pure function.
	Drive      func(from, to route.Point) int
	Seed       uint64
	Iterations int // of the route engine; zero or less takes one that suits the size
}

// Crew is a team with its days, its abilities and what stands on its truck.
type Crew struct {
	ID                            uuid.UUID
	Name                          string
	DepotLatitude, DepotLongitude *float64 // nil: the depot is not on the map
	ShiftFrom, ShiftTo            civil.TimeOfDay
	MaxOvertimeMinutes            int
	WorkDays                      []int // ISO weekdays, Monday is 1
	DaysOff                       []civil.Date
	Abilities                     []turf.Work
	Machines                      []Machine
	Licenses                      []License
}

// License says on which days a crew has somebody who may answer for an
// application. Both days count. Kind is as in the people's licences ("pesticide",
// "fertiliser").
type License struct {
	Kind     string
	From, To civil.Date
}

// Machine is what a crew has with it. Kind is reel, rotary, sprayer or spreader.
type Machine struct {
	Kind                     string
	HeightMinIn, HeightMaxIn float64 // of mowers, inches
	WidthIn                  float64
}

// Property is where work is done.
type Property struct {
	Name                   string
	Latitude, Longitude    *float64         // nil: not placed on the map
	AllowedFrom, AllowedTo *civil.TimeOfDay // nil: no limit; the whole visit lies between them
	ClosedWeekdays         []int            // ISO weekdays
}

// Item is one piece of work that is due.
type Item struct {
	ID              string // the caller's key; unique in an input
	PropertyID      uuid.UUID
	AreaIDs         []uuid.UUID
	Work            turf.Work
	Window          turf.Window
	ServiceMinutes  float64
	CuttingHeightIn float64    // for cutting work, inches; zero: any mower will do
	Mower           turf.Mower // for cutting work; empty: either kind
	NeedsLicense    string     // kind of licence; empty: none
	Refusal         string     // a finding that forbids planning it, in words; empty: none
	// After is the window of the next time, given the day of this one; nil plans
	// the work once. It must be a pure function.
	After func(done civil.Date) turf.Window
}

// Kept is a visit that may not be moved: it is out, or a person pinned it. Its
// time is spent in the crew's day, and its areas and works are not planned again
// in the same window.
type Kept struct {
	VisitID             uuid.UUID
	PropertyID          uuid.UUID
	CrewID              uuid.UUID
	Date                civil.Date
	Position            int // 1 is the first stop
	Arrive              civil.TimeOfDay
	Minutes             float64
	Latitude, Longitude *float64 // nil: the property's
	Tasks               []Task
}

// Previous is where an item stood in the plan that people were told about.
type Previous struct {
	CrewID   uuid.UUID
	Date     civil.Date
	Promised bool // the customer was told the day
}

// Proposal is a plan that waits for somebody's word.
type Proposal struct {
	From           civil.Date `json:"from"`
	To             civil.Date `json:"to"`
	Visits         []Visit    `json:"visits"` // by date, crew and position
	Unplaced       []Unplaced `json:"unplaced"`
	CrewDays       []CrewDay  `json:"crew_days"`
	DrivingMinutes float64    `json:"driving_minutes"`
	WorkingMinutes float64    `json:"working_minutes"`
	Problems       []Problem  `json:"problems,omitempty"`
}

// Visit is one stop of a crew's day.
type Visit struct {
	KeptID         uuid.UUID       `json:"kept_id,omitzero"` // the visit that was kept; zero: a new one
	PropertyID     uuid.UUID       `json:"property_id"`
	Date           civil.Date      `json:"date"`
	CrewID         uuid.UUID       `json:"crew_id"`
	Position       int             `json:"position"` // from 1
	Arrive         civil.TimeOfDay `json:"arrive"`
	Leave          civil.TimeOfDay `json:"leave"`
	DrivingMinutes float64         `json:"driving_minutes"` // to get there
	Tasks          []Task          `json:"tasks"`
}

// Task is one work on one turf area within a visit.
type Task struct {
	ItemID  string      `json:"item_id"`
	AreaID  uuid.UUID   `json:"area_id,omitzero"`
	Work    turf.Work   `json:"work"`
	Minutes float64     `json:"minutes"`
	Window  turf.Window `json:"window"`
	// Round is 1 for the item's own window, 2 for the next time within the same
	// plan, and so on.
	Round int `json:"round"`
}

// Unplaced is work that the plan could not place, with its cause.
type Unplaced struct {
	ItemID     string     `json:"item_id"`
	PropertyID uuid.UUID  `json:"property_id"`
	Work       turf.Work  `json:"work"`
	Round      int        `json:"round"`
	Opens      civil.Date `json:"opens"`
	Closes     civil.Date `json:"closes"`
	Code       string     `json:"code"` // one of the Cause constants
	Why        string     `json:"why"`  // one plain sentence
}

// The causes for which work stays unplaced.
const (
	CauseNotOnMap  = "not-on-map"
	CauseNoAbility = "no-ability"
	CauseNoMachine = "no-machine"
	CauseNoLicense = "no-licence"
	CauseClosed    = "closed"
	CauseStruck    = "struck"
	CauseNoWindow  = "no-window"
	CauseNotDue    = "not-due" // it opens, or is best, after the last day planned
	CauseOverdue   = "overdue" // its window closed before the first day planned
	CauseRefused   = "refused"
	CauseNoCrew    = "no-crew"
	CauseTooLong   = "too-long"
	CauseFull      = "full"
	CauseBadInput  = "bad-input"
)

// CrewDay sums up one crew's day.
type CrewDay struct {
	CrewID          uuid.UUID       `json:"crew_id"`
	Date            civil.Date      `json:"date"`
	Start           civil.TimeOfDay `json:"start"` // leaves the depot
	End             civil.TimeOfDay `json:"end"`   // is back
	Stops           int             `json:"stops"`
	DrivingMinutes  float64         `json:"driving_minutes"` // with the way back
	WorkingMinutes  float64         `json:"working_minutes"`
	WaitingMinutes  float64         `json:"waiting_minutes"`
	OvertimeMinutes float64         `json:"overtime_minutes"`
}

// Problem is something wrong with the input that the plan went round.
type Problem struct {
	Code string `json:"code"`
	Why  string `json:"why"`
}

// Violation is one limit that a proposal breaks. The numbers compared are in Why.
type Violation struct {
	Code    string     `json:"code"`
	CrewID  uuid.UUID  `json:"crew_id,omitzero"`
	Date    civil.Date `json:"date,omitzero"`
	ItemID  string     `json:"item_id,omitempty"`
	KeptID  uuid.UUID  `json:"kept_id,omitzero"`
	Found   float64    `json:"found"`
	Limit   float64    `json:"limit"`
	Why     string     `json:"why"`
	VisitNo int        `json:"visit_no"` // index into the proposal's visits, -1 where it is about none
}
