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
// empty: a file is taken whole or not at all.
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
	w := &weatherReader{name: name, options: o, days: map[civil.Date]*day{}}
	if err := w.read(data); err != nil {
		return WeatherFile{}, err
	}
	return w.finish()
}

// read tells the form of the file by its first line and reads it.
func (w *weatherReader) read(data []byte) error {
	w.out.Form = "daily table"
	if isWorkbook(data) {
		return w.readTable(data)
	}
	text, err := asUTF8(data, w.name)
	if err != nil {
		return err
	}
	first, _, _ := strings.Cut(strings.TrimLeft(text, "\r\n"), "\n")
	first = strings.TrimRight(first, "\r")
	switch {
	case dlyLine.MatchString(first):
		w.out.Form = "GHCN-Daily, .dly form"
		w.readDly(text)
	case ghcnRow.MatchString(first) || ghcnHeader.MatchString(first):
		w.out.Form = "GHCN-Daily, rows of one element"
		w.readElementRows(text)
	default:
		return w.readTable(data)
	}
	return nil
}

var (
	dlyLine = regexp.MustCompile(`^[A-Z0-9_-]{11}[0-9]{6}[A-Z]{2}[A-Z0-9]{2}[ 0-9-]{5}`)
	ghcnRow = regexp.MustCompile(`^[A-Z0-9_-]{11},[0-9]{8},[A-Z]{2}[A-Z0-9]{2},`)
	// the header that the archive's station files have had of late
	ghcnHeader = regexp.MustCompile(`^"?ID"?,"?(DATE|YEAR/MONTH/DAY)"?,"?ELEMENT"?,`)
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
	crossed          int // days on which two hours of reading met
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
func (w *weatherReader) readElementRows(text string) {
	line := 0
	for row := range strings.Lines(text) {
		line++
		cells := strings.Split(strings.TrimRight(row, "\r\n"), ",")
		if len(cells) == 1 && cells[0] == "" || line == 1 && ghcnHeader.MatchString(row) {
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

// weatherKey makes a header comparable: "Temp max (°F)" is temp_max_f.
func weatherKey(header string) string { return strings.ReplaceAll(plain(header), " ", "_") }

func scoreWeatherHeader(cells []string) int {
	n := 0
	for _, c := range cells {
		key := weatherKey(c)
		if _, ok := weatherColumns[key]; ok || key == "date" || slices.Contains(openTable, key) {
			n++
		}
	}
	return n
}

func (w *weatherReader) readTable(data []byte) error {
	t, above, err := readTable(data, w.name, scoreWeatherHeader)
	if err != nil {
		return err
	}
	for _, row := range above {
		w.note("line %d stands above the headers and was passed over: %s", row.line, shorten(strings.Join(row.cells, " ")))
	}
	if len(t.others) > 0 {
		w.note("read the sheet %s; not read: %s", t.sheet, strings.Join(t.others, ", "))
	}
	at, err := w.matchWeather(t.rows[0].cells)
	if err != nil {
		return err
	}
	for _, row := range t.rows[1:] {
		w.tableRow(row, t, at)
	}
	if len(w.out.Locations) > 1 && w.options.Location == "" {
		return fault.New(fault.Invalid, "several-locations", "%s holds the weather of %s; say which to take (--location)", w.name, strings.Join(w.out.Locations, " and "))
	}
	if w.options.Location != "" && !slices.Contains(w.out.Locations, w.options.Location) {
		if len(w.out.Locations) == 0 {
			return fault.New(fault.Invalid, "no-location", "%s has no column location, so that %q cannot be picked from it", w.name, w.options.Location)
		}
		return fault.New(fault.Invalid, "no-location", "%s has no location %q; it has %s", w.name, w.options.Location, strings.Join(w.out.Locations, ", "))
	}
	return nil
}

// weatherAt is which header is what; -1 is none.
type weatherAt struct {
	date, location int
	columns        []placedColumn
}

type placedColumn struct {
	at int
	weatherColumn
}

func (w *weatherReader) matchWeather(header []string) (weatherAt, error) {
	if slices.Equal(header, openTable) {
		w.out.Form = "open daily table (mm, C, m/s)"
		return weatherAt{date: 1, location: 0, columns: []placedColumn{
			{2, weatherColumn{"rain", times(1)}}, {3, weatherColumn{"max", times(1)}}, {4, weatherColumn{"min", times(1)}}, {5, weatherColumn{"wind", times(1)}}}}, nil
	}
	at := weatherAt{date: -1, location: -1}
	have := map[string]int{}
	take := func(what string, i int) error {
		if before, ok := have[what]; ok {
			return fault.New(fault.Invalid, "ambiguous-columns", "the headers %q (column %s) and %q (column %s) both mean the same; take one out", header[before], columnLetter(before), header[i], columnLetter(i))
		}
		have[what] = i
		return nil
	}
	var left []string
	for i, h := range header {
		var err error
		key := weatherKey(h)
		switch c, known := weatherColumns[key]; {
		case known:
			err = take(c.what, i)
			at.columns = append(at.columns, placedColumn{i, c})
		case key == "date" || key == "day":
			err = take("date", i)
			at.date = i
		case key == "location" || key == "station" || key == "name" || key == "place":
			err = take("location", i)
			at.location = i
		case slices.Contains(unitless, key):
			err = fault.New(fault.Invalid, "no-unit", "the header %q (column %s) does not name its unit; write it such as temp_max_c or temp_max_f, precipitation_mm or precipitation_in, wind_mps or wind_mph", h, columnLetter(i))
		case h != "":
			left = append(left, h)
		}
		if err != nil {
			return at, err
		}
	}
	_, max := have["max"]
	_, min := have["min"]
	if at.date < 0 || !max || !min {
		return at, fault.New(fault.Invalid, "missing-column", "%s needs the columns date, temp_max_c (or _f) and temp_min_c (or _f); its headers are: %s", w.name, shown(header))
	}
	if len(left) > 0 {
		w.note("left alone, since it is none of our columns: %s", strings.Join(left, ", "))
	}
	return at, nil
}

// unitless are headers whose unit nobody can know.
var unitless = []string{"temp_max", "tmax", "high", "temp_min", "tmin", "low", "precipitation", "precip", "prcp", "rain", "rainfall", "wind", "wind_speed", "awnd"}

func (w *weatherReader) tableRow(row tableRow, t table, at weatherAt) {
	header := t.rows[0].cells
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
		if w.options.Location != "" && l != w.options.Location || w.options.Location == "" && l != w.out.Locations[0] {
			return // another place; without a choice the file is refused as a whole
		}
	}
	wrong := func(i int, format string, args ...any) {
		w.wrong(row.line, columnLetter(i)+" "+header[i], shorten(cell(i)), format, args...)
	}
	d, ok := writtenDate(cell(at.date))
	if !ok && t.sheet != "" {
		d, ok = serialDate(cell(at.date), t.from1904)
	}
	if !ok {
		wrong(at.date, "this date does not exist or is not written as 2026-06-03")
		return
	}
	if have, ok := w.days[d]; ok {
		wrong(at.date, "%s stands already on line %d; take one out", d, have.line)
		return
	}
	n := w.on(d, row.line)
	for _, c := range at.columns {
		text := cell(c.at)
		if text == "" {
			continue
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			wrong(c.at, "this is no number")
			continue
		}
		*map[string]*float64{"max": &n.max, "min": &n.min, "rain": &n.rain, "wind": &n.wind}[c.what] = c.number(v)
	}
}

// Believable extremes: records of the earth's surface rounded outward (WMO
// archive of weather extremes: 56.7 C, -89.2 C, 1,825 mm in a day; from memory).
const (
	hottest, coldest = 58.0, -90.0
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
	sort.SliceStable(w.out.Problems, func(i, k int) bool { return w.out.Problems[i].Line < w.out.Problems[k].Line })
	if len(w.out.Problems) > 0 {
		w.out.Days = nil
		return w.out, nil
	}
	if len(w.out.Days) == 0 {
		return w.out, fault.New(fault.Invalid, "empty-file", "%s has no day with both a maximum and a minimum temperature", w.name)
	}
	return w.out, nil
}

func (w *weatherReader) believable(d civil.Date, n *day) bool {
	before := len(w.out.Problems) + w.out.More
	check := func(column string, v, least, greatest float64, words string) { // NaN is not known and passes
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
			w.crossed++
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
		w.note("%s that failed the archive's own quality checks left out", count(w.flagged, "value"))
	}
	if w.morning > 0 {
		w.note("the station is read in the morning: %d values of maximum and rain were moved to the day before, minima stay on their day", w.morning)
	}
	if w.crossed > 0 {
		w.note("on %s the minimum lies over the maximum, since two hours of reading meet there; left out", count(w.crossed, "day"))
	}
	if incomplete -= w.crossed; incomplete > 0 {
		w.note("%s without a maximum or a minimum left out", count(incomplete, "day"))
	}
	w.sayGaps()
}

// gapsNamed is how many gaps a note names before it counts the rest.
const gapsNamed = 10

func (w *weatherReader) sayGaps() {
	var gaps []string
	missing := 0
	for i := 1; i < len(w.out.Days); i++ {
		from, to := w.out.Days[i-1].Date.AddDays(1), w.out.Days[i].Date.AddDays(-1)
		n := to.Since(from) + 1
		if n <= 0 {
			continue
		}
		missing += n
		if n == 1 {
			gaps = append(gaps, from.String())
		} else {
			gaps = append(gaps, from.String()+" to "+to.String())
		}
	}
	if missing == 0 {
		return
	}
	named := strings.Join(gaps[:min(len(gaps), gapsNamed)], ", ")
	if more := len(gaps) - gapsNamed; more > 0 {
		named += fmt.Sprintf(" and %d gaps more", more)
	}
	w.note("%s missing (%s); up to a week is filled from the days beside it, and marked so", count(missing, "day"), named)
}

// count says "1 day" or "3 days".
func count(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}
