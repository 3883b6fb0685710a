package unit

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Entered is an amount as a person wrote it, the number and the unit apart and
// neither of them converted: what a legal record keeps beside the converted amount.
type Entered struct {
	Value string // as written, such as "2 1/2" or "8,500"
	Unit  string // lower case, single blanks, no full stop at its end; empty where none was given
}

// String puts number and unit together again.
func (e Entered) String() string { return strings.TrimSpace(e.Value + " " + e.Unit) }

// Number reads the number that was written.
func (e Entered) Number() (float64, error) {
	_, v, err := splitEntered(e.Value)
	return v, err
}

// Mass reads the amount as a dry one; without a unit, or with a liquid's, it is refused.
func (e Entered) Mass() (Mass, error) { return ParseMass(e.String(), 0) }

// Volume reads the amount as a liquid one; without a unit, or with a dry one's, it is refused.
func (e Entered) Volume() (Volume, error) { return ParseVolume(e.String(), 0) }

// fractions that keyboards and spreadsheets put into one sign.
var oneSign = strings.NewReplacer("½", " 1/2", "¼", " 1/4", "¾", " 3/4", "⅛", " 1/8", "⅜", " 3/8", "⅝", " 5/8", "⅞", " 7/8",
	"\u00a0", " ", "″", `"`, "”", `"`, "“", `"`, "′", "'", "’", "'", "−", "-", "–", "-")

var (
	// number, an optional fraction, then the unit.
	enteredForm = regexp.MustCompile(`^([+-]?[0-9][0-9,]*(?:\.[0-9]*)?(?:[eE][+-]?[0-9]{1,3}\b)?|[+-]?\.[0-9]+)?(?:[ -]*([0-9]+)/([0-9]+))?\s*(.*)$`)
	// another number behind the unit, not the 2 of m2
	anotherNumber = regexp.MustCompile(`(^|[\s/,])[0-9]|[,/]$`)
	grouped       = regexp.MustCompile(`^[+-]?[0-9]{1,3}(,[0-9]{3})+(\.[0-9]*)?$`)
)

// ParseEntered takes a number as offices write it (8,500 · 2 1/2 · 2½ · .25)
// and whatever unit follows apart. A comma that does not part thousands is
// refused, since "1,5" may mean 1.5 or a slip. The number alone may stand in
// the form 8.5e-2, in which spreadsheets keep small ones.
func ParseEntered(s string) (Entered, error) {
	e, _, err := splitEntered(s)
	return e, err
}

func splitEntered(s string) (Entered, float64, error) {
	text := strings.TrimSpace(oneSign.Replace(s))
	if text == "" {
		return Entered{}, 0, fmt.Errorf("nothing is written here; write a number with its unit")
	}
	m := enteredForm.FindStringSubmatch(text)
	if m == nil || (m[1] == "" && m[2] == "") {
		return Entered{}, 0, fmt.Errorf("%q is no number with a unit", s)
	}
	value, err := wholeAndFraction(s, m)
	if err != nil {
		return Entered{}, 0, err
	}
	unit := strings.TrimRight(strings.ToLower(strings.Join(strings.Fields(m[4]), " ")), ". ")
	if anotherNumber.MatchString(unit) {
		return Entered{}, 0, fmt.Errorf("%q is more than one number with a unit", s)
	}
	number := strings.TrimSpace(text[:len(text)-len(m[4])])
	return Entered{Value: number, Unit: unit}, value, nil
}

// firstFraction is the rest of "1/2 in" behind its 1.
var firstFraction = regexp.MustCompile(`^/([0-9]+)\s*(.*)$`)

