package water

import (
	"math"

	"thirdcut/internal/civil"
	"thirdcut/internal/growth"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/weather"
)

// Coefficients of turf. Source: T-12 table 12 (Kc mid) and table 22 (p).
const (
	coolKc = 0.95
	warmKc = 0.85
	coolP  = 0.4
	warmP  = 0.5

	// HumidScale is the default scale of Hargreaves east of the Great Plains,
	// where it reads high in summer. Ours; the office can set it.
	HumidScale = 0.88

	lightRain = 0.2 // share of ETo below which a day's rain only wets the leaf; T-12 chapter 8
)

// CropCoefficient is Kc of a species; unknown grass takes the thirstier one.
// Source: T-12 table 12.
func CropCoefficient(s turf.Species) float64 {
	if growth.Of(s).Season == growth.WarmSeason {
		return warmKc
	}
	return coolKc
}

// TableDepletion is p of a species at 5 mm/d; unknown grass takes the smaller.
// Source: T-12 table 22.
func TableDepletion(s turf.Species) float64 {
	if growth.Of(s).Season == growth.WarmSeason {
		return warmP
	}
	return coolP
}

// Area is what the balance has to know about a turf area.
type Area struct {
	Species   turf.Species
	Height    unit.Length
	Soil      turf.Soil
	Irrigated bool
	ETScale   float64 // of reference evapotranspiration; 0 is 1

	// Irrigation is the depth put on by day, where it is known. An irrigated
	// area without a known depth that day is taken as watered back to field
	// capacity once depletion passes RAW.
	Irrigation map[civil.Date]unit.Length
}

// Day is one day's line of the balance; depths of water. The columns close:
// Depletion = Before + Used - Rain + Intercepted + Runoff - Irrigation +
// Drainage + RootChange.
type Day struct {
	Date        civil.Date
	ReferenceET unit.Length // scaled
	CropET      unit.Length // Kc ETo, without stress
	Total       unit.Length // TAW
	Readily     unit.Length // RAW
	Before      unit.Length // depletion the evening before
	Rain        unit.Length
	RainKnown   bool // false: nothing is known of that day's rain and none is counted
	Intercepted unit.Length
	Runoff      unit.Length
	Irrigation  unit.Length
	Assumed     bool // the irrigation is taken, not told
	Drainage    unit.Length
	RootChange  unit.Length // depletion that came or went with the depth of the roots
	Ks          float64
	Used        unit.Length // evapotranspiration, with stress
	Depletion   unit.Length // in the evening, 0..TAW
	Quality     weather.Quality
}

// Balance keeps the soil water of from..to, both included, from a depletion the
// evening before (held to 0..TAW; negative or NaN is half of TAW, for a start
// that nobody knows). Days without any known weather use no water and get no
// rain. Source: T-12 chapter 8, eq. 85.
func Balance(a Area, w weather.Series, from, to civil.Date, start unit.Length) []Day {
	n := to.Since(from) + 1
	if n <= 0 {
		return nil
	}
	tex := TextureOf(a.Soil)
	out := make([]Day, n)
	total := a.total(tex, from)
	depletion := min(start, total)
	if !(start >= 0) {
		depletion = total / 2
	}
	for i := range out {
		d := from.AddDays(i)
		now := a.total(tex, d)
		out[i] = a.step(w, d, tex, depletion, total, now)
		depletion, total = out[i].Depletion, now
	}
	return out
}

func (a Area) total(tex Texture, d civil.Date) unit.Length {
	return TotalAvailable(tex.FieldCapacity, tex.WiltingPoint, RootDepth(a.Species, a.Height, d.Month))
}

func (a Area) step(w weather.Series, d civil.Date, tex Texture, depletion, was, total unit.Length) Day {
	day := Day{Date: d, Before: depletion, Total: total}
	// Roots that grow deeper or die back keep the same share of their water.
	day.RootChange = depletion.Times(total.Ratio(was)) - depletion
	depletion += day.RootChange
	a.weather(&day, w, tex)
	p := DepletionFraction(TableDepletion(a.Species), day.CropET)
	day.Readily = ReadilyAvailable(total, p)

	depletion -= day.Rain - day.Intercepted - day.Runoff
	a.irrigate(&day, max(0, depletion))
	depletion -= day.Irrigation
	day.Drainage = max(0, -depletion)
	depletion += day.Drainage
	day.Ks = Stress(total, depletion, p)
	day.Used = min(day.CropET.Times(day.Ks), max(0, total-depletion))
	day.Depletion = depletion + day.Used
	return day
}

func (a Area) weather(day *Day, w weather.Series, tex Texture) {
	v, ok := w.On(day.Date)
	if !ok {
		return
	}
	day.Quality = v.Quality
	scale := a.ETScale
	if !(scale > 0) {
		scale = 1
	}
	day.ReferenceET = v.ReferenceET(w.Place.Latitude).Times(scale)
	day.CropET = day.ReferenceET.Times(CropCoefficient(a.Species))
	if !v.HasPrecipitation() || v.Precipitation < 0 || math.IsInf(float64(v.Precipitation), 0) {
		return
	}
	day.Rain, day.RainKnown = v.Precipitation, true
	day.Runoff = Runoff(day.Rain, tex.CurveNumber)
	if day.Rain < day.ReferenceET.Times(lightRain) {
		day.Intercepted = day.Rain - day.Runoff
	}
}

func (a Area) irrigate(day *Day, depletion unit.Length) {
	if told, ok := a.Irrigation[day.Date]; ok {
		if told > 0 && !math.IsInf(float64(told), 0) {
			day.Irrigation = told
		}
		return
	}
	if a.Irrigated && depletion > day.Readily {
		day.Irrigation, day.Assumed = depletion, true
	}
}

// StressOf is the Ks column, as growth.Daily takes it.
func StressOf(days []Day) []float64 {
	out := make([]float64, len(days))
	for i, d := range days {
		out[i] = d.Ks
	}
	return out
}
