package intake

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"sort"
	"strconv"
	"strings"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/unit"
	"thirdcut/internal/weather"
)

// WeatherFile is what a weather file says. When Problems has anything, Days is
// not to be used: a file is taken whole or not at all.
type WeatherFile struct {
	Days      []weather.Day // one a date, in order, marked observed
	Form      string        // in words
	Locations []string      // names in the file, where it has several
	Notes     []string
	Problems  []Problem
	More      int
}

// WeatherOptions says what a file cannot say itself.
type WeatherOptions struct {
	// Location is the one to take of a file with several.
	Location string
	// Morning says that a GHCN-Daily .dly file, which has no column for it,
	// was read in the morning.
	Morning bool
	// From drops days before it; zero takes all.
	From civil.Date
}

// ReadWeather reads daily weather: a CSV whose headers name the unit
// (temp_max_c or temp_max_f, precipitation_mm or precipitation_in, wind_mps or
// wind_mph), the open table with the header
// location,date,precipitation,temp_max,temp_min,wind,weather (mm, C, m/s), or
// NOAA GHCN-Daily as .dly or as CSV rows of one element each.
//
// GHCN-Daily stations that are read in the morning (observation time before
// noon) note the maximum and the rain of the day before under the day of
// reading: those two are moved to the day before; the minimum, which falls on
// the morning itself, stays.
func ReadWeather(data []byte, name string, o WeatherOptions) (WeatherFile, error) {
	if len(data) > MaxBytes {
		return WeatherFile{}, fault.New(fault.TooLarge, "file-too-large", "%s has %d MB; a weather file may have %d MB at most", name, len(data)>>20, MaxBytes>>20)
	}
	text, err := asUTF8(data, name)
	if err != nil {
		return WeatherFile{}, err
	}
	if strings.TrimSpace(text) == "" {
		return WeatherFile{}, fault.New(fault.Invalid, "empty-file", "%s is empty", name)
	}
	first, _, _ := strings.Cut(strings.TrimLeft(text, "\r\n"), "\n")
	first = strings.TrimRight(first, "\r")
	w := &weatherReader{name: name, options: o, days: map[civil.Date]*day{}}
	switch {
	case dlyLine.MatchString(first):
		w.out.Form = "GHCN-Daily, .dly form"
		w.readDly(text)
	case ghcnRow.MatchString(first):
		w.out.Form = "GHCN-Daily, rows of one element"
		err = w.readElementRows(text)
	default:
		w.out.Form = "daily table"
		err = w.readTable(data)
	}
	if err != nil {
		return WeatherFile{}, err
	}
	return w.finish()
}

var (
	dlyLine = regexp.MustCompile(`^[A-Z0-9_-]{11}[0-9]{6}[A-Z]{2}[A-Z0-9]{2}[ 0-9-]{5}`)
	ghcnRow = regexp.MustCompile(`^[A-Z0-9_-]{11},[0-9]{8},[A-Z]{2}[A-Z0-9]{2},`)
)

// day gathers one date's values; NaN is not known.
type day struct {
	line                 int
	max, min, rain, wind float64 // C, C, mm, m/s
}

type weatherReader struct {
	name             string
	options          WeatherOptions
	days             map[civil.Date]*day
	flagged, morning int
	station          string
	out              WeatherFile
}

func (w *weatherReader) wrong(line int, column, value, format string, args ...any) {
	if len(w.out.Problems) >= mostProblems {
		w.out.More++
		return
	}
	w.out.Problems = append(w.out.Problems, Problem{Line: line, Column: column, Value: value, Reason: fmt.Sprintf(format, args...)})
}

func (w *weatherReader) note(format string, args ...any) {
	w.out.Notes = append(w.out.Notes, fmt.Sprintf(format, args...))
}

func (w *weatherReader) on(d civil.Date, line int) *day {
	if have, ok := w.days[d]; ok {
		return have
	}
	n := &day{line, math.NaN(), math.NaN(), math.NaN(), math.NaN()}
	w.days[d] = n
	return n
}

