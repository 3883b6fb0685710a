package weather

import (
	"math"
	"time"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/unit"
)

// Spread of a day's mean temperature by where it comes from, degrees C.
const (
	forecastErrorPerDay = 0.5 // a day of lead; ours, as the season replay assumes it
	filledError         = 1.5 // ours
	estimatedError      = 2.0 // ours
	usualSpread         = 4.0 // where normals cannot tell; ours
	longestFill         = 7   // days of a gap that neighbours may fill; ours
	smoothingDays       = 6.0 // time constant of soil temperature; ours
	springSunWarming    = 1.5 // C that soil in full sun runs above air in spring; ours
)

// Limits of what a thermometer outdoors can show, degrees C, a little wider
// than the world's records.
const (
	coldest = -95.0
	hottest = 65.0
)

// Series is the weather of one place by date: what was observed, else what is
// forecast, else filled from neighbours, else the normal. The zero value knows nothing.
type Series struct {
	Place   Place
	first   int   // day number of days[0]
	days    []Day // one a day without holes; Quality is empty where nothing is known
	normals Normals
	seen    int // day number of the last observed or station day; forecasts lead from it
	hasSeen bool
}

func sound(d Day) bool {
	hi, lo := d.Max.Celsius(), d.Min.Celsius()
	return hi >= lo && lo >= coldest && hi <= hottest // NaN fails
}

func rank(q Quality) int {
	for i, o := range []Quality{Observed, Station, Forecast, Estimated, Filled, Normal} {
		if q == o {
			return i
		}
	}
	return 99
}

// NewSeries orders the days of one place and fills gaps of up to a week between
// known days (quality filled; precipitation stays unknown, as neighbours do not
// tell it). Where a date comes twice the better quality stands, and of equals
// the later one. Days of a forecast need not follow the observed ones at once.
//
// Errors: fault.Invalid "bad-weather-day" for a day without date or with
// temperatures that cannot be (maximum under minimum, not a number).
func NewSeries(at Place, days []Day, normals Normals) (Series, error) {
	s := Series{Place: at, normals: normals}
	if len(days) == 0 {
		return s, nil
	}
	lo, hi := math.MaxInt, math.MinInt
	for _, d := range days {
		if d.Date.IsZero() {
			return Series{}, fault.New(fault.Invalid, "bad-weather-day", "A day of weather from %s has no date; give each row its date.", d.Source)
		}
		if !sound(d) || !d.Quality.Known() {
			return Series{}, fault.New(fault.Invalid, "bad-weather-day",
				"The weather of %s cannot be: maximum %.1f C, minimum %.1f C, quality %q; correct the row or leave it out.",
				d.Date.Words(), d.Max.Celsius(), d.Min.Celsius(), d.Quality)
		}
		n := d.Date.DayNumber()
		lo, hi = min(lo, n), max(hi, n)
	}
	const longest = 200 * 366 // a mistyped year must not ask for gigabytes
	if hi-lo > longest {
		return Series{}, fault.New(fault.Invalid, "bad-weather-day", "The weather runs from %s to %s, more than 200 years; look for a mistyped year.",
			civil.FromDayNumber(lo).Words(), civil.FromDayNumber(hi).Words())
	}
	s.first, s.days = lo, make([]Day, hi-lo+1)
	for _, d := range days {
		s.put(d)
	}
	s.fill()
	return s, nil
}

func (s *Series) put(d Day) {
	n := d.Date.DayNumber()
	have := &s.days[n-s.first]
	if have.Quality == "" || rank(d.Quality) <= rank(have.Quality) {
		*have = d
	}
	if (d.Quality == Observed || d.Quality == Station) && (!s.hasSeen || n > s.seen) {
		s.seen, s.hasSeen = n, true
	}
}

// fill closes short gaps by carrying the departure from normal (or, without
// normals, the temperature itself) linearly from one side to the other.
func (s *Series) fill() {
	for i := 1; i < len(s.days); i++ {
		if s.days[i].Quality != "" {
			continue
		}
		end := i
		for s.days[end].Quality == "" { // the last day is known, so this ends
			end++
		}
		if end-i <= longestFill {
			s.bridge(i-1, end)
		}
		i = end
	}
}

