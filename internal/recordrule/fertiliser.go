package recordrule

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"thirdcut/internal/civil"
	"thirdcut/internal/label"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

// FertiliserLimits is what a law limits of nutrients on turf. Amounts are lb
// per 1,000 sq ft, of nitrogen (N) or phosphate (P2O5); nil means that the rule
// gives no figure.
type FertiliserLimits struct {
	Status      string            `json:"status"`
	Citation    string            `json:"citation"`
	StatusByKey map[string]string `json:"status_by_key"` // overrides Status for single keys

	NSoluble          *float64           `json:"n_soluble_per_application_lb_per_1000sqft"`
	N                 *float64           `json:"n_per_application_lb_per_1000sqft"`
	NNote             string             `json:"n_per_application_note"`
	NMinSlowPercent   *float64           `json:"n_min_slow_release_percent"`
	NEnhanced         *float64           `json:"n_enhanced_lb_per_1000sqft"` // an application of mostly slow N
	NEnhancedMinSlow  *float64           `json:"n_enhanced_min_slow_release_percent"`
	NEnhancedYear     *float64           `json:"n_enhanced_per_year_lb_per_1000sqft"`        // enhanced-efficiency product
	NEnhancedMonthly  *float64           `json:"n_enhanced_monthly_release_lb_per_1000sqft"` // its release
	NYear             *float64           `json:"n_per_year_lb_per_1000sqft"`
	NYearByTurf       map[string]float64 `json:"n_per_year_by_turf_lb_per_1000sqft"`
	NYearSource       string             `json:"n_per_year_source"`
	P2O5              *float64           `json:"p2o5_per_application_lb_per_1000sqft"`
	P2O5Year          *float64           `json:"p2o5_per_year_lb_per_1000sqft"`
	P2O5Starter       *float64           `json:"p2o5_starter_lb_per_1000sqft"`
	P2O5Source        string             `json:"p2o5_source"`
	Phosphorus        string             `json:"phosphorus"` // in words, where it needs a soil test
	PhosphorusPercent *float64           `json:"phosphorus_threshold_percent"`
	SoilTestMonths    *int               `json:"soil_test_max_age_months"`
	SoilTestYears     *int               `json:"soil_test_max_age_years"`
	Blackout          []Blackout         `json:"blackout"`
	BlackoutNote      string             `json:"blackout_note"`
	BlackoutException *BlackoutException `json:"blackout_exception"`
	SetbackFt         *float64           `json:"water_setback_ft"`
	SetbackExceptions []string           `json:"water_setback_exceptions"`
	SetbackNote       string             `json:"water_setback_note"`
	WaterBodies       string             `json:"water_bodies"`
	Ground            string             `json:"ground"`
	Impervious        string             `json:"impervious"`
	NumbersNote       string             `json:"numbers_note"`
}

// Blackout is a closed season, both ends included; it may wrap the year end.
type Blackout struct {
	From      civil.MonthDay `json:"from"`
	To        civil.MonthDay `json:"to"`
	Nutrients []string       `json:"nutrients"` // N, P, or "any fertiliser"
	Who       string         `json:"who"`
}

// BlackoutException lets some apply a little into the closed season.
type BlackoutException struct {
	Who    string         `json:"who"`
	Until  civil.MonthDay `json:"until"`
	MaxN   *float64       `json:"max_n_lb_per_1000sqft"`
	Status string         `json:"status"`
}

// Feed is one planned or done application of nutrients on one turf area. What
// is nil or zero is not known or none.
type Feed struct {
	On           civil.Date
	Professional bool // the applicator is what the law calls a professional or certified one
	Species      turf.Species

	N        unit.Spread   // all nitrogen of this application
	SlowN    unit.Fraction // share of it that is slow release
	Enhanced bool          // the product is an enhanced-efficiency fertiliser
	P2O5     unit.Spread
	P2O5Of   unit.Fraction // phosphate in the product, by weight

	NYear    unit.Spread // nitrogen of the area's other applications of the calendar year
	P2O5Year unit.Spread

	SoilTestOn     civil.Date // latest soil test of the area
	SoilTestWantsP bool       // it shows a need of phosphorus
	NewTurf        bool       // being established or repaired

	Water           *unit.Length // from the treated area to surface water; nil: none on file
	GroundFrozen    bool
	GroundSaturated bool
	HeavyRain       bool // forecast
}