// readDly reads the fixed-width form: station 1-11, year 12-15, month 16-17,
// element 18-21, then 31 times value (5), measure, quality and source flag.
func (w *weatherReader) readDly(text string) {
	line := 0
	for row := range strings.Lines(text) {
		line++
		row = strings.TrimRight(row, "\r\n")
		if strings.TrimSpace(row) == "" {
			continue
		}
		if !dlyLine.MatchString(row) {
			w.wrong(line, "", "", "the line is not in the .dly form (station, year, month, element, 31 values)")
			continue
		}
		year, _ := strconv.Atoi(row[11:15]) // digits by the pattern
		month, _ := strconv.Atoi(row[15:17])
		element := row[17:21]
		for n := 1; n <= 31; n++ {
			at := 21 + 8*(n-1)
			if at+5 > len(row) {
				break
			}
			flag := byte(' ')
			if at+6 < len(row) {
				flag = row[at+6]
			}
			w.element(line, row[:11], fmt.Sprintf("%04d-%02d-%02d", year, month, n), element, strings.TrimSpace(row[at:at+5]), flag != ' ', w.options.Morning)
		}
	}
	if !w.options.Morning {
		w.note("the .dly form does not say at what hour the station was read; its days are taken as they stand. Where it is read in the morning, say so (--morning), and maximum and rain go to the day before")
	}
}

// readElementRows reads station, YYYYMMDD, element, value, measure flag,
// quality flag, source flag, observation time HHMM.
func (w *weatherReader) readElementRows(text string) error {
	line := 0
	for row := range strings.Lines(text) {
		line++
		cells := strings.Split(strings.TrimRight(row, "\r\n"), ",")
		if len(cells) == 1 && cells[0] == "" {
			continue
		}
		if len(cells) < 4 || len(cells[1]) != 8 {
			w.wrong(line, "", "", "the line has not the form station,YYYYMMDD,element,value,…")
			continue
		}
		for len(cells) < 8 {
			cells = append(cells, "")
		}
		hour, err := strconv.Atoi(strings.TrimSpace(cells[7]))
		morning := err == nil && hour < 1200
		date := cells[1][:4] + "-" + cells[1][4:6] + "-" + cells[1][6:]
		w.element(line, cells[0], date, cells[2], strings.TrimSpace(cells[3]), strings.TrimSpace(cells[5]) != "", morning)
	}
	return nil
}

// element takes one value of GHCN-Daily: tenths of C, of mm, of m/s.
func (w *weatherReader) element(line int, station, date, element, value string, flagged, morning bool) {
	if !slices.Contains([]string{"TMAX", "TMIN", "PRCP", "AWND"}, element) || value == "-9999" || value == "" {
		return
	}
	if w.station == "" {
		w.station = station
	} else if w.station != station {
		w.wrong(line, "station", station, "the file holds several stations (%s before); give a file of one", w.station)
		return
	}
	d, err := civil.ParseDate(date)
	if err != nil {
		w.wrong(line, "date", date, "this day does not exist and yet has a value")
		return
	}
	n, err := strconv.ParseFloat(value, 64)
	if err != nil {
		w.wrong(line, element, value, "the value is no number")
		return
	}
	if flagged {
		w.flagged++ // failed a check of the archive's own
		return
	}
	if morning && element != "TMIN" && element != "AWND" {
		d = d.AddDays(-1)
		w.morning++
	}
	at := w.on(d, line)
	to := map[string]*float64{"TMAX": &at.max, "TMIN": &at.min, "PRCP": &at.rain, "AWND": &at.wind}[element]
	if !math.IsNaN(*to) && *to != n/10 {
		w.wrong(line, element, value, "%s has two different values of %s", d, element)
		return
	}
	*to = n / 10
}

// weatherColumn is one header with its unit and how it becomes C, mm or m/s.
type weatherColumn struct {
	what   string
	number func(float64) float64
}

func times(f float64) func(float64) float64 { return func(v float64) float64 { return v * f } }
func fahrenheit(v float64) float64          { return unit.Fahrenheit(v).Celsius() }

