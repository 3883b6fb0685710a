// Package mowing computes when a turf area is due to be cut so that no cut takes
// more than one third of the leaf, and learns how fast each area really grows.
package mowing

import (
	"math"

	"thirdcut/internal/fault"
	"thirdcut/internal/unit"
)

// Third is the share of the leaf that one cut may take. Source: T-04.
const Third = 1.0 / 3

// triggerRatio is how high grass may stand for a cut to a height to take just a third.
const triggerRatio = 1.5

// HighestReading is the highest grass that is believed on a lawn; more is a slip. Ours.
const HighestReading = 24 * unit.Inch

func positive(l unit.Length) bool { return l > 0 && !math.IsInf(float64(l), 0) }

func badHeight(what string, h unit.Length) *fault.Error {
	return fault.New(fault.Rule, "bad-height", "The %s of %.4g in cannot be; give a height above 0.", what, h.Inches())
}

// TriggerHeight is the standing height at which a cut to that height takes one
// third: 1.5 times the height. Source: T-03, T-05.
func TriggerHeight(height unit.Length) unit.Length { return height.Times(triggerRatio) }

// ShareRemoved is the share of the standing height that a cut takes; 0 when the
// cut is not below the grass or the standing height is not positive. Source: T-04.
func ShareRemoved(standing, cut unit.Length) float64 {
	if !positive(standing) || !(cut < standing) {
		return 0
	}
	return 1 - math.Max(0, cut.Ratio(standing))
}

// BreaksThird says whether a cut takes more than one third; exactly one third
// does not, whatever the last digits say. Source: T-04.
func BreaksThird(standing, cut unit.Length) bool {
	return !unit.AtMost(ShareRemoved(standing, cut), Third)
}

// LowestCut is the lowest height to which grass may be cut at once: two thirds
// of what stands. Source: T-04.
func LowestCut(standing unit.Length) unit.Length { return standing.Times(1 - Third) }

// CutsToHeight is how many one-third cuts bring standing grass to a height when
// nothing grows in between; 0 when it stands no higher.
//
// Errors: fault.Rule "bad-height" when a height is not above 0. Source: T-04.
func CutsToHeight(standing, height unit.Length) (int, error) {
	if !positive(standing) {
		return 0, badHeight("standing height", standing)
	}
	if !positive(height) {
		return 0, badHeight("cutting height", height)
	}
	n := 0
	for !unit.AtMost(standing, height) {
		standing = LowestCut(standing)
		n++
	}
	return n, nil
}

// Interval returns how many days turf cut to height may grow before the next
// cut would remove more than one third of its leaf: the canopy may reach
// height/(1-1/3), so half of height may grow on. Not rounded to whole days.
//
// Errors: fault.Rule "bad-height" or "no-growth" when height or growth is not
// above 0. Source: T-04; the arithmetic is checked against T-06.
func Interval(height unit.Length, growth unit.Growth) (days float64, err error) {
	return DaysToThird(height, height, growth)
}

// DaysToThird is Interval for grass that stands at some height now; 0 when it
// is past one third already. Errors as Interval.
func DaysToThird(standing, height unit.Length, growth unit.Growth) (days float64, err error) {
	if !positive(height) {
		return 0, badHeight("cutting height", height)
	}
	if !positive(standing) {
		return 0, badHeight("standing height", standing)
	}
	if !(growth > 0) || math.IsInf(float64(growth), 0) {
		return 0, fault.New(fault.Rule, "no-growth",
			"Grass that grows %.4g mm a day has no mowing interval; give a growth above 0.", growth.MillimetresPerDay())
	}
	return math.Max(0, growth.DaysFor(TriggerHeight(height)-standing)), nil
}

// LowestHeight is the lowest cutting height that a gap of that many days can
// keep: twice what grows in it. 0 where nothing grows. Source: arithmetic of the
// one-third rule.
func LowestHeight(rate unit.Growth, days float64) unit.Length {
	if !(rate > 0) || !(days > 0) {
		return 0
	}
	return rate.InDays(days).Times(2)
}

// Keeps says whether a gap of that many days keeps the one-third rule at a
// height and rate of growth.
func Keeps(height unit.Length, rate unit.Growth, days float64) bool {
	return unit.AtMost(LowestHeight(rate, days), height)
}

// RulerStep is how finely a height is to be read: 1/4 in from 2 in up, 1/8 in
// below that, 1/16 in below 1 in. Source: ours; a quarter inch is two thirds of
// the whole allowance at 3/4 in.
func RulerStep(height unit.Length) unit.Length {
	switch {
	case height < 1*unit.Inch:
		return unit.Inch.Times(1.0 / 16)
	case height < 2*unit.Inch:
		return unit.Inch.Times(1.0 / 8)
	}
	return unit.Inch.Times(1.0 / 4)
}

// LeftOffset is what to add to a machine's setting on an area to get the height
// it really leaves: the mean of measured less set. Zero for no pairs; settings
// and measured must be of equal length, else the surplus is not used. Source:
// common practice (wheels sink; bench and true height differ by 1/16-1/4 in).
func LeftOffset(settings, measured []unit.Length) unit.Length {
	n := min(len(settings), len(measured))
	if n == 0 {
		return 0
	}
	var sum unit.Length
	for i := range n {
		sum += measured[i] - settings[i]
	}
	return sum / unit.Length(n)
}
