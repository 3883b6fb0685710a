package visit

import (
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
)

// Cut is what one visit left on record of the grass of one turf area: a cut, or
// a measured height without one. Heights are inches; nil: nobody measured it.
type Cut struct {
	TurfAreaID uuid.UUID
	On         civil.Date // business day of the work
	Mowed      bool       // false: somebody only measured
	FirstCut   bool       // the low cut before green-up
	BeforeIn   *float64   // standing height found, before the cut where there was one
	LeftIn     *float64   // height measured after the cut
	SetIn      *float64   // height that the machine was set to
	At         time.Time  // end of the visit
}

// Left is the height that the cut left: measured, or else what the machine was
// set to. ok is false when neither is on record, and where nothing was cut.
func (c Cut) Left() (inches float64, ok bool) {
	switch {
	case !c.Mowed:
		return 0, false
	case c.LeftIn != nil:
		return *c.LeftIn, true
	case c.SetIn != nil:
		return *c.SetIn, true
	}
	return 0, false
}
