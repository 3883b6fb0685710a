package plan

import (
	"math"

	"thirdcut/internal/civil"
	"thirdcut/internal/turf"
)

// The prices of a choice, in minutes, so that they can be held against driving. All are ours.
const (
	// EarlyDayShare is the part of a visit that one day before the best day
	// wastes: a visit a day early brings all later ones a day forward, about a
	// tenth of a visit at the usual cadence of seven to ten days.
	EarlyDayShare = 0.10
	// SecondTripMinutes is the way that a second cut would cost beside its work.
	SecondTripMinutes = 20.0
	// MovedDayMinutes is paid for another day than people were told of, twice
	// that when the customer was promised it.
	MovedDayMinutes = 20.0
	// MovedCrewMinutes is paid for another crew on the same day.
	MovedCrewMinutes = 5.0
	// SharedVisitMinutes is what one visit fewer is worth when works are brought
	// together: the way there between neighbours.
	SharedVisitMinutes = 8.0
)

// The chances that stand for a window without chances of its own: those by which
// due windows are drawn (best: 10 %, closes: 50 %).
const (
	chanceAtBest  = 0.10
	chanceAtClose = 0.50
)

// dayMinutes is what doing the work on the day costs beyond the best day.
func dayMinutes(w turf.Window, d civil.Date, service float64) float64 {
	early := float64(max(0, w.Best.Since(d))) * EarlyDayShare * service
	risk := math.Max(0, chanceOn(w, d)-chanceOn(w, w.Best))
	return early + risk*(service+SecondTripMinutes)
}

// chanceOn is the chance of having to take off over a third by the end of the
// day: the window's own, else a line through best and closes.
func chanceOn(w turf.Window, d civil.Date) float64 {
	for _, c := range w.Chances {
		if c.Date == d && c.OverThird >= 0 && c.OverThird <= 1 {
			return c.OverThird
		}
	}
	late := d.Since(w.Best)
	if late <= 0 {
		return chanceAtBest
	}
	share := float64(late) / float64(max(late, w.Closes.Since(w.Best)))
	return chanceAtBest + (chanceAtClose-chanceAtBest)*share
}

// movedMinutes is what a choice costs against the plan that people know.
func movedMinutes(p Previous, known bool, c Crew, d civil.Date) float64 {
	switch {
	case !known:
		return 0
	case p.Date != d && p.Promised:
		return 2 * MovedDayMinutes
	case p.Date != d:
		return MovedDayMinutes
	case p.CrewID != c.ID:
		return MovedCrewMinutes
	}
	return 0
}
