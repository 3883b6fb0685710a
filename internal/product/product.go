// Package product holds what goes on lawns and the label versions that bind its use.
package product

import (
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/label"
)

// Product is one thing in a bag or a jug.
type Product struct {
	ID                   uuid.UUID
	Name                 string // as the label shows it
	Kind                 string // pesticide fertiliser both
	Form                 string // dry liquid
	EPARegNo             string
	ActiveIngredient     string
	ConcentrationPercent *float64
	Formulation          string
	RestrictedUse        bool
	NPercent             *float64
	P2O5Percent          *float64
	K2OPercent           *float64
	NSlowPercent         *float64 // share of the N that is slow release, percent
	FePercent            *float64
	RetiredOn            civil.Date
	Version              int
	Labels               []LabelVersion
}

// Pesticide says whether pesticide rules bind the product.
func (p Product) Pesticide() bool { return p.Kind != "fertiliser" }

// Feeds says whether fertiliser rules bind the product.
func (p Product) Feeds() bool { return p.Kind != "pesticide" }

// LabelVersion is the limits of one use pattern as a licensed person read them
// off one revision of the label. It is never changed, only followed by another.
type LabelVersion struct {
	ID          uuid.UUID
	ProductID   uuid.UUID
	Revision    string
	Pattern     string
	InForceFrom civil.Date
	Limits      label.Limits
	EnteredBy   uuid.UUID
	EnteredAt   time.Time
	ConfirmedBy uuid.UUID
	ConfirmedAt time.Time
}

// Confirmed says whether a licensed person has compared the entered limits with
// the label. A version that nobody has confirmed binds nothing yet.
func (v LabelVersion) Confirmed() bool { return v.ConfirmedBy != uuid.Nil }

// Solo says whether the person who confirmed the version also entered it, which
// only a company with one licensed person does; screens mark it.
func (v LabelVersion) Solo() bool { return v.Confirmed() && v.ConfirmedBy == v.EnteredBy }

// LabelOn returns the confirmed version of the pattern in force on the day; an
// empty pattern takes the first pattern that the product has.
func (p Product) LabelOn(pattern string, d civil.Date) (LabelVersion, bool) {
	var best LabelVersion
	found := false
	for _, v := range p.Labels {
		if !v.Confirmed() || d.Before(v.InForceFrom) || (pattern != "" && v.Pattern != pattern) {
			continue
		}
		if !found || v.InForceFrom.After(best.InForceFrom) {
			best, found = v, true
		}
	}
	return best, found
}
