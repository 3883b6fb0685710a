package label

import (
	"fmt"
	"time"
)

// Part is one product of several that go on one area in one visit.
type Part struct {
	Product string
	Limits  Limits
}

// CheckTogether finds what only shows when several products go on one area in
// one visit: one that must be watered in and one that must stay dry, in the same hours.
func CheckTogether(parts []Part) []Finding {
	var found []Finding
	for _, wet := range parts {
		for _, dry := range parts {
			if !needsWater(wet.Limits) || !needsDry(dry.Limits) || wet.Product == dry.Product ||
				waterWithinHours(wet.Limits) > *dry.Limits.RainFreeHours {
				continue
			}
			found = append(found, Finding{Severity: Refuse, Code: "water-contradiction",
				Text: fmt.Sprintf("%s must be watered in while %s must stay dry for %s; do them on different days",
					wet.Product, dry.Product, hours(*dry.Limits.RainFreeHours)),
				Got: fmt.Sprintf("%g in", *wet.Limits.WaterInIn), Limit: hours(*dry.Limits.RainFreeHours),
				Source: place("label", dry.Limits.Revision, dry.Limits.Place)})
		}
	}
	return found
}

// ReentryEnds returns the instant from which people may enter again: the end
// of the application plus the label's hours, elapsed time, so that it is right
// across clock changes. ok is false where the label states no hours ("until
// dry"), and where finishedAt is zero; ReentryText is then all there is.
func ReentryEnds(l Limits, finishedAt time.Time) (at time.Time, ok bool) {
	if l.ReentryHours == nil || finishedAt.IsZero() {
		return time.Time{}, false
	}
	return finishedAt.Add(time.Duration(*l.ReentryHours * float64(time.Hour))), true
}

// LongestReentry is ReentryEnds for products applied together: the longest
// interval holds (R-06: 40 CFR 170.112(a)(3) of the text before 2017). ok is false
// when no label states hours.
func LongestReentry(all []Limits, finishedAt time.Time) (at time.Time, ok bool) {
	for _, l := range all {
		if end, has := ReentryEnds(l, finishedAt); has && (!ok || end.After(at)) {
			at, ok = end, true
		}
	}
	return at, ok
}
