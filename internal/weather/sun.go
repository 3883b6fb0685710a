package weather

import (
	"math"

	"thirdcut/internal/unit"
)

// SolarConstant of FAO-56 eq. 21, MJ/m²/min. Source: T-12.
const SolarConstant = 0.0820

// EvaporationPerMegajoule turns MJ/m²/d into mm/d (FAO-56 eq. 20). Source: T-12.
const EvaporationPerMegajoule = 0.408

// InverseRelativeDistance is the inverse relative distance Earth-Sun on a day
// of the year (1 to 366), without dimension. Source: T-12 eq. 23.
func InverseRelativeDistance(yearDay int) float64 {
	return 1 + 0.033*math.Cos(2*math.Pi*float64(yearDay)/365)
}

// SolarDeclination in radians on a day of the year. Source: T-12 eq. 24.
func SolarDeclination(yearDay int) float64 {
	return 0.409 * math.Sin(2*math.Pi*float64(yearDay)/365-1.39)
}

// SunsetHourAngle in radians at a latitude in degrees, north positive. The
// argument of the arc cosine is held to -1..1, so that polar day gives pi and
// polar night 0. Source: T-12 eq. 22 and 25 (26 and 27 are the same angle by arc tangent).
func SunsetHourAngle(latitude float64, yearDay int) float64 {
	x := -math.Tan(latitude*math.Pi/180) * math.Tan(SolarDeclination(yearDay))
	return math.Acos(math.Max(-1, math.Min(1, x)))
}

// DaylightHours is the longest possible sunshine of the day, hours. Source: T-12 eq. 34.
func DaylightHours(latitude float64, yearDay int) float64 {
	return 24 / math.Pi * SunsetHourAngle(latitude, yearDay)
}

// ExtraterrestrialRadiation is the day's radiation at the top of the
// atmosphere, MJ/m²/d, for a latitude in degrees (north positive). Never negative.
// Source: T-12 eq. 21.
func ExtraterrestrialRadiation(latitude float64, yearDay int) float64 {
	phi := latitude * math.Pi / 180
	decl := SolarDeclination(yearDay)
	omega := SunsetHourAngle(latitude, yearDay)
	ra := 24 * 60 / math.Pi * SolarConstant * InverseRelativeDistance(yearDay) *
		(omega*math.Sin(phi)*math.Sin(decl) + math.Cos(phi)*math.Cos(decl)*math.Sin(omega))
	return math.Max(0, ra)
}

// Hargreaves is the day's reference evapotranspiration, a depth of water, from
// the extremes of temperature and the extraterrestrial radiation in MJ/m²/d.
// Where max is below min, or the mean is under -17.8 C, it is 0.
// It reads high in humid summers; see water.Area.ETScale. Source: T-12 eq. 52.
func Hargreaves(highest, lowest unit.Temperature, radiation float64) unit.Length {
	mean := unit.Mean(highest, lowest).Celsius()
	span := math.Max(0, highest.Celsius()-lowest.Celsius())
	et := 0.0023 * (mean + 17.8) * math.Sqrt(span) * EvaporationPerMegajoule * radiation
	if !(et > 0) {
		return 0
	}
	return unit.Length(et) * unit.Millimetre
}

// ReferenceET is the day's reference evapotranspiration at a latitude in
// degrees by Hargreaves. Source: T-12 eq. 21 and 52.
func (d Day) ReferenceET(latitude float64) unit.Length {
	return Hargreaves(d.Max, d.Min, ExtraterrestrialRadiation(latitude, d.Date.YearDay()))
}

// DegreeDays of one day over a base, in C d: the midpoint of the extremes less
// the base, never negative. Source: T-20 (simple average method).
func DegreeDays(highest, lowest, base unit.Temperature) float64 {
	return math.Max(0, float64(unit.Mean(highest, lowest)-base))
}
