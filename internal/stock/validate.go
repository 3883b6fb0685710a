package stock

import (
	"math"
	"slices"
	"strings"

	"github.com/google/uuid"

	"thirdcut/internal/fault"
)

// MoveKinds lists the kinds of move.
var MoveKinds = []string{"received", "used", "counted", "disposed"}

func orNil(bad *fault.Error) error {
	if len(bad.Fields) == 0 {
		return nil
	}
	return bad
}

// ValidateLot says what is wrong with a lot, or nil: fault.Invalid "lot".
func ValidateLot(l Lot) error {
	bad := fault.New(fault.Invalid, "lot", "the lot cannot be saved as entered; correct the places named")
	if l.ProductID == uuid.Nil {
		bad.With("/product_id", "name the product")
	}
	if strings.TrimSpace(l.Number) == "" {
		bad.With("/number", "give the lot number from the bag or jug")
	}
	if l.ReceivedOn.IsZero() {
		bad.With("/received_on", "give the day on which it came in")
	}
	if !l.ExpiresOn.IsZero() && l.ExpiresOn.Before(l.ReceivedOn) {
		bad.With("/expires_on", "the lot expires on %s, before it came in on %s", l.ExpiresOn, l.ReceivedOn)
	}
	return orNil(bad)
}

// Settle turns what a person entered into the move that is stored for the lot.
// The person enters a positive amount (zero only for a count): received adds it,
// used and disposed take it out, and counted is what is really there, stored as
// the difference to what the books say. Amounts are in the lot's unit.
//
// Faults: Invalid "stock-move"; Rule "not-that-much" when more would be disposed
// of than the books hold. A use may go below zero: it has happened.
func Settle(l Lot, m Move) (Move, error) {
	bad := fault.New(fault.Invalid, "stock-move", "the amount cannot be booked as entered; correct the places named")
	if !slices.Contains(MoveKinds, m.Kind) {
		bad.With("/kind", "%q is none of %s", m.Kind, strings.Join(MoveKinds, ", "))
	}
	if m.Unit != l.LeftUnit {
		bad.With("/unit", "lot %s is kept in %s, not in %s", l.Number, l.LeftUnit, m.Unit)
	}
	if math.IsNaN(m.Amount) || m.Amount < 0 || m.Amount > 1e7 || (m.Amount == 0 && m.Kind != "counted") {
		bad.With("/amount", "%g is no amount to book; enter how much, above zero", m.Amount)
	}
	if strings.TrimSpace(m.Entered) == "" {
		bad.With("/entered", "keep the amount with its unit as it was entered")
	}
	if err := orNil(bad); err != nil {
		return m, err
	}
	switch m.Kind {
	case "disposed":
		if m.Amount > l.Left+1e-9 {
			return m, fault.New(fault.Rule, "not-that-much",
				"lot %s holds %.6g %s, less than %.6g; count the lot first, then book what goes", l.Number, l.Left, l.LeftUnit, m.Amount)
		}
		m.Amount = -m.Amount
	case "used":
		m.Amount = -m.Amount
	case "counted":
		m.Amount -= l.Left
	}
	return m, nil
}