// carefulSoilTestMonths is the age past which a soil test no longer serves where the file
// gives no figure: the three years that several of the laws name.
const carefulSoilTestMonths = 36

// CheckFertiliser compares a feeding with the fertiliser limits of the rule.
// Being exactly at a limit passes. Only what the law's text fixes by a number
// or a date is refused; figures not seen in the law's own text say so in Source.
func CheckFertiliser(r Rule, f Feed) []label.Finding {
	if r.Fertiliser == nil {
		return nil
	}
	c := feedCheck{rule: r, limits: *r.Fertiliser, feed: f}
	c.closedSeason()
	c.nitrogen()
	c.nitrogenYear()
	c.phosphorus()
	c.ground()
	c.water()
	return c.found
}

type feedCheck struct {
	rule   Rule
	limits FertiliserLimits
	feed   Feed
	found  []label.Finding
}

// source names the citation, and the status of the key where it was not seen in the law.
func (c *feedCheck) source(key string) string {
	status := c.limits.Status
	if s := c.limits.StatusByKey[key]; s != "" {
		status = s
	}
	return cited(c.rule.Jurisdiction, c.limits.Citation, status)
}

func cited(jurisdiction, citation, status string) string {
	s := jurisdiction + ": " + citation
	if status != "" && status != "published" {
		s += " (" + Words().Statuses[status] + ")"
	}
	return s
}

func (c *feedCheck) add(s label.Severity, code, key, got, limit, text string, args ...any) {
	c.found = append(c.found, label.Finding{Severity: s, Code: code, Text: fmt.Sprintf(text, args...),
		Got: got, Limit: limit, Source: c.source(key)})
}

// over adds a refusal when the amount is more than the limit, in lb per 1,000 sq ft.
func (c *feedCheck) over(code, key string, got unit.Spread, limit *float64, text string, args ...any) bool {
	if limit == nil || unit.AtMost(got, spread(*limit)) {
		return false
	}
	g, l := lbPair(got, *limit)
	c.add(label.Refuse, code, key, g, l, text, args...)
	return true
}

func spread(lbPerThousand float64) unit.Spread {
	return (unit.Mass(lbPerThousand) * unit.Pound).Over(unit.Thousand)
}

func lbPair(got unit.Spread, limit float64) (string, string) {
	g := fmt.Sprintf("%.4g", got.PoundsPerThousand())
	if l := fmt.Sprintf("%.4g", limit); g == l {
		g = fmt.Sprintf("%.10g", got.PoundsPerThousand())
	}
	return g + " lb/1000 sq ft", fmt.Sprintf("%g lb/1000 sq ft", limit)
}

// binds says whether a closed season's who takes in the applicator.
func binds(who string, professional bool) bool {
	switch {
	case strings.HasPrefix(who, "professional"):
		return professional
	case strings.HasPrefix(who, "everyone else"):
		return !professional
	}
	return true
}

// closes names what of the feeding the closed season forbids.
func (b Blackout) closes(f Feed) []string {
	if slices.Contains(b.Nutrients, "any fertiliser") {
		return []string{"fertiliser"}
	}
	var what []string
	if f.N > 0 && slices.Contains(b.Nutrients, "N") {
		what = append(what, "nitrogen")
	}
	if f.P2O5 > 0 && slices.Contains(b.Nutrients, "P") {
		what = append(what, "phosphorus")
	}
	return what
}

func (c *feedCheck) closedSeason() {
	for _, b := range c.limits.Blackout {
		what := b.closes(c.feed)
		if len(what) == 0 || !c.feed.On.Within(b.From, b.To) || !binds(b.Who, c.feed.Professional) {
			continue
		}
		season := fmt.Sprintf("closed %s to %s", b.From, b.To)
		if c.excepted(b) {
			e := c.limits.BlackoutException
			got, limit := lbPair(c.feed.N, *e.MaxN)
			c.add(label.Note, "closed-season-exception", "blackout", got, limit,
				"the season is closed from %s; until %s %s may still put down this much nitrogen", b.From, e.Until, e.Who)
			c.found[len(c.found)-1].Source = cited(c.rule.Jurisdiction, c.limits.Citation, e.Status)
			continue
		}
		c.add(label.Refuse, "closed-season", "blackout", c.feed.On.String(), season,
			"%s on turf is not allowed from %s to %s", strings.Join(what, " and "), b.From, b.To)
	}
}

