// Package unit holds the quantities of the trade as typed numbers in SI.
//
// A quantity is made by multiplying a number by a named unit (2.5 * unit.Inch)
// and read by a method (h.Inches()). Two quantities meet only in a named
// method (amount.Over(area)). Liquid and dry amounts are different types.
package unit

import "math"

// Length in metres. Depths of water and heights of grass are lengths too.
type Length float64

// Units of length. Inch, foot and mile are the international ones, exact.
const (
	Metre      Length = 1
	Millimetre Length = 1e-3
	Centimetre Length = 1e-2
	Kilometre  Length = 1e3
	Inch       Length = 0.0254
	Foot       Length = 0.3048
	Yard       Length = 0.9144
	Mile       Length = 1609.344
)

// Metres reads the length in metres.
func (l Length) Metres() float64 { return float64(l) }

// Millimetres reads the length in millimetres.
func (l Length) Millimetres() float64 { return float64(l / Millimetre) }

// Inches reads the length in inches.
func (l Length) Inches() float64 { return float64(l / Inch) }

// Feet reads the length in feet.
func (l Length) Feet() float64 { return float64(l / Foot) }

// Miles reads the length in statute miles.
func (l Length) Miles() float64 { return float64(l / Mile) }

// Times scales the length by a number without dimension.
func (l Length) Times(f float64) Length { return Length(float64(l) * f) }

// Ratio is l / m; NaN when both are zero.
func (l Length) Ratio(m Length) float64 { return float64(l) / float64(m) }

// Area in square metres.
type Area float64

// Units of area. The acre is 43,560 square international feet.
const (
	SquareMetre Area = 1
	SquareFoot  Area = 0.3048 * 0.3048
	Thousand    Area = 1000 * SquareFoot // 1,000 sq ft, the trade's unit of rate
	SquareYard  Area = 9 * SquareFoot
	Acre        Area = 43560 * SquareFoot
	Hectare     Area = 1e4
)

// SquareMetres reads the area in square metres.
func (a Area) SquareMetres() float64 { return float64(a) }

// SquareFeet reads the area in square feet.
func (a Area) SquareFeet() float64 { return float64(a / SquareFoot) }

// Acres reads the area in acres.
func (a Area) Acres() float64 { return float64(a / Acre) }

// Mass in kilograms: dry amounts.
type Mass float64

// Units of mass. The pound is the avoirdupois pound, exact.
const (
	Kilogram Mass = 1
	Gram     Mass = 1e-3
	Pound    Mass = 0.45359237
	Ounce    Mass = 0.45359237 / 16
	ShortTon Mass = 2000 * Pound
)

// Kilograms reads the mass in kilograms.
func (m Mass) Kilograms() float64 { return float64(m) }

// Grams reads the mass in grams.
func (m Mass) Grams() float64 { return float64(m / Gram) }

// Pounds reads the mass in pounds.
func (m Mass) Pounds() float64 { return float64(m / Pound) }

// Ounces reads the mass in avoirdupois ounces.
func (m Mass) Ounces() float64 { return float64(m / Ounce) }

// Times scales the mass by a number without dimension.
func (m Mass) Times(f float64) Mass { return Mass(float64(m) * f) }

// Over spreads the mass over an area.
func (m Mass) Over(a Area) Spread { return Spread(float64(m) / float64(a)) }

// Volume in cubic metres: liquid amounts.
type Volume float64

// Units of volume. Gallon, quart, pint and fluid ounce are the US liquid ones.
const (
	CubicMetre Volume = 1
	Litre      Volume = 1e-3
	Millilitre Volume = 1e-6
	Gallon     Volume = 231 * 0.0254 * 0.0254 * 0.0254
	Quart      Volume = Gallon / 4
	Pint       Volume = Gallon / 8
	FluidOunce Volume = Gallon / 128
)

// Litres reads the volume in litres.
func (v Volume) Litres() float64 { return float64(v / Litre) }

// Gallons reads the volume in US gallons.
func (v Volume) Gallons() float64 { return float64(v / Gallon) }

// FluidOunces reads the volume in US fluid ounces.
func (v Volume) FluidOunces() float64 { return float64(v / FluidOunce) }

// Times scales the volume by a number without dimension.
func (v Volume) Times(f float64) Volume { return Volume(float64(v) * f) }

// Over spreads the volume over an area.
func (v Volume) Over(a Area) Coverage { return Coverage(float64(v) / float64(a)) }

// Spread is dry amount on area, kg/m².
type Spread float64

