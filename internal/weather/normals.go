package weather

import (
	"math"
	"slices"
	"time"

	"thirdcut/internal/civil"
	"thirdcut/internal/unit"
)

// Smoothing of normals, all ours: a mean over about five weeks, with near days
// weighing more, keeps the season and drops single storms.
const (
	normalReach     = 17   // days each side
	normalBandwidth = 7.0  // days, standard deviation of the weights
	spreadReach     = 15   // days each side over which the spread is pooled
	leastSpread     = 0.5  // C; a single year cannot claim to know better
	mostSpread      = 15.0 // C; a handful of odd days must not say more
	usualLag        = 0.65 // day-to-day correlation where the record is too short to tell
	daysForLag      = 60   // pairs of days from which the record tells it itself
	yearLength      = 366  // 29 February has its own place
)

type normalDay struct {
	known     bool
	max, min  float64 // C
	rain      float64 // mm a day, NaN when unknown
	spread    float64 // C, standard deviation of the daily mean
	hasSpread bool
}

// Normals are the usual weather of each day of the year. The zero value knows nothing.
type Normals struct {
	days  *[yearLength]normalDay
	years int
	lag   float64
}

// Known says whether there are normals at all.
func (n Normals) Known() bool { return n.days != nil }

// Years is from how many calendar years they were made.
func (n Normals) Years() int { return n.years }

// Persistence is the correlation of a day's departure from normal with the
// next day's, 0 to 0.95.
func (n Normals) Persistence() float64 {
	if n.days == nil {
		return usualLag
	}
	return n.lag
}

// place counts days of the year in a leap year, from 0, so that dates after
// February fall together in every year.
func place(d civil.Date) int {
	return civil.Date{Year: 2000, Month: d.Month, Day: d.Day}.YearDay() - 1
}

// NormalsFrom makes normals from days of past years; years named in except are
// left out, as a season must not be judged by its own weather. Forecasts,
// filled and normal days do not count. Method ours: means smoothed over about
// five weeks, spread of the daily mean pooled over a month.
func NormalsFrom(days []Day, except ...int) Normals {
	used := make([]Day, 0, len(days))
	years := map[int]bool{}
	for _, d := range days {
		if (d.Quality == Observed || d.Quality == Station) && !slices.Contains(except, d.Date.Year) && sound(d) {
			used = append(used, d)
			years[d.Date.Year] = true
		}
	}
	if len(used) == 0 {
		return Normals{}
	}
	table := smoothMeans(used)
	lag := addSpread(table, used)
	return Normals{days: table, years: len(years), lag: lag}
}

type sums struct{ days, max, min, rainDays, rain float64 }

func smoothMeans(used []Day) *[yearLength]normalDay {
	var raw [yearLength]sums
	for _, d := range used {
		s := &raw[place(d.Date)]
		s.days++
		s.max += d.Max.Celsius()
		s.min += d.Min.Celsius()
		if d.HasPrecipitation() {
			s.rainDays++
			s.rain += d.Precipitation.Millimetres()
		}
	}
	table := new([yearLength]normalDay)
	for i := range table {
		var t sums
		for off := -normalReach; off <= normalReach; off++ {
			w := math.Exp(-0.5 * math.Pow(float64(off)/normalBandwidth, 2))
			s := raw[(i+off+yearLength)%yearLength]
			t.days += w * s.days
			t.max += w * s.max
			t.min += w * s.min
			t.rainDays += w * s.rainDays
			t.rain += w * s.rain
		}
		if t.days > 0 {
			table[i] = normalDay{known: true, max: t.max / t.days, min: t.min / t.days, rain: t.rain / t.rainDays}
		}
	}
	return table
}

// addSpread fills in the spread of the daily mean about the smoothed mean and
// returns the correlation of neighbouring days.
func addSpread(table *[yearLength]normalDay, used []Day) (lag float64) {
	var squares, counts [yearLength]float64
	departure := make(map[int]float64, len(used))
	for _, d := range used {
		n := table[place(d.Date)]
		r := d.MeanTemperature().Celsius() - (n.max+n.min)/2
		squares[place(d.Date)] += r * r
		counts[place(d.Date)]++
		departure[d.Date.DayNumber()] = r
	}
	for i := range table {
		var s, n float64
		for off := -spreadReach; off <= spreadReach; off++ {
			j := (i + off + yearLength) % yearLength
			s += squares[j]
			n += counts[j]
		}
		if n > 1 {
			table[i].spread, table[i].hasSpread = math.Max(leastSpread, math.Min(mostSpread, math.Sqrt(s/(n-1)))), true
		}
	}
	return lagOf(departure)
}

func lagOf(departure map[int]float64) float64 {
	var cross, a, b float64
	pairs := 0
	// In order of date: sums of floats in map order would differ from run to run.
	keys := make([]int, 0, len(departure))
	for n := range departure {
		keys = append(keys, n)
	}
	slices.Sort(keys)
	for _, n := range keys {
		next, ok := departure[n+1]
		if !ok {
			continue
		}
		r := departure[n]
		pairs++
		cross += r * next
		a += r * r
		b += next * next
	}
	if pairs < daysForLag || a == 0 || b == 0 {
		return usualLag
	}
	return math.Max(0, math.Min(0.95, cross/math.Sqrt(a*b)))
}

// On is the normal day at a date, and the standard deviation of its mean
// temperature in C; false when nothing is known of that time of year.
func (n Normals) On(d civil.Date) (day Day, spreadC float64, ok bool) {
	if n.days == nil {
		return Day{}, 0, false
	}
	v := n.days[place(d)]
	if !v.known {
		return Day{}, 0, false
	}
	spread := v.spread
	if !v.hasSpread {
		spread = usualSpread
	}
	return Day{Date: d, Max: unit.Celsius(v.max), Min: unit.Celsius(v.min),
		Precipitation: unit.Length(v.rain) * unit.Millimetre, Wind: unit.Speed(math.NaN()),
		Quality: Normal, Source: "mean of past years"}, spread, true
}

// LastFrost is the last day of spring (1 February to 30 June) on which the
// chance of a minimum at or under freezing is at least that share, by normals;
// false when normals are missing or frost is rarer than that. The minimum is
// taken to spread like the daily mean (ours).
func (n Normals) LastFrost(year int, share float64) (civil.Date, bool) {
	for d := civil.On(year, time.June, 30); !d.Before(civil.On(year, time.February, 1)); d = d.AddDays(-1) {
		day, spread, ok := n.On(d)
		if !ok {
			continue
		}
		if 0.5*math.Erfc(day.Min.Celsius()/(spread*math.Sqrt2)) >= share {
			return d, true
		}
	}
	return civil.Date{}, false
}