// excepted says whether the exception covers the feeding: from the start of the
// closed season until its last day, nitrogen alone, no more than its figure.
func (c *feedCheck) excepted(b Blackout) bool {
	e, f := c.limits.BlackoutException, c.feed
	return e != nil && e.MaxN != nil && binds(e.Who, f.Professional) && f.P2O5 == 0 &&
		f.On.Within(b.From, e.Until) && unit.AtMost(f.N, spread(*e.MaxN))
}

func (c *feedCheck) nitrogen() {
	l, f := c.limits, c.feed
	if !(f.N > 0) {
		return
	}
	soluble := unit.Spread(float64(f.N) * (1 - float64(f.SlowN)))
	c.over("n-soluble-over", "n_soluble_per_application_lb_per_1000sqft", soluble, l.NSoluble,
		"the quick nitrogen of one application is over the limit")
	if f.Enhanced && l.NEnhancedYear != nil {
		c.enhanced()
		return
	}
	mostlySlow := l.NEnhanced != nil && l.NEnhancedMinSlow != nil && unit.AtLeast(f.SlowN, unit.Percent(*l.NEnhancedMinSlow))
	if mostlySlow {
		over := c.over("n-over", "n_enhanced_lb_per_1000sqft", f.N, l.NEnhanced, "the nitrogen of one application is over the limit for mostly slow release")
		if !over && l.N != nil && !unit.AtMost(f.N, spread(*l.N)) {
			got, limit := lbPair(f.N, *l.N)
			c.add(label.Confirm, "n-enhanced", "n_enhanced_lb_per_1000sqft", got, limit,
				"so much nitrogen at once is allowed only by an exception: %s", l.NNote)
		}
		return
	}
	c.over("n-over", "n_per_application_lb_per_1000sqft", f.N, l.N, "the nitrogen of one application is over the limit")
	if l.NMinSlowPercent != nil && !unit.AtLeast(f.SlowN, unit.Percent(*l.NMinSlowPercent)) {
		c.add(label.Confirm, "n-slow-share", "n_min_slow_release_percent", fmt.Sprintf("%.4g %%", f.SlowN.Percent()),
			fmt.Sprintf("%g %%", *l.NMinSlowPercent), "less of the nitrogen is slow release than turf fertiliser must have")
	}
}

// enhanced is the other way of limiting: by the year and by the month's release.
func (c *feedCheck) enhanced() {
	l, f := c.limits, c.feed
	c.over("n-year-over", "n_enhanced_per_year_lb_per_1000sqft", f.N+f.NYear, l.NEnhancedYear,
		"with this application the year's nitrogen is over the limit for enhanced-efficiency fertiliser")
	if l.NEnhancedMonthly != nil {
		c.add(label.Confirm, "n-release", "n_enhanced_monthly_release_lb_per_1000sqft", "",
			fmt.Sprintf("%g lb/1000 sq ft a month", *l.NEnhancedMonthly), "how fast this fertiliser releases its nitrogen is not known here; read it on the label")
	}
}

func (c *feedCheck) nitrogenYear() {
	l, f := c.limits, c.feed
	if !(f.N > 0) {
		return
	}
	total := f.N + f.NYear
	c.over("n-year-over", "n_per_year_lb_per_1000sqft", total, l.NYear, "with this application the year's nitrogen is over the limit")
	if limit, ok := l.NYearByTurf[turfKey(f.Species)]; ok {
		c.over("n-year-over", "n_per_year_by_turf_lb_per_1000sqft", total, &limit,
			"with this application the year's nitrogen on %s is over the limit", f.Species.Words())
	}
}

// turfKey is the name of a grass in rule files, which do not tell the
// bermudagrasses apart.
func turfKey(s turf.Species) string {
	if s == turf.BermudagrassCommon || s == turf.BermudagrassHybrid {
		return "bermudagrass"
	}
	return string(s)
}

