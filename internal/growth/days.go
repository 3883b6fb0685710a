package growth

import (
	"math"
	"time"

	"thirdcut/internal/civil"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/weather"
)

// mostMissing is how many unknown days since 1 January the degree-days of the
// spring flush bear; with more the flush is left out. Ours.
const mostMissing = 10

// ClimateDay is what the weather alone decides about a day's growth.
type ClimateDay struct {
	Date       civil.Date
	MeanC      float64 // mean air temperature
	SpreadC    float64 // what it may still turn out to be, standard deviation
	Quality    weather.Quality
	Known      bool    // false: nothing is known and good growing weather is taken
	DegreeDays float64 // base 0 C from 1 January
	WeekC      float64 // mean of the last seven days
	WeekKnown  bool
	Season     float64 // cool-season flush
	Cool, Warm curve
}

// curve is the growth potential expected under the day's spread, and its deviation.
type curve struct{ Mean, Deviation float64 }

// Climate is the growing weather of one place over consecutive days. Make it
// once a place and share it between the areas there.
type Climate struct {
	Days        []ClimateDay
	Persistence float64 // correlation of a day's departure with the next day's
}

// Read prepares the growing weather of from..to, both included; empty when to
// is before from.
func Read(w weather.Series, from, to civil.Date) Climate {
	n := to.Since(from) + 1
	if n <= 0 {
		return Climate{}
	}
	c := Climate{Days: make([]ClimateDay, n), Persistence: w.Normals().Persistence()}
	sum, missing := w.DegreeDays(0, from.AddDays(-1))
	week := newWeek(w, from)
	if from.Month == time.January && from.Day == 1 {
		sum, missing = 0, 0
	}
	for i := range c.Days {
		d := from.AddDays(i)
		if d.Month == time.January && d.Day == 1 {
			sum, missing = 0, 0
		}
		day, ok := w.On(d)
		if ok {
			sum += weather.DegreeDays(day.Max, day.Min, 0)
		} else {
			missing++
		}
		week.add(day, ok)
		c.Days[i] = readDay(w, d, day, ok)
		c.Days[i].DegreeDays = sum
		c.Days[i].WeekC, c.Days[i].WeekKnown = week.mean()
		c.Days[i].Season = 1
		if missing <= mostMissing || int(d.Month) >= autumnBeginMonth {
			c.Days[i].Season = SeasonFactor(CoolSeason, sum, d)
		}
	}
	return c
}

func readDay(w weather.Series, d civil.Date, day weather.Day, ok bool) ClimateDay {
	if !ok {
		return ClimateDay{Date: d, MeanC: math.NaN(), Cool: curve{1, 0}, Warm: curve{1, 0}}
	}
	mean, spread := day.MeanTemperature().Celsius(), w.SpreadC(d)
	return ClimateDay{Date: d, MeanC: mean, SpreadC: spread, Quality: day.Quality, Known: true,
		Cool: expect(CoolPotential, mean, spread), Warm: expect(WarmPotential, mean, spread)}
}

// expect is the mean and deviation of f under a normal spread, by the
// three-point Gauss-Hermite rule (nodes 0 and ±sqrt 3, weights 2/3 and 1/6).
func expect(f func(float64) float64, mean, spread float64) curve {
	if spread <= 0 {
		return curve{f(mean), 0}
	}
	lo, mid, hi := f(mean-math.Sqrt(3)*spread), f(mean), f(mean+math.Sqrt(3)*spread)
	m := (4*mid + lo + hi) / 6
	v := (4*(mid-m)*(mid-m) + (lo-m)*(lo-m) + (hi-m)*(hi-m)) / 6
	return curve{m, math.Sqrt(v)}
}

// week keeps the last seven daily means.
type week struct {
	c  [7]float64
	ok [7]bool
	i  int
}

func newWeek(w weather.Series, before civil.Date) *week {
	k := &week{}
	for i := -6; i < 0; i++ {
		k.add(w.On(before.AddDays(i)))
	}
	return k
}

func (k *week) add(d weather.Day, ok bool) {
	k.c[k.i%7], k.ok[k.i%7] = d.MeanTemperature().Celsius(), ok
	k.i++
}

func (k *week) mean() (float64, bool) {
	s, n := 0.0, 0
	for i, ok := range k.ok {
		if ok {
			s += k.c[i]
			n++
		}
	}
	if n < 4 {
		return math.NaN(), false
	}
	return s / float64(n), true
}

// Area is what growth has to know about a turf area.
type Area struct {
	Species      turf.Species
	Height       unit.Length // cutting height
	Exposure     turf.Exposure
	Irrigated    bool
	NitrogenYear *float64 // lb N per 1,000 sq ft a year; nil: the species' usual
	Regulators   []Regulator
	Measured     civil.Date // last height measured by a person; it ends drought rest
}

