package label

import (
	"math"
	"strconv"
	"strings"

	"thirdcut/internal/fault"
	"thirdcut/internal/unit"
)

// Form says whether a product is dry or liquid.
type Form string

// The forms of a product.
const (
	DryForm    Form = "dry"
	LiquidForm Form = "liquid"
)

// Amount is a quantity of product as used, not of the mix it went out in.
// Entered keeps what the person typed; Mass counts when Liquid is false and
// Volume when it is true. The zero value is a dry amount of nothing.
type Amount struct {
	Entered string
	Liquid  bool
	Mass    unit.Mass
	Volume  unit.Volume
}

// Dry makes a weighed amount; entered is the person's text and may be empty.
func Dry(m unit.Mass, entered string) Amount { return Amount{Entered: entered, Mass: m} }

// Liquid makes a measured amount; entered is the person's text and may be empty.
func Liquid(v unit.Volume, entered string) Amount {
	return Amount{Entered: entered, Liquid: true, Volume: v}
}

// Over spreads the amount over the area.
func (a Amount) Over(area unit.Area) Rate {
	if a.Liquid {
		return Rate{Liquid: true, Coverage: a.Volume.Over(area)}
	}
	return Rate{Spread: a.Mass.Over(area)}
}

// In reads the amount in a unit by name (lb oz g kg, or fl oz pt qt gal mL L);
// ok is false for another name and for a weight read as a volume or the reverse.
func (a Amount) In(name string) (v float64, ok bool) {
	u, ok := amountUnits[name]
	if !ok || u.liquid() != a.Liquid {
		return 0, false
	}
	if a.Liquid {
		return float64(a.Volume) / float64(u.volume), true
	}
	return float64(a.Mass) / float64(u.mass), true
}

// Words writes the amount as entered, or else in pounds or fluid ounces.
func (a Amount) Words() string {
	switch {
	case a.Entered != "":
		return a.Entered
	case a.Liquid:
		return number(a.Volume.FluidOunces(), 4) + " fl oz"
	}
	return number(a.Mass.Pounds(), 4) + " lb"
}

// positive says whether there is any product, as a finite number.
func (a Amount) positive() bool {
	v := float64(a.Mass)
	if a.Liquid {
		v = float64(a.Volume)
	}
	return v > 0 && !math.IsInf(v, 1)
}

// ParseAmount reads an amount of product with its unit ("4.5 oz", "1,200 mL").
// For a liquid product "oz" alone is refused, since it may mean weight or
// volume; write "fl oz" or "oz wt". A dry product in a unit of volume is
// refused. Faults: Invalid "amount", Invalid "amount-unit".
func ParseAmount(text string, form Form) (Amount, error) {
	digits, name := cutNumber(text)
	v, ok := parseNumber(digits)
	if !ok {
		return Amount{}, fault.New(fault.Invalid, "amount", "%q is no amount; write a number with a decimal point and its unit, such as 4.5 oz", text)
	}
	name = tidy(name)
	u, ok := amountUnits[rateSpellings[name]]
	if !ok {
		return Amount{}, fault.New(fault.Invalid, "amount-unit",
			"%q gives no unit of product; use lb, oz, g, kg, fl oz, pt, qt, gal, mL or L", text)
	}
	if form == LiquidForm && (name == "oz" || name == "ounce" || name == "ounces") {
		return Amount{}, fault.New(fault.Invalid, "amount-unit",
			"%q of a liquid can be weight or volume; write fl oz, or oz wt where it was weighed", text)
	}
	if form == DryForm && u.liquid() {
		return Amount{}, fault.New(fault.Invalid, "amount-unit", "%q measures a liquid, but the product is dry; give its weight", text)
	}
	entered := strings.TrimSpace(text)
	if u.liquid() {
		return Liquid(u.volume.Times(v), entered), nil
	}
	return Dry(u.mass.Times(v), entered), nil
}

// cutNumber splits a text after its leading unsigned decimal number.
func cutNumber(text string) (digits, rest string) {
	text = strings.TrimSpace(text)
	end := strings.IndexFunc(text, func(r rune) bool { return (r < '0' || r > '9') && r != '.' && r != ',' })
	if end < 0 {
		end = len(text)
	}
	return text[:end], text[end:]
}

// parseNumber reads an unsigned decimal number. A comma counts only between
// groups of three digits: "1,5" is refused rather than read as fifteen.
func parseNumber(digits string) (float64, bool) {
	whole, _, _ := strings.Cut(digits, ".")
	groups := strings.Split(whole, ",")
	for i, g := range groups {
		if i > 0 && len(g) != 3 || len(groups) > 1 && (g == "" || len(g) > 3) {
			return 0, false
		}
	}
	if strings.Contains(digits[len(whole):], ",") {
		return 0, false
	}
	v, err := strconv.ParseFloat(strings.Join(groups, "")+digits[len(whole):], 64)
	return v, err == nil && !math.IsInf(v, 0)
}

// number writes v with that many significant digits, but with no fewer than its
// whole part has, and without an exponent where it can do without.
func number(v float64, digits int) string {
	if a := math.Abs(v); a >= 1 && a < 1e15 {
		digits = max(digits, int(math.Log10(a))+1)
	}
	s := strconv.FormatFloat(v, 'g', digits, 64)
	if strings.ContainsAny(s, "eE") && math.Abs(v) < 1e15 && math.Abs(v) >= 1e-9 {
		r, _ := strconv.ParseFloat(s, 64)
		s = strconv.FormatFloat(r, 'f', -1, 64)
	}
	return s
}

// pair writes two numbers that differ so that the difference shows.
func pair(got, limit float64) (string, string) {
	for digits := 4; digits < 15; digits++ {
		if g, l := number(got, digits), number(limit, digits); g != l || got == limit {
			return g, l
		}
	}
	return number(got, 17), number(limit, 17)
}
