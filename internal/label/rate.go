package label

import (
	"slices"
	"strings"

	"thirdcut/internal/fault"
	"thirdcut/internal/unit"
)

// AllRateUnits lists every unit in which a rate may be entered, per 1,000 sq ft first.
var AllRateUnits = []RateUnit{
	LbPerThousand, OzPerThousand, FlOzPerThousand, GPerThousand, MLPerThousand,
	LbPerAcre, OzPerAcre, FlOzPerAcre, PtPerAcre, QtPerAcre, GalPerAcre, KgPerHectare, LPerHectare,
}

// amountUnit is one unit of product, either of mass or of volume.
type amountUnit struct {
	mass   unit.Mass
	volume unit.Volume
}

func (u amountUnit) liquid() bool { return u.volume != 0 }

// amountUnits are the units in which product is measured, under the name that
// rate units and screens print. "oz" is the ounce of weight, "fl oz" of volume.
var amountUnits = map[string]amountUnit{
	"lb": {mass: unit.Pound}, "oz": {mass: unit.Ounce}, "g": {mass: unit.Gram}, "kg": {mass: unit.Kilogram},
	"fl oz": {volume: unit.FluidOunce}, "pt": {volume: unit.Pint}, "qt": {volume: unit.Quart},
	"gal": {volume: unit.Gallon}, "mL": {volume: unit.Millilitre}, "L": {volume: unit.Litre},
}

var areaUnits = map[string]unit.Area{
	"1000 sq ft": unit.Thousand, "acre": unit.Acre, "ha": unit.Hectare,
}

// split returns the two halves of a rate unit; ok is false for one that is not in the list.
func (u RateUnit) split() (amount amountUnit, area unit.Area, ok bool) {
	if !u.Known() {
		return amountUnit{}, 0, false
	}
	a, b, _ := strings.Cut(string(u), "/")
	return amountUnits[a], areaUnits[b], true
}

// Known says whether the unit is in the list. The empty unit is not.
func (u RateUnit) Known() bool { return slices.Contains(AllRateUnits, u) }

// Liquid says whether the unit measures the product by volume.
func (u RateUnit) Liquid() bool {
	amount, _, ok := u.split()
	return ok && amount.liquid()
}

// AmountUnit is the product half of the unit: "fl oz" of "fl oz/acre". Empty for an unknown unit.
func (u RateUnit) AmountUnit() string {
	if !u.Known() {
		return ""
	}
	amount, _, _ := strings.Cut(string(u), "/")
	return amount
}

// Rate is product on area, dry or liquid; the two never meet. Exactly one of
// Spread and Coverage is meant, by Liquid. The zero value is a dry rate of nothing.
type Rate struct {
	Liquid   bool
	Spread   unit.Spread
	Coverage unit.Coverage
}

// Rate returns v in this unit as a typed rate; ok is false for an unknown unit.
func (u RateUnit) Rate(v float64) (r Rate, ok bool) {
	amount, area, ok := u.split()
	if !ok {
		return Rate{}, false
	}
	if amount.liquid() {
		return Rate{Liquid: true, Coverage: amount.volume.Times(v).Over(area)}, true
	}
	return Rate{Spread: amount.mass.Times(v).Over(area)}, true
}

// Read returns the rate as a number in this unit; ok is false for an unknown
// unit and for a dry rate read in a liquid unit or the reverse.
func (u RateUnit) Read(r Rate) (v float64, ok bool) {
	amount, area, ok := u.split()
	if !ok || amount.liquid() != r.Liquid {
		return 0, false
	}
	if r.Liquid {
		return float64(r.Coverage.On(area)) / float64(amount.volume), true
	}
	return float64(r.Spread.On(area)) / float64(amount.mass), true
}

// AtMost says whether the rate is no more than the limit; a rate exactly at the
// limit passes after conversion (unit.AtMost). False when one is dry and the other liquid.
func (r Rate) AtMost(limit Rate) bool {
	if r.Liquid != limit.Liquid {
		return false
	}
	if r.Liquid {
		return unit.AtMost(r.Coverage, limit.Coverage)
	}
	return unit.AtMost(r.Spread, limit.Spread)
}