// PoundsPerThousand reads the spread in lb per 1,000 sq ft.
func (s Spread) PoundsPerThousand() float64 { return float64(s) / float64(Pound) * float64(Thousand) }

// PoundsPerAcre reads the spread in lb per acre.
func (s Spread) PoundsPerAcre() float64 { return float64(s) / float64(Pound) * float64(Acre) }

// On is the mass that the spread puts on an area.
func (s Spread) On(a Area) Mass { return Mass(float64(s) * float64(a)) }

// Coverage is liquid amount on area, m³/m².
type Coverage float64

// FluidOuncesPerThousand reads the coverage in fl oz per 1,000 sq ft.
func (c Coverage) FluidOuncesPerThousand() float64 {
	return float64(c) / float64(FluidOunce) * float64(Thousand)
}

// GallonsPerAcre reads the coverage in gal per acre.
func (c Coverage) GallonsPerAcre() float64 { return float64(c) / float64(Gallon) * float64(Acre) }

// On is the volume that the coverage puts on an area.
func (c Coverage) On(a Area) Volume { return Volume(float64(c) * float64(a)) }

// Growth is leaf extension, metres a day.
type Growth float64

// Units of growth.
const (
	MillimetrePerDay Growth = 1e-3
	InchPerDay       Growth = 0.0254
)

// MillimetresPerDay reads the growth in mm/d.
func (g Growth) MillimetresPerDay() float64 { return float64(g / MillimetrePerDay) }

// InDays is the length grown in that many days.
func (g Growth) InDays(days float64) Length { return Length(float64(g) * days) }

// Times scales the growth by a number without dimension.
func (g Growth) Times(f float64) Growth { return Growth(float64(g) * f) }

// DaysFor is how many days the growth takes to make a length; +Inf at no growth.
func (g Growth) DaysFor(l Length) float64 {
	if g <= 0 {
		return math.Inf(1)
	}
	return float64(l) / float64(g)
}

// Temperature in degrees Celsius, as a point on the scale, not a difference.
type Temperature float64

// Celsius makes a temperature from degrees C.
func Celsius(c float64) Temperature { return Temperature(c) }

// Fahrenheit makes a temperature from degrees F.
func Fahrenheit(f float64) Temperature { return Temperature((f - 32) / 1.8) }

// Celsius reads degrees C.
func (t Temperature) Celsius() float64 { return float64(t) }

// Fahrenheit reads degrees F.
func (t Temperature) Fahrenheit() float64 { return float64(t)*1.8 + 32 }

// Kelvin reads kelvins.
func (t Temperature) Kelvin() float64 { return float64(t) + 273.15 }

// Mean is the midpoint of two temperatures.
func Mean(a, b Temperature) Temperature { return (a + b) / 2 }

// Speed in metres a second.
type Speed float64

// Units of speed.
const (
	MetrePerSecond   Speed = 1
	MilePerHour      Speed = 1609.344 / 3600
	KilometrePerHour Speed = 1000.0 / 3600
)

// MetresPerSecond reads the speed in m/s.
func (s Speed) MetresPerSecond() float64 { return float64(s) }

// MilesPerHour reads the speed in mph.
func (s Speed) MilesPerHour() float64 { return float64(s / MilePerHour) }

// Fraction is a share, 0 to 1 unless the name says otherwise. Never percent.
type Fraction float64

// Percent makes a fraction from a percentage.
func Percent(p float64) Fraction { return Fraction(p / 100) }

// Percent reads the fraction as a percentage.
func (f Fraction) Percent() float64 { return float64(f) * 100 }

// limitSlack is the relative error that unit conversions may leave on a
// quantity that is exactly at a limit: a few units in the last place of a
// float64 after up to ten operations, far below any scale that weighs product.
const limitSlack = 1e-9

// AtMost says whether a is no more than limit, where being exactly at the
// limit passes even after a conversion has moved the last digits. NaN never
// passes, and what is infinite (an amount over no area) passes no finite limit.
func AtMost[Q ~float64](a, limit Q) bool {
	if math.IsInf(float64(a), 0) || math.IsInf(float64(limit), 0) {
		return a <= limit
	}
	return float64(a) <= float64(limit)+limitSlack*math.Max(math.Abs(float64(a)), math.Abs(float64(limit)))
}

// AtLeast says whether a is no less than limit, with the same slack as AtMost.
func AtLeast[Q ~float64](a, limit Q) bool { return AtMost(limit, a) }
