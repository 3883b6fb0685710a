// Package water keeps the water in the soil of a turf area day by day and says
// how much the grass is short of it.
package water

import (
	"math"
	"time"

	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

// Texture is what a soil holds for plants.
type Texture struct {
	Soil          turf.Soil
	FieldCapacity float64 // m³/m³
	WiltingPoint  float64 // m³/m³
	CurveNumber   float64 // of a lawn in good condition, for runoff
	Source        string
}

// Available is the water between field capacity and wilting point, m³/m³.
func (t Texture) Available() float64 { return t.FieldCapacity - t.WiltingPoint }

// Curve numbers of open space in good condition by hydrologic soil group. Source: T-23, from memory.
const (
	groupA = 39
	groupB = 61
	groupC = 74
	groupD = 80
)

// fromTable takes the middle of a printed range of available water and of wilting points.
func fromTable(s turf.Soil, wiltLow, wiltHigh, availableLow, availableHigh, cn float64) Texture {
	wilt := (wiltLow + wiltHigh) / 2
	return Texture{s, wilt + (availableLow+availableHigh)/2, wilt, cn, "T-12 table 19, middle of the range"}
}

// textures: ranges of wilting point and of available water from FAO-56 table
// 19; the three textures that the table lacks are from memory.
var textures = map[turf.Soil]Texture{
	"sand":            fromTable("sand", 0.02, 0.07, 0.05, 0.11, groupA),
	"loamy_sand":      fromTable("loamy_sand", 0.03, 0.10, 0.06, 0.12, groupA),
	"sandy_loam":      fromTable("sandy_loam", 0.06, 0.16, 0.11, 0.15, groupA),
	"loam":            fromTable("loam", 0.07, 0.17, 0.13, 0.18, groupB),
	"silt_loam":       fromTable("silt_loam", 0.09, 0.21, 0.13, 0.19, groupB),
	"silty_clay_loam": fromTable("silty_clay_loam", 0.17, 0.24, 0.13, 0.18, groupD),
	"silty_clay":      fromTable("silty_clay", 0.17, 0.29, 0.13, 0.19, groupD),
	"clay":            fromTable("clay", 0.20, 0.24, 0.12, 0.20, groupD),
	"sandy_clay_loam": {"sandy_clay_loam", 0.27, 0.16, groupC, "from memory"},
	"clay_loam":       {"clay_loam", 0.35, 0.21, groupD, "from memory"},
	"sandy_clay":      {"sandy_clay", 0.36, 0.24, groupD, "from memory"},
	turf.UnknownSoil:  {turf.UnknownSoil, 0.27, 0.13, groupB, "ours: between sandy loam and loam, so that dryness is seen early"},
}

// TextureOf is the soil's texture; an id that is not in the list is unknown soil.
func TextureOf(s turf.Soil) Texture {
	if t, ok := textures[s]; ok {
		return t
	}
	return textures[turf.UnknownSoil]
}

// RootDepth is how deep a species' roots draw water in a month when cut at a
// height. Far less than FAO-56 table 22 prints. Ours; roots of 6 to 8 in wet
// are named by T-30.
func RootDepth(s turf.Species, height unit.Length, month time.Month) unit.Length {
	summer := month == time.July || month == time.August
	mm := 200.0
	switch s {
	case turf.TallFescue:
		mm = 300
		if summer {
			mm = 200
		}
	case turf.KentuckyBluegrass, turf.PerennialRyegrass, turf.FineFescue, turf.MixedCool:
		if summer {
			mm = 150
		}
	case turf.BermudagrassCommon, turf.BermudagrassHybrid:
		mm = bermudaRoots(height)
	case turf.Buffalograss, turf.Bahiagrass:
		mm = 300
	case turf.CreepingBentgrass, turf.UnknownSpecies:
		mm = 150
	}
	return unit.Length(mm) * unit.Millimetre
}

// bermudaRoots runs from 150 mm at 3/4 in to 300 mm at 1.5 in.
func bermudaRoots(height unit.Length) float64 {
	share := (height.Inches() - 0.75) / 0.75
	if !(share > 0) {
		return 150
	}
	return 150 + 150*math.Min(1, share)
}

// TotalAvailable is the water that roots can draw, TAW. Source: T-12 eq. 82.
func TotalAvailable(fieldCapacity, wiltingPoint float64, roots unit.Length) unit.Length {
	return roots.Times(fieldCapacity - wiltingPoint)
}

// ReadilyAvailable is the part drawn without stress, RAW = p TAW. Source: T-12 eq. 83.
func ReadilyAvailable(total unit.Length, p float64) unit.Length { return total.Times(p) }

// DepletionFraction corrects the table's p for the day's crop evapotranspiration:
// p + 0.04 (5 - ETc), held to 0.1..0.8. Source: T-12 table 22, footnote.
func DepletionFraction(table float64, cropET unit.Length) float64 {
	return math.Max(0.1, math.Min(0.8, table+0.04*(5-cropET.Millimetres())))
}

// Stress is Ks: 1 while depletion is within p TAW, then falling to 0 at TAW.
// 0 where there is no available water. Source: T-12 eq. 84.
func Stress(total, depletion unit.Length, p float64) float64 {
	if !(total > 0) {
		return 0
	}
	if unit.AtMost(depletion, total.Times(p)) {
		return 1
	}
	return math.Max(0, math.Min(1, float64(total-depletion)/((1-p)*float64(total))))
}

// Runoff is the day's runoff of rain on a lawn by the curve number method:
// S = 25400/CN - 254 mm, (P - 0.2 S)²/(P + 0.8 S). Source: T-23, from memory.
func Runoff(rain unit.Length, curveNumber float64) unit.Length {
	if !(curveNumber > 0) || curveNumber > 100 || !(rain > 0) {
		return 0
	}
	s := 25400/curveNumber - 254
	p := rain.Millimetres()
	if p <= 0.2*s {
		return 0
	}
	return unit.Length((p-0.2*s)*(p-0.2*s)/(p+0.8*s)) * unit.Millimetre
}

// EffectiveRainMonthly is the month's rain that plants get: P (125 - 0.2 P)/125
// up to 250 mm, above that 125 + 0.1 P. Source: T-31.
func EffectiveRainMonthly(rain unit.Length) unit.Length {
	p := rain.Millimetres()
	if p > 250 {
		return unit.Length(125+0.1*p) * unit.Millimetre
	}
	return unit.Length(p*(125-0.2*p)/125) * unit.Millimetre
}

// AvailableByWeight is available water as a share of depth, m/m, from field
// capacity and wilting point by weight (shares) and bulk density in g/cm³. Source: T-32.
func AvailableByWeight(bulkDensity, fieldCapacity, wiltingPoint float64) float64 {
	return bulkDensity * (fieldCapacity - wiltingPoint)
}

// Account is the checkbook balance of a soil: each day balance + ET - rain, as
// that day's line shows it; the day's irrigation is taken off before the next.
// The three lists are as long as each other, else the shortest decides. Source: T-33.
func Account(et, rain, irrigation []unit.Length) []unit.Length {
	n := min(len(et), len(rain), len(irrigation))
	out := make([]unit.Length, n)
	var balance unit.Length
	for i := range n {
		balance += et[i] - rain[i]
		out[i] = balance
		balance -= irrigation[i]
	}
	return out
}
