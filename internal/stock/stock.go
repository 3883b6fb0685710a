// Package stock holds the lots of product in the shed and what went in and out.
package stock

import (
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
)

// Lot is one batch of one product.
type Lot struct {
	ID         uuid.UUID
	ProductID  uuid.UUID
	Number     string
	ReceivedOn civil.Date
	ExpiresOn  civil.Date
	Left       float64 // sum of moves, in LeftUnit
	LeftUnit   string  // kg L
}

// Move is an amount that came in or went out; negative takes out.
type Move struct {
	ID       uuid.UUID
	LotID    uuid.UUID
	Kind     string // received used counted disposed
	Amount   float64
	Unit     string // kg L
	Entered  string // as a person entered it: "4.5 oz"
	RecordID uuid.UUID
	At       time.Time
	ByPerson uuid.UUID
}