func wholeAndFraction(s string, m []string) (float64, error) {
	whole, top, bottom := m[1], m[2], m[3]
	// The pattern takes "1/2" as the number 1 and no fraction when nothing
	// stands before; give the digit back.
	if whole != "" && top == "" && strings.HasPrefix(m[4], "/") {
		rest := firstFraction.FindStringSubmatch(m[4])
		if rest == nil || strings.ContainsAny(whole, ".,eE") {
			return 0, fmt.Errorf("%q is no number with a unit", s)
		}
		top, bottom, whole, m[4] = strings.TrimLeft(whole, "+-"), rest[1], whole[:len(whole)-len(strings.TrimLeft(whole, "+-"))], rest[2]
	}
	if top != "" && strings.ContainsAny(whole, ".eE") {
		return 0, fmt.Errorf("%q has a decimal and a fraction; write one of the two", s)
	}
	value, err := wholeNumber(s, whole)
	if err != nil || top == "" {
		return value, err
	}
	a, err1 := strconv.ParseFloat(top, 64)
	b, err2 := strconv.ParseFloat(bottom, 64)
	if err1 != nil || err2 != nil || b == 0 || math.IsInf(a/b, 0) {
		return 0, fmt.Errorf("%q has a fraction that is none", s)
	}
	if strings.HasPrefix(whole, "-") {
		return value - a/b, nil
	}
	return value + a/b, nil
}

func wholeNumber(s, whole string) (float64, error) {
	if strings.Trim(whole, "+-") == "" {
		return 0, nil // a fraction alone
	}
	if strings.Contains(whole, ",") && !grouped.MatchString(whole) {
		return 0, fmt.Errorf("the comma in %q does not part thousands; write decimals with a point", s)
	}
	v, err := strconv.ParseFloat(strings.ReplaceAll(whole, ",", ""), 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is no number", s)
	}
	return v, nil
}

// parse reads a quantity whose units are in the table; a bare number takes the
// fallback unit, and where there is no fallback it is refused.
func parse[Q ~float64](s, what string, units map[string]Q, fallback Q, example string) (Q, error) {
	e, value, err := splitEntered(s)
	if err != nil {
		return 0, fmt.Errorf("%v, such as %s", err, example)
	}
	factor, ok := units[e.Unit]
	if e.Unit == "" {
		if factor, ok = fallback, fallback != 0; !ok {
			return 0, fmt.Errorf("%q has no unit; write %s with one, such as %s", s, what, example)
		}
	}
	if !ok {
		return 0, fmt.Errorf("%q has the unit %q, which is no unit of %s here; write it such as %s", s, e.Unit, what, example)
	}
	q := Q(value) * factor
	if math.IsInf(float64(q), 0) {
		return 0, fmt.Errorf("%q is beyond all numbers; write %s such as %s", s, what, example)
	}
	return q, nil
}

var lengthUnits = map[string]Length{
	"m": Metre, "metre": Metre, "metres": Metre, "meter": Metre, "meters": Metre,
	"mm": Millimetre, "cm": Centimetre, "km": Kilometre,
	"in": Inch, "inch": Inch, "inches": Inch, `"`: Inch, "''": Inch, "ins": Inch,
	"ft": Foot, "foot": Foot, "feet": Foot, "'": Foot,
	"yd": Yard, "yard": Yard, "yards": Yard, "mi": Mile, "mile": Mile, "miles": Mile,
}

// ParseLength reads a length such as 2 1/2", 38 mm or 12 ft. A bare number is
// in the fallback unit; with a fallback of 0 it is refused.
func ParseLength(s string, fallback Length) (Length, error) {
	return parse(s, "length", lengthUnits, fallback, `2 1/2 in`)
}

var areaUnits = map[string]Area{
	"sq ft": SquareFoot, "sqft": SquareFoot, "sf": SquareFoot, "sq. ft": SquareFoot, "sq.ft": SquareFoot, "ft2": SquareFoot, "ft²": SquareFoot,
	"square feet": SquareFoot, "square foot": SquareFoot, "sq feet": SquareFoot,
	"ac": Acre, "acre": Acre, "acres": Acre,
	"m2": SquareMetre, "m²": SquareMetre, "sq m": SquareMetre, "sqm": SquareMetre, "square metres": SquareMetre, "square meters": SquareMetre,
	"ha": Hectare, "hectare": Hectare, "hectares": Hectare,
	"sq yd": SquareYard, "sqyd": SquareYard, "sy": SquareYard, "square yards": SquareYard,
	"k": Thousand, "k sq ft": Thousand, "k sf": Thousand, "ksf": Thousand,
}