func (c *feedCheck) phosphorus() {
	l, f := c.limits, c.feed
	if !(f.P2O5 > 0) {
		return
	}
	limit, key := l.P2O5, "p2o5_per_application_lb_per_1000sqft"
	if f.NewTurf && l.P2O5Starter != nil {
		limit, key = l.P2O5Starter, "p2o5_starter_lb_per_1000sqft"
	}
	c.over("p-over", key, f.P2O5, limit, "the phosphate of one application is over the limit")
	if !f.NewTurf {
		c.over("p-year-over", "p2o5_per_year_lb_per_1000sqft", f.P2O5+f.P2O5Year, l.P2O5Year, "with this application the year's phosphate is over the limit")
	}
	small := l.PhosphorusPercent != nil && f.P2O5Of > 0 && unit.AtMost(f.P2O5Of, unit.Percent(*l.PhosphorusPercent))
	if l.Phosphorus == "" || f.NewTurf || small {
		return
	}
	c.soilTest()
}

// soilTest refuses phosphorus without a soil test that is young enough and
// shows the need.
func (c *feedCheck) soilTest() {
	f, months := c.feed, c.limits.soilTestMonths()
	age := fmt.Sprintf("%d months", months)
	switch {
	case f.SoilTestOn.IsZero():
		c.add(label.Refuse, "p-soil-test", "phosphorus", "no soil test", age, "phosphorus is allowed %s", c.limits.Phosphorus)
	case f.SoilTestOn.After(f.On) || addMonths(f.SoilTestOn, months).Before(f.On):
		c.add(label.Refuse, "p-soil-test", "phosphorus", "soil test of "+f.SoilTestOn.String(), age,
			"the soil test is too old for phosphorus, or later than the application; phosphorus is allowed %s", c.limits.Phosphorus)
	case !f.SoilTestWantsP:
		c.add(label.Refuse, "p-no-need", "phosphorus", "soil test of "+f.SoilTestOn.String(), "",
			"the soil test shows no need of phosphorus, which is allowed %s", c.limits.Phosphorus)
	}
}

func (l FertiliserLimits) soilTestMonths() int {
	switch {
	case l.SoilTestMonths != nil:
		return *l.SoilTestMonths
	case l.SoilTestYears != nil:
		return *l.SoilTestYears * 12
	}
	return carefulSoilTestMonths
}

// addMonths moves by months; a day that the month lacks becomes its last day.
func addMonths(d civil.Date, n int) civil.Date {
	first := civil.On(d.Year, d.Month, 1)
	first = civil.On(first.Year, first.Month+time.Month(n), 1)
	last := civil.On(first.Year, first.Month+1, 1).AddDays(-1)
	return civil.On(first.Year, first.Month, min(d.Day, last.Day))
}

func (c *feedCheck) ground() {
	l, f := c.limits, c.feed
	for _, g := range []struct {
		is    bool
		words string
	}{{f.GroundFrozen, "frozen"}, {f.GroundSaturated, "saturated"}, {f.HeavyRain, "heavy rain"}} {
		if g.is && strings.Contains(l.Ground, g.words) {
			c.add(label.Refuse, "ground", "ground", g.words, "", "fertiliser may not go down now: %s", l.Ground)
		}
	}
	if l.Impervious != "" {
		c.add(label.Note, "impervious", "impervious", "", "", "fertiliser on paved surfaces: %s", l.Impervious)
	}
}

// water says the distance that the law keeps from water. The exceptions for
// some spreaders are words, so a person decides when the area comes nearer.
func (c *feedCheck) water() {
	l, d := c.limits, c.feed.Water
	if l.SetbackFt == nil {
		return
	}
	limit := fmt.Sprintf("%g ft", *l.SetbackFt)
	exceptions := ""
	if len(l.SetbackExceptions) > 0 {
		exceptions = " (exceptions: " + strings.Join(l.SetbackExceptions, "; ") + ")"
	}
	switch {
	case d == nil:
		c.add(label.Note, "water-setback", "water_setback_ft", "", limit, "keep fertiliser %s from water%s", limit, exceptions)
	case !unit.AtLeast(*d, unit.Length(*l.SetbackFt)*unit.Foot):
		c.add(label.Confirm, "water-setback", "water_setback_ft", fmt.Sprintf("%.4g ft", d.Feet()), limit,
			"the area comes nearer to water than fertiliser may%s", exceptions)
	}
}