var weatherColumns = map[string]weatherColumn{
	"temp_max_c": {"max", times(1)}, "tmax_c": {"max", times(1)}, "temp_max_f": {"max", fahrenheit}, "tmax_f": {"max", fahrenheit},
	"temp_min_c": {"min", times(1)}, "tmin_c": {"min", times(1)}, "temp_min_f": {"min", fahrenheit}, "tmin_f": {"min", fahrenheit},
	"precipitation_mm": {"rain", times(1)}, "rain_mm": {"rain", times(1)}, "precipitation_in": {"rain", times(25.4)}, "rain_in": {"rain", times(25.4)},
	"wind_mps": {"wind", times(1)}, "wind_mph": {"wind", times(0.44704)}, "wind_kmh": {"wind", times(1 / 3.6)},
}

// openTable is the header of the open daily table, whose units its publisher
// names: mm, C, m/s.
var openTable = []string{"location", "date", "precipitation", "temp_max", "temp_min", "wind", "weather"}

func (w *weatherReader) readTable(data []byte) error {
	t, err := readTable(data, w.name)
	if err != nil {
		return err
	}
	if len(t.rows) == 0 {
		return fault.New(fault.Invalid, "empty-file", "%s has no rows", w.name)
	}
	header := t.rows[0]
	at, err := w.matchWeather(header.cells)
	if err != nil {
		return err
	}
	for _, row := range t.rows[1:] {
		w.tableRow(row, header.cells, at)
	}
	if len(w.out.Locations) > 1 && w.options.Location == "" {
		return fault.New(fault.Invalid, "several-locations", "%s holds the weather of %s; say which to take (--location)", w.name, strings.Join(w.out.Locations, " and "))
	}
	if w.options.Location != "" && !slices.Contains(w.out.Locations, w.options.Location) {
		return fault.New(fault.Invalid, "no-location", "%s has no location %q; it has %s", w.name, w.options.Location, strings.Join(w.out.Locations, ", "))
	}
	return nil
}

type weatherAt struct {
	date, location int
	columns        map[int]weatherColumn
}

func (w *weatherReader) matchWeather(header []string) (weatherAt, error) {
	at := weatherAt{date: -1, location: -1, columns: map[int]weatherColumn{}}
	if slices.Equal(header, openTable) {
		w.out.Form = "open daily table (mm, C, m/s)"
		return weatherAt{date: 1, location: 0, columns: map[int]weatherColumn{2: {"rain", times(1)}, 3: {"max", times(1)}, 4: {"min", times(1)}, 5: {"wind", times(1)}}}, nil
	}
	for i, h := range header {
		key := strings.ReplaceAll(plain(strings.NewReplacer("(", " ", ")", " ", "°", " ").Replace(h)), " ", "_")
		switch {
		case key == "date" || key == "day":
			at.date = i
		case key == "location" || key == "station" || key == "name":
			at.location = i
		default:
			if c, ok := weatherColumns[key]; ok {
				at.columns[i] = c
			} else if slices.Contains([]string{"temp_max", "tmax", "temp_min", "tmin", "precipitation", "rain", "wind"}, key) {
				return at, fault.New(fault.Invalid, "no-unit", "the header %q (column %s) does not name its unit; write it such as temp_max_c or temp_max_f, precipitation_mm or precipitation_in, wind_mps or wind_mph", h, columnLetter(i))
			}
		}
	}
	have := map[string]bool{}
	for _, c := range at.columns {
		have[c.what] = true
	}
	if at.date < 0 || !have["max"] || !have["min"] {
		return at, fault.New(fault.Invalid, "missing-column", "%s needs the columns date, temp_max_c (or _f) and temp_min_c (or _f); its headers are: %s", w.name, strings.Join(header, ", "))
	}
	return at, nil
}

func (w *weatherReader) tableRow(row tableRow, header []string, at weatherAt) {
	cell := func(i int) string {
		if i < 0 || i >= len(row.cells) {
			return ""
		}
		return row.cells[i]
	}
	if at.location >= 0 {
		l := cell(at.location)
		if !slices.Contains(w.out.Locations, l) {
			w.out.Locations = append(w.out.Locations, l)
		}
		if w.options.Location != "" && l != w.options.Location {
			return
		}
		if w.options.Location == "" && l != w.out.Locations[0] {
			return // refused as a whole below
		}
	}
	d, err := civil.ParseDate(strings.ReplaceAll(cell(at.date), "/", "-"))
	if err != nil {
		w.wrong(row.line, columnLetter(at.date)+" "+header[at.date], cell(at.date), "this date does not exist or is not written as 2026-06-03")
		return
	}
	if have, ok := w.days[d]; ok {
		w.wrong(row.line, columnLetter(at.date)+" "+header[at.date], cell(at.date), "%s stands already on line %d; take one out", d, have.line)
		return
	}
	n := w.on(d, row.line)
	for i, c := range at.columns {
		text := cell(i)
		if text == "" {
			continue
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			w.wrong(row.line, columnLetter(i)+" "+header[i], text, "this is no number")
			continue
		}
		*map[string]*float64{"max": &n.max, "min": &n.min, "rain": &n.rain, "wind": &n.wind}[c.what] = c.number(v)
	}
}

