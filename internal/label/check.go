package label

import (
	"fmt"
	"slices"
	"strings"

	"thirdcut/internal/civil"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

// Use is one application, planned or done, of one product on one turf area, as
// far as the label's limits are concerned. Licences are not in it. A nil or
// zero optional field means not known; what a limit needs and is not known
// gives a note, never silence.
type Use struct {
	Product     string // name, for the sentences
	Form        Form
	Amount      Amount    // product on this area
	AreaTreated unit.Area // what is really treated
	AreaOnFile  unit.Area // measured turf area; 0: not known
	Species     turf.Species
	Date        civil.Date

	// Others are all other applications of the product on this area that may
	// count: of the same calendar year, of the year before within the label's
	// interval, and any recorded or planned later than Date.
	Others []Application

	AirTemp  *unit.Temperature
	Wind     *unit.Speed
	DryHours *float64     // hours after the end until rain or irrigation: forecast, or seen
	WaterIn  *unit.Length // water planned or given within the label's days
	Water    *unit.Length // distance of the treated area to the nearest surface water; nil: none on file

	Cuts       []civil.Date // past and planned cuts of the area around Date
	CutIsAfter bool         // a cut on Date itself comes after the application
	Seedings   []civil.Date // past and planned seedings of the area
}

// Application is another application of the same product on the area.
type Application struct {
	On     civil.Date
	Amount Amount
	Area   unit.Area // treated that time
}

// calmWind is the speed under which spray is said to hang in still air, as in
// an inversion: lowest wind for spraying absent label directions, 3 mph
// (R-04, testdata/sources.md).
const calmWind = 3 * unit.MilePerHour

// Check compares the use with the limits and returns what is to be said, the
// worst first. Being exactly at a limit passes. The same findings hold for a
// plan and for what was done: the caller refuses a plan, and keeps and marks a
// record. A use without area or product gives the finding "no-area" or
// "no-amount", and its rate is not judged.
func Check(l Limits, u Use) []Finding {
	c := checker{limits: l, use: u}
	c.rates()
	c.times()
	c.species()
	c.weather()
	c.mowing()
	c.seeding()
	c.watering()
	c.distance()
	slices.SortStableFunc(c.found, func(a, b Finding) int { return a.Severity.rank() - b.Severity.rank() })
	return c.found
}

// Worst returns the severest of the findings; ok is false when there are none.
func Worst(findings []Finding) (s Severity, ok bool) {
	for _, f := range findings {
		if s == "" || f.Severity.rank() < s.rank() {
			s = f.Severity
		}
	}
	return s, s != ""
}

func (s Severity) rank() int {
	switch s {
	case Refuse:
		return 0
	case Confirm:
		return 1
	}
	return 2
}

// checker collects the findings of one use.
type checker struct {
	limits Limits
	use    Use
	found  []Finding
}

// source names the place on the label.
func (c *checker) source() string { return place("label", c.limits.Revision, c.limits.Place) }

// place joins the given parts of a label's place, leaving out empty ones.
func place(parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(s string) bool { return strings.TrimSpace(s) == "" }), ", ")
}

func (c *checker) add(s Severity, code, got, limit, text string, args ...any) {
	c.found = append(c.found, Finding{Severity: s, Code: code, Text: fmt.Sprintf(text, args...),
		Got: got, Limit: limit, Source: c.source()})
}

// advise is add for a limit that is advice and not label.
func (c *checker) advise(s Severity, code, got, limit, source, text string, args ...any) {
	c.add(s, code, got, limit, text, args...)
	c.found[len(c.found)-1].Source = source
}

func (c *checker) rates() {
	l, u := c.limits, c.use
	if !(u.AreaTreated > 0) {
		c.add(Refuse, "no-area", "", "", "the area treated is not known, so the rate cannot be compared with the label; enter the area")
		return
	}
	if !u.Amount.positive() {
		c.add(Refuse, "no-amount", "", "", "the amount of %s is not known, so the rate cannot be compared with the label; enter the amount of product", c.name())
		return
	}
	if u.AreaOnFile > 0 && !unit.AtMost(u.AreaTreated, u.AreaOnFile) {
		got, limit := pair(u.AreaTreated.SquareFeet(), u.AreaOnFile.SquareFeet())
		c.advise(Confirm, "area-over-file", got+" sq ft", limit+" sq ft", "measured turf area",
			"the area treated is larger than the turf area on file; check the entry, or measure the area again")
	}
	if l.RateUnit == "" {
		return
	}
	if !c.kindsFit() {
		return
	}
	c.oneRate()
	c.yearTotal()
}

func (c *checker) name() string {
	if c.use.Product == "" {
		return "product"
	}
	return c.use.Product
}

