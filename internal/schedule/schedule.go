// Package schedule refreshes due windows, asks for plans, stores what was
// decided and makes the route sheets.
package schedule

import (
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/turf"
)

// AreaWindow is the due window of one turf area and kind of work as stored.
type AreaWindow struct {
	TurfAreaID uuid.UUID
	Window     turf.Window
	ComputedAt time.Time
}

// ProposalState is where a proposal stands.
type ProposalState string

// The states.
const (
	Asked     ProposalState = "asked"
	Computing ProposalState = "computing"
	Proposed  ProposalState = "proposed"
	Accepted  ProposalState = "accepted"
	Dropped   ProposalState = "dropped"
	Failed    ProposalState = "failed"
)

// Proposal is a plan that waits for the office's word.
type Proposal struct {
	ID         uuid.UUID
	From, To   civil.Date
	State      ProposalState
	AskedBy    uuid.UUID
	AskedAt    time.Time
	ComputedAt time.Time
	Basis      string // fingerprint of the visits and windows it was made from
	Plan       Document
	Problem    string
	Version    int
	DecidedBy  uuid.UUID
	DecidedAt  time.Time
}

// RouteSheet is one crew's day.
type RouteSheet struct {
	CrewID         uuid.UUID
	Date           civil.Date
	Version        int
	SentAt         time.Time
	DrivingMinutes float64
	WorkingMinutes float64
	Start, End     civil.TimeOfDay
	ProposalID     uuid.UUID
}