// plus adds two rates of the same kind.
func (r Rate) plus(other Rate) Rate {
	r.Spread += other.Spread
	r.Coverage += other.Coverage
	return r
}

// On returns the amount that the rate puts on the area, without text as entered.
func (r Rate) On(a unit.Area) Amount {
	if r.Liquid {
		return Amount{Liquid: true, Volume: r.Coverage.On(a)}
	}
	return Amount{Mass: r.Spread.On(a)}
}

// In writes the rate as a person reads it, "0.87 g/1000 sq ft", in the unit. A
// rate of the other kind is written in lb or fl oz per 1,000 sq ft.
func (r Rate) In(u RateUnit) string {
	v, ok := u.Read(r)
	if !ok {
		u = LbPerThousand
		if r.Liquid {
			u = FlOzPerThousand
		}
		v, _ = u.Read(r)
	}
	return number(v, 4) + " " + string(u)
}

// rateSpellings maps what people write, after tidy, to the names used here.
var rateSpellings = map[string]string{
	"lb": "lb", "lbs": "lb", "pound": "lb", "pounds": "lb",
	"oz": "oz", "ounce": "oz", "ounces": "oz", "oz wt": "oz", "wt oz": "oz", "dry oz": "oz",
	"g": "g", "gram": "g", "grams": "g", "gm": "g",
	"kg": "kg", "kilogram": "kg", "kilograms": "kg",
	"fl oz": "fl oz", "floz": "fl oz", "fluid oz": "fl oz", "fluid ounce": "fl oz", "fluid ounces": "fl oz",
	"ml": "mL", "milliliter": "mL", "milliliters": "mL", "millilitre": "mL", "millilitres": "mL",
	"l": "L", "liter": "L", "liters": "L", "litre": "L", "litres": "L",
	"pt": "pt", "pts": "pt", "pint": "pt", "pints": "pt",
	"qt": "qt", "qts": "qt", "quart": "qt", "quarts": "qt",
	"gal": "gal", "gals": "gal", "gallon": "gal", "gallons": "gal",

	"1000 sq ft": "1000 sq ft", "1000 sqft": "1000 sq ft", "1000 ft2": "1000 sq ft", "1000 square feet": "1000 sq ft", "m": "1000 sq ft",
	"acre": "acre", "a": "acre", "ac": "acre", "acres": "acre",
	"ha": "ha", "hectare": "ha", "hectares": "ha",
}

// tidy lowers the case and drops dots, thousands commas and doubled blanks.
func tidy(s string) string {
	s = strings.ToLower(strings.ReplaceAll(s, "1,000", "1000"))
	s = strings.ReplaceAll(s, "1 000", "1000")
	s = strings.ReplaceAll(s, "²", "2")
	return strings.Join(strings.Fields(strings.ReplaceAll(s, ".", " ")), " ")
}

// ParseRateUnit reads a rate unit as labels and people write it ("lbs per acre",
// "fl. oz./1,000 sq. ft."). "oz" alone is the ounce of weight. The error is a
// fault.Invalid coded "rate-unit" that lists what is possible.
func ParseRateUnit(s string) (RateUnit, error) {
	t := tidy(s)
	amount, area, ok := strings.Cut(t, "/")
	if !ok {
		amount, area, ok = strings.Cut(t, " per ")
	}
	u := RateUnit(rateSpellings[strings.TrimSpace(amount)] + "/" + rateSpellings[strings.TrimSpace(area)])
	if !ok || !u.Known() {
		names := make([]string, len(AllRateUnits))
		for i, known := range AllRateUnits {
			names[i] = string(known)
		}
		return "", fault.New(fault.Invalid, "rate-unit", "%q is no unit of rate; use one of %s", s, strings.Join(names, ", "))
	}
	return u, nil
}