// kindsFit says whether product, amount and label speak of the same kind of
// amount. Weight and volume are never converted into each other: the density
// of the product is not known.
func (c *checker) kindsFit() bool {
	l, u := c.limits, c.use
	if !l.RateUnit.Known() {
		c.add(Refuse, "rate-unit", string(l.RateUnit), "", "the label's limits have a rate unit that is not known here; enter them again")
		return false
	}
	if u.Form == DryForm && (l.RateUnit.Liquid() || u.Amount.Liquid) {
		c.add(Refuse, "rate-unit", kind(u.Amount.Liquid || l.RateUnit.Liquid()), "dry",
			"%s is dry, but its amount or its label's rate is a volume; give both by weight", c.name())
		return false
	}
	if u.Amount.Liquid != l.RateUnit.Liquid() {
		c.add(Refuse, "rate-unit", kind(u.Amount.Liquid), kind(l.RateUnit.Liquid()),
			"the amount %s and the label's rate in %s are of different kinds, weight and volume; give the amount in %s",
			u.Amount.Words(), l.RateUnit, l.RateUnit.AmountUnit())
		return false
	}
	return true
}

func kind(liquid bool) string {
	if liquid {
		return "volume"
	}
	return "weight"
}

// pairOf writes two rates so that their difference shows.
func (c *checker) pairOf(got, limit Rate) (string, string) {
	u := c.limits.RateUnit
	g, _ := u.Read(got)
	m, _ := u.Read(limit)
	a, b := pair(g, m)
	return a + " " + string(u), b + " " + string(u)
}

func (c *checker) oneRate() {
	l := c.limits
	got := c.use.Amount.Over(c.use.AreaTreated)
	if l.RateMax != nil {
		if limit, _ := l.RateUnit.Rate(*l.RateMax); !got.AtMost(limit) {
			a, b := c.pairOf(got, limit)
			c.add(Refuse, "rate-over", a, b, "the rate of %s is over the label's highest", c.name())
		}
	}
	if l.RateMin != nil {
		// Less than the label's rate is lawful (R-07: FIFRA section 2(ee), from memory)
		// but may not work, so it is said and nothing is asked.
		if limit, _ := l.RateUnit.Rate(*l.RateMin); !limit.AtMost(got) {
			a, b := c.pairOf(got, limit)
			c.add(Note, "rate-under", a, b, "the rate of %s is under the label's lowest and may not work", c.name())
		}
	}
}

// yearTotal adds what each application of the calendar year put on the ground
// it treated. Spots that lay in different places are added as if they had lain
// in one: the careful reading of a limit per area.
func (c *checker) yearTotal() {
	l, u := c.limits, c.use
	if l.YearMax == nil {
		return
	}
	total := u.Amount.Over(u.AreaTreated)
	for _, o := range u.Others {
		if o.On.Year != u.Date.Year {
			continue
		}
		r := o.Amount.Over(o.Area)
		if !(o.Area > 0) || r.Liquid != total.Liquid {
			c.add(Confirm, "year-unclear", o.Amount.Words(), "", "the application of %s cannot be added to the year's total: its area is missing or its amount is of another kind", o.On)
			continue
		}
		total = total.plus(r)
	}
	if limit, _ := l.RateUnit.Rate(*l.YearMax); !total.AtMost(limit) {
		a, b := c.pairOf(total, limit)
		c.add(Refuse, "year-over", a, b, "with this application %s would be over the label's total for %d", c.name(), u.Date.Year)
	}
}

func (c *checker) times() {
	l, u := c.limits, c.use
	if l.ApplicationsPerYear != nil {
		n := 1
		for _, o := range u.Others {
			if o.On.Year == u.Date.Year {
				n++
			}
		}
		if n > *l.ApplicationsPerYear {
			c.add(Refuse, "times-over", fmt.Sprint(n), fmt.Sprint(*l.ApplicationsPerYear),
				"this would be application %d of %s on this area in %d; the label allows %d a year", n, c.name(), u.Date.Year, *l.ApplicationsPerYear)
		}
	}
	if l.IntervalDays == nil {
		return
	}
	if near, days, ok := nearest(u.Date, u.Others); ok && days < *l.IntervalDays {
		c.add(Refuse, "interval", dayCount(days), dayCount(*l.IntervalDays),
			"another application of %s on this area is on %s; the label wants %d days between two", c.name(), near.Words(), *l.IntervalDays)
	}
}

// nearest returns the day of the application nearest to d, before or after it.
func nearest(d civil.Date, others []Application) (at civil.Date, days int, ok bool) {
	for _, o := range others {
		gap := d.Since(o.On)
		if gap < 0 {
			gap = -gap
		}
		if !ok || gap < days {
			at, days, ok = o.On, gap, true
		}
	}
	return at, days, ok
}

func dayCount(n int) string {
	if n == 1 {
		return "1 day"
	}
	return fmt.Sprintf("%d days", n)
}
