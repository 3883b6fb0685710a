package label

import (
	"fmt"
	"slices"
	"strings"

	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

func (c *checker) species() {
	l, s := c.limits, c.use.Species
	switch {
	case slices.Contains(l.NotOn, s):
		c.add(Refuse, "species", s.Words(), "", "the label forbids %s on %s", c.name(), s.Words())
	case slices.Contains(l.Sensitive, s):
		c.add(Confirm, "species", s.Words(), "", "the label warns of damage to %s", s.Words())
	default:
		if named := mayHold(s, append(slices.Clone(l.NotOn), l.Sensitive...)); named != "" {
			c.add(Confirm, "species-unsure", s.Words(), named, "the area is %s, and the label forbids or warns of %s; look what grows there", s.Words(), named)
		}
	}
}

// coolSeason lists the cool-season grasses; the others of the list are warm-season.
var coolSeason = []turf.Species{turf.TallFescue, turf.FineFescue, turf.KentuckyBluegrass,
	turf.PerennialRyegrass, turf.CreepingBentgrass}

// mayHold names those of the listed grasses that an unknown or mixed area may hold.
func mayHold(s turf.Species, listed []turf.Species) string {
	var words []string
	for _, l := range listed {
		cool := slices.Contains(coolSeason, l) || l == turf.MixedCool
		if s == turf.UnknownSpecies || s == "" || s == turf.MixedCool && cool || s == turf.MixedWarm && !cool {
			words = append(words, l.Words())
		}
	}
	return strings.Join(words, ", ")
}

func (c *checker) weather() {
	c.temperature()
	c.wind()
}

func degrees(got unit.Temperature, limitF float64) (string, string) {
	g, l := pair(got.Fahrenheit(), limitF)
	return g + " deg F", l + " deg F"
}

const advice = "advice on use, not the label"

func (c *checker) temperature() {
	l, t := c.limits, c.use.AirTemp
	if t == nil {
		if l.AirTempMaxF != nil || l.AirTempMinF != nil || l.AirTempAdvisedMaxF != nil {
			c.add(Note, "air-temp-unknown", "", "", "the air temperature is not known; the label or advice sets a limit%s", temperatureLimits(l))
		}
		return
	}
	switch {
	case l.AirTempMaxF != nil && !unit.AtMost(*t, unit.Fahrenheit(*l.AirTempMaxF)):
		got, limit := degrees(*t, *l.AirTempMaxF)
		c.add(Refuse, "air-temp-over", got, limit, "it is hotter than the label allows")
	case l.AirTempAdvisedMaxF != nil && !unit.AtMost(*t, unit.Fahrenheit(*l.AirTempAdvisedMaxF)):
		got, limit := degrees(*t, *l.AirTempAdvisedMaxF)
		c.advise(Confirm, "air-temp-advised", got, limit, advice, "it is hotter than advised; turf may be hurt")
	}
	if l.AirTempMinF != nil && !unit.AtLeast(*t, unit.Fahrenheit(*l.AirTempMinF)) {
		got, limit := degrees(*t, *l.AirTempMinF)
		c.add(Refuse, "air-temp-under", got, limit, "it is colder than the label allows")
	}
}

func temperatureLimits(l Limits) string {
	var parts []string
	for _, p := range []struct {
		words string
		v     *float64
	}{{"at least", l.AirTempMinF}, {"at most", l.AirTempMaxF}, {"advised at most", l.AirTempAdvisedMaxF}} {
		if p.v != nil {
			parts = append(parts, fmt.Sprintf("%s %g deg F", p.words, *p.v))
		}
	}
	return ": " + strings.Join(parts, ", ")
}

func (c *checker) wind() {
	l, w := c.limits, c.use.Wind
	if w == nil {
		if l.WindMaxMPH != nil || l.WindAdvisedMaxMPH != nil {
			c.add(Note, "wind-unknown", "", "", "the wind is not known; measure it at the site before starting")
		}
		return
	}
	if l.WindMaxMPH != nil && !unit.AtMost(*w, unit.Speed(*l.WindMaxMPH)*unit.MilePerHour) {
		got, limit := pair(w.MilesPerHour(), *l.WindMaxMPH)
		c.add(Refuse, "wind-over", got+" mph", limit+" mph", "there is more wind than the label allows")
	} else if l.WindAdvisedMaxMPH != nil && !unit.AtMost(*w, unit.Speed(*l.WindAdvisedMaxMPH)*unit.MilePerHour) {
		got, limit := pair(w.MilesPerHour(), *l.WindAdvisedMaxMPH)
		c.advise(Confirm, "wind-advised", got+" mph", limit+" mph", advice, "there is more wind than advised; spray may drift")
	}
	if c.use.Form != DryForm && !unit.AtLeast(*w, calmWind) {
		got, limit := pair(w.MilesPerHour(), calmWind.MilesPerHour())
		c.advise(Note, "wind-calm", got+" mph", limit+" mph", "pesticide stewardship guidance on spray weather",
			"there is hardly any wind; in an inversion fine spray hangs and drifts far, so look for fog or smoke that lies flat")
	}
}

func (c *checker) mowing() {
	l, u := c.limits, c.use
	for _, cut := range u.Cuts {
		since := u.Date.Since(cut)
		before := since > 0 || since == 0 && !u.CutIsAfter
		switch {
		case before && l.MowWaitBeforeDays != nil && since < *l.MowWaitBeforeDays:
			c.add(Refuse, "mow-before", dayCount(since), dayCount(*l.MowWaitBeforeDays),
				"the area is cut on %s; the label wants %d days between the cut and the application", cut.Words(), *l.MowWaitBeforeDays)
		case !before && l.MowWaitAfterDays != nil && -since < *l.MowWaitAfterDays:
			c.add(Refuse, "mow-after", dayCount(-since), dayCount(*l.MowWaitAfterDays),
				"a cut is set for %s; the label wants %d days between the application and the next cut", cut.Words(), *l.MowWaitAfterDays)
		}
	}
}

// seeding keeps the label's wait on both sides: seed sown too soon after the
// product, and product put on too soon after seed.
func (c *checker) seeding() {
	l, u := c.limits, c.use
	if l.SeedWaitDays == nil {
		return
	}
	for _, seeded := range u.Seedings {
		gap := seeded.Since(u.Date)
		when := "is to be seeded on"
		if gap < 0 {
			gap, when = -gap, "was seeded on"
		}
		if gap < *l.SeedWaitDays {
			c.add(Refuse, "seed-wait", dayCount(gap), dayCount(*l.SeedWaitDays),
				"the area %s %s; the label keeps seed and product %d days apart", when, seeded.Words(), *l.SeedWaitDays)
		}
	}
}

func (c *checker) watering() {
	l, u := c.limits, c.use
	if l.contradictsItself() {
		c.add(Refuse, "water-contradiction", "", "", "the limits ask for watering in and for no water in the same hours; compare them with the label")
	}
	if needsDry(l) {
		limit := hours(*l.RainFreeHours)
		switch {
		case u.DryHours == nil:
			c.add(Note, "dry-unknown", "", limit, "whether it stays dry is not known; the label wants no rain and no irrigation for %s", limit)
		case !unit.AtLeast(*u.DryHours, *l.RainFreeHours):
			got, _ := pair(*u.DryHours, *l.RainFreeHours)
			c.add(Refuse, "dry-short", got+" h", limit, "rain or irrigation comes sooner after the application than the label allows")
		}
	}
	if needsWater(l) {
		c.wateringIn()
	}
}

func (c *checker) wateringIn() {
	l, u := c.limits, c.use
	need := unit.Length(*l.WaterInIn) * unit.Inch
	within := "at once"
	if l.WaterInDays != nil {
		within = "within " + dayCount(*l.WaterInDays)
	}
	switch {
	case u.WaterIn == nil:
		c.add(Note, "water-in", "", fmt.Sprintf("%g in", *l.WaterInIn), "the label wants %g in of water %s; see to it or tell the customer", *l.WaterInIn, within)
	case !unit.AtLeast(*u.WaterIn, need):
		got, limit := pair(u.WaterIn.Inches(), *l.WaterInIn)
		c.add(Confirm, "water-in-short", got+" in", limit+" in", "less water follows %s than the label wants", within)
	}
}

func hours(h float64) string { return number(h, 4) + " h" }

func (c *checker) distance() {
	l, d := c.limits, c.use.Water
	if l.WaterDistanceFt == nil || *l.WaterDistanceFt == 0 {
		return
	}
	limit := number(*l.WaterDistanceFt, 4) + " ft"
	switch {
	case d == nil:
		c.add(Note, "water-distance", "", limit, "the label keeps %s from surface water; none is on file for this area, so look", limit)
	case !unit.AtLeast(*d, unit.Length(*l.WaterDistanceFt)*unit.Foot):
		got, _ := pair(d.Feet(), *l.WaterDistanceFt)
		c.add(Refuse, "water-distance", got+" ft", limit, "the area treated comes nearer to surface water than the label allows")
	}
}
