package label

import (
	"math"
	"slices"
	"strings"

	"thirdcut/internal/fault"
	"thirdcut/internal/turf"
)

// SignalWords are the words that a label may carry (40 CFR 156.64(a)); a label
// of toxicity category IV needs none.
var SignalWords = []string{"", "CAUTION", "WARNING", "DANGER", "DANGER-POISON"}

// Validate says what in the limits cannot be so, or nil: fault.Invalid
// "label-limits" with one JSON pointer, relative to the limits, for each wrong place.
func (l Limits) Validate() error {
	bad := fault.New(fault.Invalid, "label-limits", "the label's limits contradict themselves or cannot be; compare the places named with the label")
	l.checkNumbers(bad)
	l.checkRates(bad)
	l.checkWeather(bad)
	l.checkWater(bad)
	l.checkSpecies(bad)
	if !slices.Contains(SignalWords, strings.ToUpper(strings.TrimSpace(l.SignalWord))) {
		bad.With("/signal_word", "%q is no signal word; use CAUTION, WARNING, DANGER or DANGER-POISON, or leave it empty", l.SignalWord)
	}
	if len(bad.Fields) == 0 {
		return nil
	}
	return bad
}

// ValidateFor is Validate for a product of that form: limits of a dry product
// may not be stated by volume. The other way round is possible, since a few
// liquids are weighed; Check then wants the amount weighed too.
func (l Limits) ValidateFor(form Form) error {
	err := l.Validate()
	if form != DryForm || !l.RateUnit.Liquid() {
		return err
	}
	bad := fault.As(err)
	if bad == nil {
		bad = fault.New(fault.Invalid, "label-limits", "the label's limits do not fit the product; compare the places named with the label")
	}
	return bad.With("/rate_unit", "%q measures a liquid, but the product is dry; choose a unit of weight", l.RateUnit)
}

// checkNumbers refuses what is negative, absurd or not a number at all. The
// upper ends are ours: past them a figure is a typing error, not a label.
func (l Limits) checkNumbers(bad *fault.Error) {
	for _, n := range []struct {
		pointer string
		v       *float64
		lo, hi  float64
	}{
		{"/rate_min", l.RateMin, 0, 1e6}, {"/rate_max", l.RateMax, 0, 1e6}, {"/year_max", l.YearMax, 0, 1e6},
		{"/rain_free_hours", l.RainFreeHours, 0, 14 * 24}, {"/water_in_in", l.WaterInIn, 0, 5},
		{"/reentry_hours", l.ReentryHours, 0, 60 * 24},
		{"/air_temp_min_f", l.AirTempMinF, -40, 130}, {"/air_temp_max_f", l.AirTempMaxF, -40, 130},
		{"/air_temp_advised_max_f", l.AirTempAdvisedMaxF, -40, 130},
		{"/wind_max_mph", l.WindMaxMPH, 0, 60}, {"/wind_advised_max_mph", l.WindAdvisedMaxMPH, 0, 60},
		{"/water_distance_ft", l.WaterDistanceFt, 0, 5280},
	} {
		if n.v != nil && (math.IsNaN(*n.v) || *n.v < n.lo || *n.v > n.hi) {
			bad.With(n.pointer, "%g is outside %g to %g; check the number and its unit", *n.v, n.lo, n.hi)
		}
	}
	for _, n := range []struct {
		pointer string
		v       *int
		lo, hi  int
	}{
		{"/applications_per_year", l.ApplicationsPerYear, 1, 60}, {"/interval_days", l.IntervalDays, 0, 366},
		{"/mow_wait_before_days", l.MowWaitBeforeDays, 0, 30}, {"/mow_wait_after_days", l.MowWaitAfterDays, 0, 30},
		{"/water_in_days", l.WaterInDays, 0, 60}, {"/seed_wait_days", l.SeedWaitDays, 0, 730},
	} {
		if n.v != nil && (*n.v < n.lo || *n.v > n.hi) {
			bad.With(n.pointer, "%d is outside %d to %d; check the number", *n.v, n.lo, n.hi)
		}
	}
}

