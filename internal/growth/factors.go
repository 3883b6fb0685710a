package growth

import (
	"math"

	"thirdcut/internal/civil"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

// Constants of the factors. All but the published ones are ours.
const (
	leastHeightTerm = 0.7
	mostHeightTerm  = 1.3

	// FlushAmplitude is how much faster cool-season leaves extend in the
	// reproductive flush of spring at the same temperature. The direction is
	// published (T-13), the size is ours and may be larger in the north.
	FlushAmplitude   = 0.35
	flushRiseFrom    = 250.0 // degree-days, base 0 C from 1 January
	flushRiseTo      = 500.0
	flushFallFrom    = 1100.0
	flushFallTo      = 1500.0
	autumnSeason     = 0.9 // from 1 September
	autumnBeginMonth = 9

	// NitrogenDecay is the share of the pool that goes in a day at full growth: half in 17 days.
	NitrogenDecay  = 0.04
	nitrogenFull   = 0.45 // lb N/1000 sq ft (22 kg/ha) that doubles leaf growth; T-15
	nitrogenBeyond = 0.9  // lb over that until the top
	nitrogenFloor  = 0.5
	nitrogenTop    = 0.3
	// yearGrowingDays is the sum of growth potential over a year that a steady
	// program is spread over: 2.7 lb a year then holds the pool at nitrogenFull.
	yearGrowingDays = 150.0

	defaultRegulator = 0.5  // where the label is silent
	reboundDays      = 14   // after a regulator ends; common practice
	reboundFactor    = 1.15 // common practice

	// Warm-season grass rests under a weekly mean of 50 F and is fully awake at 55 F. Source: T-24.
	DormantBelowF = 50.0
	AwakeFromF    = 55.0

	// Drought rest of cool-season grass that is not watered.
	DroughtStress = 0.2 // Ks under which the days count
	DroughtDays   = 10  // so many of them bring rest
	RecoveryDays  = 14  // from 0 to full growth after the soil is wet again
	// EarliestCutInRecovery: grass that has just woken is left alone for so many days.
	EarliestCutInRecovery = 10
)

// Potential is the growth potential, 0 to 1, at a mean air temperature in C:
// exp(-0.5 ((T - optimum)/spread)^2); capped keeps it at 1 above the optimum.
// A spread that is not positive gives 0. Source: T-01, the cap T-02.
func Potential(meanC, optimumC, spreadC float64, capped bool) float64 {
	if capped && meanC >= optimumC {
		return 1
	}
	if !(spreadC > 0) || math.IsNaN(meanC) {
		return 0
	}
	z := (meanC - optimumC) / spreadC
	return math.Exp(-0.5 * z * z)
}

// CoolPotential is Potential of cool-season grass. Source: T-01.
func CoolPotential(meanC float64) float64 { return Potential(meanC, CoolOptimumC, CoolSpreadC, false) }

// WarmPotential is Potential of warm-season grass, which does not fall above
// its optimum. Source: T-01, T-02.
func WarmPotential(meanC float64) float64 { return Potential(meanC, WarmOptimumC, WarmSpreadC, true) }

// Crossover is the mean temperature, in C, at which both curves are equal.
// Source: derived from T-01.
func Crossover(coolOptimumC, coolSpreadC, warmOptimumC, warmSpreadC float64) float64 {
	return (coolSpreadC*warmOptimumC + warmSpreadC*coolOptimumC) / (coolSpreadC + warmSpreadC)
}

// HeightTerm is how much faster longer-cut grass extends than at the reference
// height: the square root of the ratio, held to 0.7..1.3. Ours: longer sheaths
// carry longer leaves. 1 where either height is not positive.
func HeightTerm(height, reference unit.Length) float64 {
	r := height.Ratio(reference)
	if !(r > 0) || math.IsInf(r, 0) || !(height > 0) {
		return 1
	}
	return math.Max(leastHeightTerm, math.Min(mostHeightTerm, math.Sqrt(r)))
}

// SeasonFactor is the spring flush and the autumn ebb of cool-season grass by
// degree-days over 0 C from 1 January; 1 for warm-season grass.
// Source: direction T-13, size ours (FlushAmplitude).
func SeasonFactor(k Season, degreeDays float64, on civil.Date) float64 {
	if k != CoolSeason {
		return 1
	}
	if int(on.Month) >= autumnBeginMonth {
		return autumnSeason
	}
	up := ramp(degreeDays, flushRiseFrom, flushRiseTo)
	down := 1 - ramp(degreeDays, flushFallFrom, flushFallTo)
	return 1 + FlushAmplitude*math.Min(up, down)
}

// ramp runs from 0 at a to 1 at b.
func ramp(x, a, b float64) float64 { return math.Max(0, math.Min(1, (x-a)/(b-a))) }

// NitrogenFactor is the growth factor of a pool of nitrogen available to the
// plant, lb N per 1,000 sq ft: 0.5 at none, 1 at 0.45 lb, 1.3 at most.
// Source: fits T-15 (22 kg/ha doubles); form ours.
func NitrogenFactor(poolLb float64) float64 {
	if !(poolLb > 0) {
		return nitrogenFloor
	}
	if poolLb <= nitrogenFull {
		return nitrogenFloor + (1-nitrogenFloor)*poolLb/nitrogenFull
	}
	return 1 + nitrogenTop*math.Min(1, (poolLb-nitrogenFull)/nitrogenBeyond)
}

// NextPool is the nitrogen pool, lb N per 1,000 sq ft, after a day: what was
// released comes in, and a share goes with growth. Source: ours.
func NextPool(poolLb, releasedLb, potential float64) float64 {
	return math.Max(0, (poolLb+releasedLb)*(1-NitrogenDecay*potential))
}

// SteadyPool is the pool at which a yearly amount of nitrogen, lb N per 1,000
// sq ft, spread evenly over the growing season, settles. Ours: income a
// growing day over the share that goes in it.
func SteadyPool(yearLb float64) float64 {
	if !(yearLb > 0) {
		return 0
	}
	return yearLb / (yearGrowingDays * NitrogenDecay)
}

// WaterFactor is Ks, held to 0..1; 1 where it is unknown (NaN). Leaf extension
// feels drought before transpiration does (T-28), so drought must not teach k.
func WaterFactor(ks float64) float64 {
	if math.IsNaN(ks) {
		return 1
	}
	return math.Max(0, math.Min(1, ks))
}

// LightFactor is the factor of an exposure: shade makes grass stretch and thin
// out rather than grow slower. Ours.
func LightFactor(e turf.Exposure) float64 {
	switch e {
	case turf.PartShade:
		return 0.95
	case turf.Shade:
		return 0.9
	}
	return 1
}

// Regulator is one application of a growth regulator.
type Regulator struct {
	From   civil.Date
	Days   int     // by its label
	Factor float64 // by its label, 0 to 1; 0 means that the label is silent
}

// RegulatorFactor is the growth factor of what was put down: the strongest one
// in force; for two weeks after the last one ends grass rebounds by 1.15.
// Source: common practice; 0.5 where the label is silent.
func RegulatorFactor(on civil.Date, put []Regulator) float64 {
	f, active, rebound := 1.0, false, false
	for _, r := range put {
		age := on.Since(r.From)
		switch {
		case age < 0 || r.Days <= 0:
		case age < r.Days:
			active = true
			f = math.Min(f, regulatorStrength(r))
		case age < r.Days+reboundDays:
			rebound = true
		}
	}
	if !active && rebound {
		return reboundFactor
	}
	return f
}

func regulatorStrength(r Regulator) float64 {
	if !(r.Factor > 0) {
		return defaultRegulator
	}
	return math.Min(1, r.Factor)
}

// ColdFactor is how awake grass is by the mean of the last seven days: 0 under
// 50 F, 1 from 55 F for warm-season grass; 1 for the rest. Source: T-24.
func ColdFactor(k Season, weekMean unit.Temperature) float64 {
	if k != WarmSeason {
		return 1
	}
	return ramp(weekMean.Fahrenheit(), DormantBelowF, AwakeFromF)
}

// MonthlyNitrogen is a month's nitrogen in proportion to growth potential (not
// capped), in the unit of the maximum. Source: T-29.
func MonthlyNitrogen(meanC float64, k Season, maximum float64) float64 {
	if k == WarmSeason {
		return maximum * Potential(meanC, WarmOptimumC, WarmSpreadC, false)
	}
	return maximum * CoolPotential(meanC)
}