// ParseArea reads an area such as 8,500 sf, 8.5k, 0.25 ac or 790 m2. A bare
// number is in the fallback unit; with a fallback of 0 it is refused. M, MSF and
// the like are refused, since they mean thousands to some and millions to others.
func ParseArea(s string, fallback Area) (Area, error) {
	if e, err := ParseEntered(s); err == nil && (e.Unit == "m" || e.Unit == "msf" || e.Unit == "m sf" || e.Unit == "m sq ft") {
		return 0, fmt.Errorf("%q can mean thousands or millions; write the square feet out, such as 8,500 sq ft", s)
	}
	return parse(s, "area", areaUnits, fallback, "8,500 sq ft")
}

var massUnits = map[string]Mass{
	"lb": Pound, "lbs": Pound, "pound": Pound, "pounds": Pound, "oz": Ounce, "ounce": Ounce, "ounces": Ounce, "oz wt": Ounce, "wt oz": Ounce,
	"g": Gram, "gram": Gram, "grams": Gram, "kg": Kilogram, "ton": ShortTon, "tons": ShortTon,
}

// ParseMass reads a dry amount such as 4.5 oz or 12 lb. A bare number is in the
// fallback unit; with a fallback of 0 it is refused.
func ParseMass(s string, fallback Mass) (Mass, error) {
	return parse(s, "weight", massUnits, fallback, "12 lb")
}

var volumeUnits = map[string]Volume{
	"gal": Gallon, "gallon": Gallon, "gallons": Gallon, "qt": Quart, "quart": Quart, "quarts": Quart, "pt": Pint, "pint": Pint, "pints": Pint,
	"fl oz": FluidOunce, "floz": FluidOunce, "fl. oz": FluidOunce, "fluid ounces": FluidOunce, "fluid ounce": FluidOunce,
	"l": Litre, "litre": Litre, "litres": Litre, "liter": Litre, "liters": Litre, "ml": Millilitre,
}

// ParseVolume reads a liquid amount such as 5 gal or 12 fl oz. A bare number is
// in the fallback unit; with a fallback of 0 it is refused. A plain "oz" is
// refused, since it may be a weight.
func ParseVolume(s string, fallback Volume) (Volume, error) {
	if e, err := ParseEntered(s); err == nil && (e.Unit == "oz" || e.Unit == "ounce" || e.Unit == "ounces") {
		return 0, fmt.Errorf("%q may be a weight; write fluid ounces as fl oz, such as %s fl oz", s, e.Value)
	}
	return parse(s, "volume", volumeUnits, fallback, "5 gal")
}

var speedUnits = map[string]Speed{
	"mph": MilePerHour, "mi/h": MilePerHour, "m/s": MetrePerSecond, "mps": MetrePerSecond, "km/h": KilometrePerHour, "kmh": KilometrePerHour, "kph": KilometrePerHour,
}

// ParseSpeed reads a speed such as 4 mph or 2 m/s. A bare number is in the
// fallback unit; with a fallback of 0 it is refused.
func ParseSpeed(s string, fallback Speed) (Speed, error) {
	return parse(s, "speed", speedUnits, fallback, "4 mph")
}

// ParseTemperature reads a temperature such as 71 F or 21.5 °C. A bare number
// is refused: 35 is mild in one scale and frost in the other.
func ParseTemperature(s string) (Temperature, error) {
	e, value, err := splitEntered(s)
	if err != nil {
		return 0, fmt.Errorf("%v, such as 71 F", err)
	}
	switch strings.TrimPrefix(strings.TrimPrefix(strings.TrimPrefix(e.Unit, "degrees"), "deg"), "°") {
	case "f", " f", "fahrenheit", " fahrenheit":
		return Fahrenheit(value), nil
	case "c", " c", "celsius", " celsius":
		return Celsius(value), nil
	}
	return 0, fmt.Errorf("%q does not say its scale; write it such as 71 F or 21.5 C", s)
}