func (l Limits) checkRates(bad *fault.Error) {
	stated := l.RateMin != nil || l.RateMax != nil || l.YearMax != nil
	switch {
	case l.RateUnit != "" && !l.RateUnit.Known():
		bad.With("/rate_unit", "%q is no unit of rate that is known here", l.RateUnit)
	case l.RateUnit == "" && stated:
		bad.With("/rate_unit", "the label's rate needs its unit")
	}
	if l.RateMax != nil && *l.RateMax == 0 {
		bad.With("/rate_max", "a highest rate of 0 allows nothing; leave it empty if the label sets none")
	}
	if over(l.RateMin, l.RateMax) {
		bad.With("/rate_min", "the lowest rate %g is over the highest %g", *l.RateMin, *l.RateMax)
	}
	if over(l.RateMax, l.YearMax) {
		bad.With("/year_max", "the year's total %g is under what one application may put down, %g", *l.YearMax, *l.RateMax)
	}
}

func (l Limits) checkWeather(bad *fault.Error) {
	if over(l.AirTempMinF, l.AirTempMaxF) {
		bad.With("/air_temp_min_f", "the lowest temperature %g is over the highest %g", *l.AirTempMinF, *l.AirTempMaxF)
	}
	if over(l.AirTempMinF, l.AirTempAdvisedMaxF) {
		bad.With("/air_temp_advised_max_f", "the advised highest temperature %g is under the lowest %g", *l.AirTempAdvisedMaxF, *l.AirTempMinF)
	}
	if over(l.AirTempAdvisedMaxF, l.AirTempMaxF) {
		bad.With("/air_temp_advised_max_f", "the advised highest temperature %g is over the label's own %g", *l.AirTempAdvisedMaxF, *l.AirTempMaxF)
	}
	if over(l.WindAdvisedMaxMPH, l.WindMaxMPH) {
		bad.With("/wind_advised_max_mph", "the advised highest wind %g is over the label's own %g", *l.WindAdvisedMaxMPH, *l.WindMaxMPH)
	}
}

func (l Limits) checkWater(bad *fault.Error) {
	if l.WaterInDays != nil && l.WaterInIn == nil {
		bad.With("/water_in_in", "the label says within how many days to water in, so give how many inches")
	}
	if l.contradictsItself() {
		bad.With("/rain_free_hours", "no water for %g hours and water in at once or within that time cannot both hold", *l.RainFreeHours)
	}
}

// contradictsItself says whether the label's watering-in would have to happen
// inside its own dry time. Watering in without a number of days means at once.
func (l Limits) contradictsItself() bool {
	return needsDry(l) && needsWater(l) && waterWithinHours(l) <= *l.RainFreeHours
}

func needsDry(l Limits) bool   { return l.RainFreeHours != nil && *l.RainFreeHours > 0 }
func needsWater(l Limits) bool { return l.WaterInIn != nil && *l.WaterInIn > 0 }

// waterWithinHours is how long after the application the watering-in may wait.
func waterWithinHours(l Limits) float64 {
	if l.WaterInDays == nil {
		return 0
	}
	return float64(*l.WaterInDays) * 24
}

func (l Limits) checkSpecies(bad *fault.Error) {
	for _, list := range []struct {
		pointer string
		species []turf.Species
	}{{"/not_on", l.NotOn}, {"/sensitive", l.Sensitive}} {
		for _, s := range list.species {
			if !s.Known() || s == turf.UnknownSpecies {
				bad.With(list.pointer, "%q is no grass of the list", s)
			}
		}
	}
	for _, s := range l.Sensitive {
		if slices.Contains(l.NotOn, s) {
			bad.With("/sensitive", "%s is named both as forbidden and as sensitive", s.Words())
		}
	}
}

// over says whether both are given and the first is more than the second.
func over(a, b *float64) bool { return a != nil && b != nil && *a > *b }