func (s *Series) bridge(left, right int) {
	a, b := s.days[left], s.days[right]
	na, _, okA := s.normals.On(a.Date)
	nb, _, okB := s.normals.On(b.Date)
	for i := left + 1; i < right; i++ {
		d := civil.FromDayNumber(s.first + i)
		t := unit.Temperature(float64(i-left) / float64(right-left))
		hi, lo := a.Max+(b.Max-a.Max)*t, a.Min+(b.Min-a.Min)*t
		if n, _, ok := s.normals.On(d); ok && okA && okB {
			dhi, dlo := (a.Max-na.Max)*(1-t)+(b.Max-nb.Max)*t, (a.Min-na.Min)*(1-t)+(b.Min-nb.Min)*t
			hi, lo = n.Max+dhi, n.Min+dlo
		}
		if lo > hi {
			hi, lo = unit.Mean(hi, lo), unit.Mean(hi, lo)
		}
		s.days[i] = Day{Date: d, Max: hi, Min: lo, Precipitation: unit.Length(math.NaN()),
			Wind: unit.Speed(math.NaN()), Quality: Filled, Source: "filled from " + a.Date.String() + " and " + b.Date.String()}
	}
}

// On is the weather of a date, its Quality saying how it is known; false when
// neither the series nor the normals know it.
func (s Series) On(d civil.Date) (Day, bool) {
	i := d.DayNumber() - s.first
	if i >= 0 && i < len(s.days) && s.days[i].Quality != "" {
		return s.days[i], true
	}
	day, _, ok := s.normals.On(d)
	return day, ok
}

// SpreadC is the standard deviation, in degrees C, of what the day's mean
// temperature may still turn out to be: 0 for a measured day, 0.5 C a day of
// lead for a forecast (never more than the normals' own spread), the years'
// spread for a normal. It is the usual spread where nothing is known.
func (s Series) SpreadC(d civil.Date) float64 {
	year := usualSpread
	if _, sp, ok := s.normals.On(d); ok {
		year = sp
	}
	i := d.DayNumber() - s.first
	if i < 0 || i >= len(s.days) {
		return year
	}
	switch s.days[i].Quality {
	case Observed, Station:
		return 0
	case Forecast:
		lead := 1
		if s.hasSeen {
			lead = max(1, d.DayNumber()-s.seen)
		}
		return math.Min(year, forecastErrorPerDay*float64(lead))
	case Filled:
		return math.Min(year, filledError)
	case Estimated:
		return math.Min(year, estimatedError)
	}
	return year
}

// Normals are the series' normals; they may know nothing.
func (s Series) Normals() Normals { return s.normals }

// LastSeen is the last day that was measured; zero when none was.
func (s Series) LastSeen() civil.Date {
	if !s.hasSeen {
		return civil.Date{}
	}
	return civil.FromDayNumber(s.seen)
}

// DegreeDays sums degree days over the base from 1 January of the year up to
// and with the date, in C d, and counts the days of which nothing is known
// (they add nothing). Source: T-20; base 0 C for cool-season turf by T-27.
func (s Series) DegreeDays(base unit.Temperature, on civil.Date) (sum float64, missing int) {
	last := on.DayNumber()
	for n := civil.On(on.Year, time.January, 1).DayNumber(); n <= last; n++ {
		d, ok := s.On(civil.FromDayNumber(n))
		if !ok {
			missing++
			continue
		}
		sum += DegreeDays(d.Max, d.Min, base)
	}
	return sum, missing
}

// WeekMean is the mean of the daily means of the seven days that end with the
// date; false when fewer than four of them are known (ours).
func (s Series) WeekMean(on civil.Date) (unit.Temperature, bool) {
	var sum unit.Temperature
	n := 0
	for i := range 7 {
		if d, ok := s.On(on.AddDays(-i)); ok {
			sum += d.MeanTemperature()
			n++
		}
	}
	if n < 4 {
		return 0, false
	}
	return sum / unit.Temperature(n), true
}

// SoilTemperature is a computed stand-in for a probe at a few inches: the air's
// daily mean smoothed with a time constant of six days, 1.5 C warmer in full
// sun from February to May. Always show it as computed. False when fewer than
// half of the 30 days before are known. Method ours.
func (s Series) SoilTemperature(on civil.Date, fullSun bool) (unit.Temperature, bool) {
	var sum, weight float64
	known := 0
	for i := range 30 {
		d, ok := s.On(on.AddDays(-i))
		if !ok {
			continue
		}
		w := math.Exp(-float64(i) / smoothingDays)
		sum += w * d.MeanTemperature().Celsius()
		weight += w
		known++
	}
	if known < 15 {
		return 0, false
	}
	t := sum / weight
	if fullSun && on.Month >= time.February && on.Month <= time.May {
		t += springSunWarming
	}
	return unit.Celsius(t), true
}