// Believable extremes: records of the earth's surface rounded outward (WMO
// archive of weather extremes: 56.7 C, -89.2 C, 1,825 mm in a day; from memory).
const (
	hottest, coldest = 58.0, -75.0
	wettest          = 1900.0
	windiest         = 100.0
)

func (w *weatherReader) finish() (WeatherFile, error) {
	dates := make([]civil.Date, 0, len(w.days))
	for d := range w.days {
		dates = append(dates, d)
	}
	sort.Slice(dates, func(i, j int) bool { return dates[i].Before(dates[j]) })
	incomplete := 0
	for _, d := range dates {
		n := w.days[d]
		if !w.believable(d, n) || d.Before(w.options.From) {
			continue
		}
		if math.IsNaN(n.max) || math.IsNaN(n.min) {
			incomplete++
			continue
		}
		w.out.Days = append(w.out.Days, weather.Day{Date: d, Max: unit.Celsius(n.max), Min: unit.Celsius(n.min),
			Precipitation: unit.Length(n.rain) * unit.Millimetre, Wind: unit.Speed(n.wind), Quality: weather.Observed, Source: w.source()})
	}
	w.summary(incomplete)
	if len(w.out.Problems) > 0 {
		return w.out, nil
	}
	if len(w.out.Days) == 0 {
		return w.out, fault.New(fault.Invalid, "empty-file", "%s has no day with both a maximum and a minimum temperature", w.name)
	}
	return w.out, nil
}

func (w *weatherReader) believable(d civil.Date, n *day) bool {
	before := len(w.out.Problems) + w.out.More
	check := func(column string, v, least, greatest float64, words string) {
		if v < least || v > greatest {
			w.wrong(n.line, column, trim(v), "%s: %s %s is beyond anything measured on earth; check the unit", d, trim(v), words)
		}
	}
	check("temp_max", n.max, coldest, hottest, "C as a maximum")
	check("temp_min", n.min, coldest, hottest, "C as a minimum")
	check("precipitation", n.rain, 0, wettest, "mm of water in a day")
	check("wind", n.wind, 0, windiest, "m/s of wind over a day")
	if n.max < n.min {
		if w.station != "" && n.min-n.max < 15 {
			// Two observation times meet on one date; the day is told apart no further.
			n.max, n.min = math.NaN(), math.NaN()
			return true
		}
		w.wrong(n.line, "temp_min", trim(n.min), "%s: the minimum %s C lies over the maximum %s C; are the columns swapped?", d, trim(n.min), trim(n.max))
	}
	return len(w.out.Problems)+w.out.More == before
}

func (w *weatherReader) source() string {
	switch {
	case w.station != "":
		return "GHCN-Daily station " + w.station
	case w.options.Location != "":
		return w.name + ", " + w.options.Location
	}
	return w.name
}

func (w *weatherReader) summary(incomplete int) {
	if w.flagged > 0 {
		w.note("%d values that failed the archive's own quality checks were left out", w.flagged)
	}
	if w.morning > 0 {
		w.note("the station is read in the morning: %d values of maximum and rain were moved to the day before, minima stay on their day", w.morning)
	}
	if incomplete > 0 {
		w.note("%d days lack a maximum or a minimum and were left out", incomplete)
	}
	days := w.out.Days
	if len(days) == 0 {
		return
	}
	if gaps := days[len(days)-1].Date.Since(days[0].Date) + 1 - len(days); gaps > 0 {
		w.note("%d days between %s and %s are missing; they are filled from their neighbours where needed, and marked so", gaps, days[0].Date, days[len(days)-1].Date)
	}
}