// Daily are series beside the climate, one value a day from its first day. A
// missing or short series means: no stress; nitrogen as the year's steady level.
type Daily struct {
	Ks   []float64 // water stress coefficient, 0..1
	Pool []float64 // available nitrogen, lb N per 1,000 sq ft
}

// Factors is one day's growth with every factor, as "why this date" shows it.
// Extension is their product with k = 1; Deviation is what the weather may
// still change in it.
type Factors struct {
	Date        civil.Date      `json:"date"`
	MeanC       float64         `json:"mean_c"` // 0 when Quality is empty
	Quality     weather.Quality `json:"quality"`
	Rate        float64         `json:"rate_mm_d"`
	Height      float64         `json:"height"`
	Temperature float64         `json:"temperature"`
	Season      float64         `json:"season"`
	Water       float64         `json:"water"`
	Nitrogen    float64         `json:"nitrogen"`
	Light       float64         `json:"light"`
	Regulator   float64         `json:"regulator"`
	Recovery    float64         `json:"recovery"`
	Rest        Rest            `json:"-"`
	RestWords   string          `json:"rest,omitempty"`
	Extension   float64         `json:"extension_mm"`
	Deviation   float64         `json:"deviation_mm"`
}

// Extend computes the area's growth of each day of the climate with k = 1.
// Rest from drought is followed from the climate's first day on, so that day
// must lie far enough back (two months).
func (a Area) Extend(c Climate, daily Daily) []Factors {
	out := make([]Factors, len(c.Days))
	a.Each(c, daily, func(i int, f Factors) { out[i] = f })
	return out
}

// Each is Extend without keeping the days: it hands each to the function.
func (a Area) Each(c Climate, daily Daily, each func(i int, f Factors)) {
	t := Of(a.Species)
	steady := a.steadyNitrogen(t)
	height, light := HeightTerm(a.Height, t.ReferenceHeight), LightFactor(a.Exposure)
	var dry Drought
	for i := range c.Days {
		d := &c.Days[i]
		f := Factors{Date: d.Date, Quality: d.Quality, Rate: t.Rate.MillimetresPerDay(), Height: height,
			Light: light, Nitrogen: steady, Water: 1, Regulator: 1}
		if d.Known {
			f.MeanC = d.MeanC
		}
		if i < len(daily.Ks) {
			f.Water = WaterFactor(daily.Ks[i])
		}
		if i < len(daily.Pool) {
			f.Nitrogen = NitrogenFactor(daily.Pool[i])
		}
		if len(a.Regulators) > 0 {
			f.Regulator = RegulatorFactor(d.Date, a.Regulators)
		}
		dev := f.bySeason(t.Season, d)
		a.rest(&f, t.Season, d, &dry)
		rest := f.Rate * f.Height * f.Season * f.Water * f.Nitrogen * f.Light * f.Regulator * f.Recovery
		f.Extension, f.Deviation = rest*f.Temperature, rest*dev
		each(i, f)
	}
}

// bySeason sets the temperature and season factors and returns the deviation
// of the temperature factor. Unnamed grass grows by whichever season is faster.
func (f *Factors) bySeason(k Season, d *ClimateDay) (deviation float64) {
	if k == CoolSeason || k == EitherSeason && d.Cool.Mean*d.Season >= d.Warm.Mean {
		f.Temperature, f.Season = d.Cool.Mean, d.Season
		return d.Cool.Deviation
	}
	f.Temperature, f.Season = d.Warm.Mean, 1
	return d.Warm.Deviation
}

func (a Area) rest(f *Factors, k Season, d *ClimateDay, dry *Drought) {
	f.Recovery = 1
	switch {
	case k == WarmSeason && d.WeekKnown:
		f.Recovery = ColdFactor(k, unit.Celsius(d.WeekC))
		if f.Recovery == 0 {
			f.Rest = ColdRest
		}
	case k == CoolSeason && !a.Irrigated:
		measured := !a.Measured.IsZero() && a.Measured == d.Date
		f.Rest, f.Recovery = dry.Next(f.Water, measured)
	}
	if f.Rest != Awake {
		f.RestWords = f.Rest.Words()
	}
}

// steadyNitrogen is the factor where no pool is kept: from the year's amount,
// else the species' usual, else 1.
func (a Area) steadyNitrogen(t Traits) float64 {
	if a.NitrogenYear != nil {
		return NitrogenFactor(SteadyPool(*a.NitrogenYear))
	}
	if lb, ok := t.UsualNitrogen(); ok {
		return NitrogenFactor(SteadyPool(lb))
	}
	return 1
}
