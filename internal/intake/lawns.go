package intake

import (
	"encoding/json"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/geo"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

// Lawns is what a sheet of lawns says. When Problems has anything, Import is
// not to be used: a file is taken whole or not at all.
type Lawns struct {
	Import    property.Import
	Rows      int
	NotPlaced []string // addresses without a map point, with their line; kept all the same
	Notes     []string // what was settled in reading, in words
	Problems  []Problem
	More      int // problems beyond the list
}

// ReadLawns reads a CSV or XLSX sheet, one row a turf area. Faults are for the
// file as a whole (too large, unreadable, no such column); wrong cells are
// listed in Problems.
func ReadLawns(data []byte, name string, mapping Mapping) (Lawns, error) {
	t, err := readTable(data, name)
	if err != nil {
		return Lawns{}, err
	}
	if len(t.rows) == 0 {
		return Lawns{}, fault.New(fault.Invalid, "empty-file", "%s has no rows", name)
	}
	header := t.rows[0]
	at, left, err := matchColumns(header.cells, mapping)
	if err != nil {
		return Lawns{}, err
	}
	r := &lawnReader{table: t, at: at, header: header.cells, byCustomer: map[string]int{}, byAddress: map[string]propertyAt{}}
	if len(left) > 0 {
		r.note("left alone, since it is none of our columns: %s", strings.Join(left, ", "))
	}
	for _, row := range t.rows[1:] {
		r.read(row)
	}
	if r.out.Rows == 0 && len(r.out.Problems) == 0 {
		return Lawns{}, fault.New(fault.Invalid, "empty-file", "%s has headers and no rows under them", name)
	}
	return r.out, nil
}

type propertyAt struct{ customer, property int }

type lawnReader struct {
	table      table
	at         map[string]int
	header     []string
	row        tableRow
	ok         bool // no problem in this row so far
	out        Lawns
	byCustomer map[string]int
	byAddress  map[string]propertyAt
	seen       map[string]int // whole rows, to tell doubles
}

func (r *lawnReader) note(format string, args ...any) {
	r.out.Notes = append(r.out.Notes, fmt.Sprintf(format, args...))
}

func (r *lawnReader) cell(name string) string {
	i, ok := r.at[name]
	if !ok || i >= len(r.row.cells) {
		return ""
	}
	return r.row.cells[i]
}

// wrong lists the cell as one that cannot be taken.
func (r *lawnReader) wrong(name, format string, args ...any) {
	r.ok = false
	if len(r.out.Problems) >= mostProblems {
		r.out.More++
		return
	}
	p := Problem{Sheet: r.table.sheet, Line: r.row.line, Reason: fmt.Sprintf(format, args...)}
	if i, ok := r.at[name]; ok {
		p.Column = columnLetter(i) + " " + r.header[i]
		p.Value = r.cell(name)
	}
	r.out.Problems = append(r.out.Problems, p)
}

func (r *lawnReader) place() string {
	if r.table.sheet != "" {
		return fmt.Sprintf("sheet %s, line %d", r.table.sheet, r.row.line)
	}
	return fmt.Sprintf("line %d", r.row.line)
}

func (r *lawnReader) read(row tableRow) {
	r.row, r.ok = row, true
	r.out.Rows++
	if r.seen == nil {
		r.seen = map[string]int{}
	}
	whole := strings.Join(row.cells, "\x1f")
	if before, ok := r.seen[whole]; ok {
		r.note("line %d says the same as line %d and was passed over", row.line, before)
		return
	}
	r.seen[whole] = row.line
	customer, prop, area := r.customer(), r.property(), r.area()
	prop.Plan = r.plan()
	if r.ok && area != nil && area.Outline != nil {
		r.outline(&prop, area)
	}
	if r.ok {
		r.join(customer, prop, area)
	}
}

func (r *lawnReader) customer() property.ImportCustomer {
	c := property.ImportCustomer{Place: r.place(), Key: r.cell("customer_key"), Name: r.cell("customer"), Email: r.cell("email"),
		Phone: r.cell("phone"), BillingAddress: r.cell("billing_address")}
	if c.Name == "" {
		r.wrong("customer", "the customer has no name; write who pays")
	}
	return c
}

var stateForm = regexp.MustCompile(`^[A-Za-z]{2}$`)

func (r *lawnReader) property() property.ImportProperty {
	p := property.ImportProperty{Place: r.place(), Address: r.cell("address"), Municipality: r.cell("municipality"), County: r.cell("county"),
		State: strings.ToUpper(r.cell("state")), ZIPCode: r.zip(), OwnerName: r.cell("owner"), AccessNote: r.cell("access_note"), GateCode: r.cell("gate_code")}
	if p.Address == "" {
		r.wrong("address", "the property has no address; write its street address")
	}
	if p.State != "" && !stateForm.MatchString(p.State) {
		r.wrong("state", "a state is two letters, such as MD")
	}
	p.Latitude, p.Longitude = r.mapPoint()
	for _, s := range strings.FieldsFunc(r.cell("sensitivities"), func(c rune) bool { return c == ';' || c == ',' }) {
		if s = strings.ToLower(strings.TrimSpace(s)); s != "" && s != "no" && s != "none" {
			p.Sensitivities = append(p.Sensitivities, s)
		}
	}
	return p
}

// zip gives a ZIP code its leading zeros back, which spreadsheets take away.
func (r *lawnReader) zip() string {
	z := r.cell("zip")
	if n, err := strconv.Atoi(z); err == nil && n > 0 && len(z) < 5 && len(z) >= 3 {
		return fmt.Sprintf("%05d", n)
	}
	return z
}

func (r *lawnReader) mapPoint() (lat, lon *float64) {
	la, lo := r.cell("latitude"), r.cell("longitude")
	if la == "" && lo == "" {
		return nil, nil
	}
	if la == "" || lo == "" {
		r.wrong("latitude", "a map point needs both latitude and longitude; give both or neither")
		return nil, nil
	}
	a, err1 := strconv.ParseFloat(la, 64)
	b, err2 := strconv.ParseFloat(lo, 64)
	switch {
	case err1 != nil || math.IsNaN(a):
		r.wrong("latitude", "a latitude is a number of degrees such as 39.25")
	case err2 != nil || math.IsNaN(b):
		r.wrong("longitude", "a longitude is a number of degrees such as -76.90")
	case a == 0 && b == 0:
		r.wrong("latitude", "0, 0 lies in the sea; leave both cells empty where the point is not known")
	default:
		bad := fault.New(fault.Invalid, "place", "")
		property.CheckPlace(bad, a, b)
		for _, f := range bad.Fields {
			r.wrong(strings.TrimPrefix(f.Pointer, "/"), "%s", f.Detail)
		}
		if len(bad.Fields) == 0 {
			return &a, &b
		}
	}
	return nil, nil
}

// Bounds of a believable turf area, ours: a postage stamp and a park.
const (
	leastArea    = 10 * unit.SquareFoot
	greatestArea = 100 * unit.Acre
	leastCut     = unit.Length(0.1 * 0.0254)
	greatestCut  = 8 * unit.Inch
)

// area reads the turf area of the row; nil where the row says nothing of one.
func (r *lawnReader) area() *property.ImportArea {
	a := &property.ImportArea{Place: r.place(), Name: r.cell("area_name")}
	if a.Name == "" {
		a.Name = "Lawn"
	}
	a.AreaSqFt = r.areaSize()
	a.AreaMethod = r.areaMethod(a.AreaSqFt)
	a.AreaMeasuredOn = r.date("area_measured_on")
	a.Species = r.species()
	a.CuttingHeightIn = r.cuttingHeight()
	a.Mower = oneOf(r, "mower", map[string]turf.Mower{"reel": turf.Reel, "rotary": turf.Rotary, "cylinder": turf.Reel}, "reel or rotary")
	a.Exposure = oneOf(r, "exposure", map[string]turf.Exposure{"sun": turf.Sun, "full sun": turf.Sun, "sunny": turf.Sun, "part shade": turf.PartShade,
		"partial shade": turf.PartShade, "half shade": turf.PartShade, "shade": turf.Shade, "full shade": turf.Shade, "shady": turf.Shade}, "sun, part_shade or shade")
	a.SlopePercent = r.numberIn("slope", 0, 100, "a slope is a percentage from 0 to 100")
	a.Soil = r.soil()
	a.Irrigated = r.yesNo("irrigated")
	a.NLbPerThousandYear = r.numberIn("n_year", 0, 10, "nitrogen is pounds to 1,000 sq ft a year, 0 to 10")
	if text := r.cell("outline"); text != "" {
		a.Outline = json.RawMessage(text)
	}
	return a
}

func (r *lawnReader) areaSize() *float64 {
	text := r.cell("area")
	if text == "" {
		if r.cell("outline") == "" {
			r.wrong("area", "the turf area has neither a size nor an outline; write its size, such as 8,500 sq ft")
		}
		return nil
	}
	fallback := unit.SquareFoot
	if i, ok := r.at["area"]; ok {
		if words := strings.Fields(plain(r.header[i])); slices.Contains(words, "acres") || slices.Contains(words, "ac") {
			fallback = unit.Acre
		}
	}
	a, err := unit.ParseArea(text, fallback)
	switch {
	case err != nil:
		r.wrong("area", "%v", err)
	case a <= 0:
		r.wrong("area", "a turf area cannot be %s sq ft; write its size as a positive number", trim(a.SquareFeet()))
	case a < leastArea || a > greatestArea:
		r.wrong("area", "%s sq ft is no believable turf area (%.0f sq ft to %.0f acres); check the unit", trim(a.SquareFeet()), leastArea.SquareFeet(), greatestArea.Acres())
	default:
		v := round(a.SquareFeet(), 2)
		return &v
	}
	return nil
}

func (r *lawnReader) areaMethod(size *float64) string {
	text := plain(r.cell("area_method"))
	known := map[string]string{"": "", "wheel": "wheel", "measuring wheel": "wheel", "tape": "tape", "plan": "plan", "map": "plan", "outline": "outline",
		"estimate": "estimate", "estimated": "estimate", "guess": "estimate", "given": "given", "customer": "given"}
	m, ok := known[text]
	if !ok {
		r.wrong("area_method", "how an area was measured is one of outline, wheel, tape, plan, estimate, given")
	}
	if m == "" && size != nil {
		m = "given"
	}
	return m
}

// speciesWords are names that the trade uses beside the ids and our own words.
var speciesWords = map[string]turf.Species{
	"bermuda": turf.BermudagrassCommon, "common bermuda": turf.BermudagrassCommon, "bermudagrass": turf.BermudagrassCommon,
	"hybrid bermuda": turf.BermudagrassHybrid, "zoysia": turf.Zoysiagrass, "st augustine": turf.StAugustinegrass, "saint augustine": turf.StAugustinegrass,
	"centipede": turf.Centipedegrass, "buffalo": turf.Buffalograss, "bahia": turf.Bahiagrass, "paspalum": turf.SeashorePaspalum, "kikuyu": turf.Kikuyugrass,
	"fescue": turf.TallFescue, "tttf": turf.TallFescue, "turf type tall fescue": turf.TallFescue, "fine fescues": turf.FineFescue, "creeping red fescue": turf.FineFescue,
	"bluegrass": turf.KentuckyBluegrass, "kbg": turf.KentuckyBluegrass, "rye": turf.PerennialRyegrass, "ryegrass": turf.PerennialRyegrass, "perennial rye": turf.PerennialRyegrass,
	"bentgrass": turf.CreepingBentgrass, "bent": turf.CreepingBentgrass, "mixed": turf.UnknownSpecies, "mixed cool": turf.MixedCool, "cool season mix": turf.MixedCool,
	"mixed warm": turf.MixedWarm, "warm season mix": turf.MixedWarm, "shade mix": turf.MixedCool, "weeds": turf.UnknownSpecies,
}

func (r *lawnReader) species() turf.Species {
	text := r.cell("species")
	if text == "" {
		return ""
	}
	if s := turf.Species(strings.ToLower(text)); s.Known() {
		return s
	}
	p := plain(text)
	for _, s := range turf.AllSpecies {
		if plain(s.Words()) == p || plain(string(s)) == p {
			return s
		}
	}
	if s, ok := speciesWords[p]; ok {
		return s
	}
	r.note("line %d: the grass %q is not in the list and is kept as unknown, which is cut with caution until somebody looks", r.row.line, text)
	return turf.UnknownSpecies
}

func (r *lawnReader) cuttingHeight() *float64 {
	text := r.cell("cutting_height")
	if text == "" {
		return nil
	}
	fallback := unit.Inch
	if i, ok := r.at["cutting_height"]; ok {
		if words := strings.Fields(plain(r.header[i])); slices.Contains(words, "mm") {
			fallback = unit.Millimetre
		} else if slices.Contains(words, "cm") {
			fallback = unit.Centimetre
		}
	}
	h, err := unit.ParseLength(text, fallback)
	switch {
	case err != nil:
		r.wrong("cutting_height", "%v", err)
	case h < leastCut || h > greatestCut:
		r.wrong("cutting_height", "%s in is no cutting height of a lawn (%s to %s in); check the unit", trim(h.Inches()), trim(leastCut.Inches()), trim(greatestCut.Inches()))
	default:
		v := round(h.Inches(), 3)
		return &v
	}
	return nil
}

func (r *lawnReader) soil() turf.Soil {
	text := r.cell("soil")
	if text == "" {
		return ""
	}
	s := turf.Soil(strings.ReplaceAll(plain(text), " ", "_"))
	if !s.Known() {
		r.note("line %d: the soil %q is not in the list and is kept as unknown", r.row.line, text)
		return turf.UnknownSoil
	}
	return s
}

func oneOf[T ~string](r *lawnReader, name string, known map[string]T, words string) T {
	text := plain(r.cell(name))
	if text == "" {
		return ""
	}
	v, ok := known[text]
	if !ok {
		r.wrong(name, "write %s", words)
	}
	return v
}

func (r *lawnReader) yesNo(name string) *bool {
	yes, no := true, false
	switch plain(r.cell(name)) {
	case "":
		return nil
	case "yes", "y", "true", "1", "x":
		return &yes
	case "no", "n", "false", "0", "none":
		return &no
	}
	r.wrong(name, "write yes or no")
	return nil
}

func (r *lawnReader) numberIn(name string, least, greatest float64, words string) *float64 {
	text := strings.TrimSpace(strings.TrimSuffix(r.cell(name), "%"))
	if text == "" {
		return nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || v < least || v > greatest {
		r.wrong(name, "%s", words)
		return nil
	}
	return &v
}

func (r *lawnReader) wholeIn(name string, least, greatest int) *int {
	v := r.numberIn(name, float64(least), float64(greatest), fmt.Sprintf("write a whole number of days from %d to %d", least, greatest))
	if v == nil {
		return nil
	}
	if *v != math.Trunc(*v) {
		r.wrong(name, "write a whole number of days from %d to %d", least, greatest)
		return nil
	}
	n := int(*v)
	return &n
}

// excelEpoch is day 0 of a spreadsheet's dates, as they stand in a raw cell.
var excelEpoch = civil.On(1899, time.December, 30)

func (r *lawnReader) date(name string) civil.Date {
	text := r.cell(name)
	if text == "" {
		return civil.Date{}
	}
	if d, err := civil.ParseDate(text); err == nil {
		return d
	}
	if n, err := strconv.ParseFloat(text, 64); err == nil && n > 20000 && n < 80000 && r.table.sheet != "" {
		return excelEpoch.AddDays(int(n))
	}
	for _, layout := range []string{"1/2/2006", "1/2/06", "Jan 2, 2006", "2 Jan 2006", "January 2, 2006"} {
		if t, err := time.Parse(layout, text); err == nil {
			return civil.On(t.Year(), t.Month(), t.Day())
		}
	}
	r.wrong(name, "this date does not exist or is not written as one; write it as 2026-06-03 or 6/3/2026")
	return civil.Date{}
}

func (r *lawnReader) plan() *property.ImportPlan {
	p := property.ImportPlan{Place: r.place(), Services: r.services(), SeasonFrom: r.monthDay("season_from", false), SeasonTo: r.monthDay("season_to", true),
		LeastDays: r.wholeIn("least_days", 1, 120), GreatestDays: r.wholeIn("greatest_days", 1, 120), PriceCents: r.price()}
	if p.LeastDays != nil && p.GreatestDays != nil && *p.LeastDays > *p.GreatestDays {
		r.wrong("least_days", "the least days between cuts (%d) are more than the greatest (%d); swap them", *p.LeastDays, *p.GreatestDays)
	}
	if p.PriceCents != nil {
		p.PriceBasis = "per_visit"
	}
	if len(p.Services) == 0 && p.SeasonFrom == nil && p.SeasonTo == nil && p.LeastDays == nil && p.GreatestDays == nil && p.PriceCents == nil {
		return nil
	}
	return &p
}

var serviceWords = map[string]turf.Work{"mow": turf.Mow, "mowing": turf.Mow, "cut": turf.Mow, "edge": turf.Edge, "edging": turf.Edge,
	"spread": turf.Spread, "fertilise": turf.Spread, "fertilize": turf.Spread, "feed": turf.Spread, "feeding": turf.Spread, "granular": turf.Spread,
	"spray": turf.Spray, "weed control": turf.Spray, "weeds": turf.Spray, "water check": turf.WaterCheck, "irrigation check": turf.WaterCheck, "look": turf.Look, "inspect": turf.Look}

func (r *lawnReader) services() []turf.Work {
	var works []turf.Work
	for _, s := range strings.FieldsFunc(r.cell("services"), func(c rune) bool { return c == ',' || c == ';' || c == '+' || c == '/' }) {
		if plain(s) == "" {
			continue
		}
		w, ok := serviceWords[plain(s)]
		if !ok {
			r.wrong("services", "%q is none of the services mow, edge, spread, spray, water check, look; part them with commas", strings.TrimSpace(s))
			continue
		}
		if !slices.Contains(works, w) {
			works = append(works, w)
		}
	}
	return works
}

// monthDay reads 04-01, 4/1, Apr 1 or a month alone, which is its first day,
// or its last where the season ends in it.
func (r *lawnReader) monthDay(name string, last bool) *civil.MonthDay {
	text := r.cell(name)
	if text == "" {
		return nil
	}
	if m, err := civil.ParseMonthDay(text); err == nil {
		return &m
	}
	for _, layout := range []string{"1/2", "Jan 2", "January 2", "2 Jan", "2 January", "1/2/2006", "2006-01-02"} {
		if t, err := time.Parse(layout, text); err == nil {
			return &civil.MonthDay{Month: t.Month(), Day: t.Day()}
		}
	}
	for _, layout := range []string{"Jan", "January"} {
		if t, err := time.Parse(layout, text); err == nil {
			m := civil.MonthDay{Month: t.Month(), Day: 1}
			if last {
				m.Day = civil.On(2000, t.Month()+1, 0).Day
			}
			return &m
		}
	}
	r.wrong(name, "this is no day of the year; write it as 04-01 or Apr 1")
	return nil
}

func (r *lawnReader) price() *int64 {
	text := strings.NewReplacer("$", "", ",", "", "USD", "", " ", "").Replace(r.cell("price"))
	if text == "" {
		return nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || v < 0 || v > 100_000 {
		r.wrong("price", "a price is an amount of dollars such as 65.00")
		return nil
	}
	cents := int64(math.Round(v * 100))
	return &cents
}

// outline reads the area's outline against the property's map point, and takes
// its size where the sheet gives none.
func (r *lawnReader) outline(p *property.ImportProperty, a *property.ImportArea) {
	var near *geo.Point
	if p.Latitude != nil && p.Longitude != nil {
		near = &geo.Point{Latitude: *p.Latitude, Longitude: *p.Longitude}
	}
	o, err := geo.ParseOutline(a.Outline, near)
	if err != nil {
		r.wrong("outline", "%v", err)
		return
	}
	if a.Outline, err = o.GeoJSON(); err != nil {
		r.wrong("outline", "the outline cannot be written again: %v", err)
		return
	}
	size := round(o.Area().SquareFeet(), 1)
	switch {
	case a.AreaSqFt == nil:
		a.AreaSqFt, a.AreaMethod = &size, "outline"
	case math.Abs(*a.AreaSqFt-size) > 0.1*size:
		r.note("line %d: the size given (%s sq ft) and the outline's (%s sq ft) differ by more than a tenth; the one given is used", r.row.line, trim(*a.AreaSqFt), trim(size))
	}
}

// join puts the row into the tree of customers, properties and areas.
func (r *lawnReader) join(c property.ImportCustomer, p property.ImportProperty, a *property.ImportArea) {
	key := c.CustomerKey() + "\x1f" + strings.ToLower(c.Email) + "\x1f" + plain(c.Phone)
	if c.Key != "" {
		key = c.Key
	}
	addressKey := property.MakeAddressKey(p.Address, p.Municipality, p.State, p.ZIPCode)
	if where, ok := r.byAddress[addressKey]; ok {
		r.joinArea(where, key, c, p, a)
		return
	}
	ci, ok := r.byCustomer[key]
	if !ok {
		ci = len(r.out.Import.Customers)
		r.byCustomer[key] = ci
		r.out.Import.Customers = append(r.out.Import.Customers, c)
	}
	customer := &r.out.Import.Customers[ci]
	p.Areas = []property.ImportArea{*a}
	customer.Properties = append(customer.Properties, p)
	r.byAddress[addressKey] = propertyAt{ci, len(customer.Properties) - 1}
	if p.Latitude == nil {
		r.out.NotPlaced = append(r.out.NotPlaced, fmt.Sprintf("%s (line %d)", p.Address, r.row.line))
	}
}

// joinArea adds the row's area to a property that an earlier row has named.
func (r *lawnReader) joinArea(where propertyAt, key string, c property.ImportCustomer, p property.ImportProperty, a *property.ImportArea) {
	customer := &r.out.Import.Customers[where.customer]
	have := &customer.Properties[where.property]
	if ci, ok := r.byCustomer[key]; !ok || ci != where.customer {
		r.wrong("address", "this address belongs to %s on %s and to %s here; one address has one customer, so correct one of the two", customer.Name, have.Place, c.Name)
		return
	}
	if differ(have.Latitude, p.Latitude) || differ(have.Longitude, p.Longitude) {
		r.wrong("latitude", "the map point differs from that of the same address on %s; correct one of the two", have.Place)
		return
	}
	if have.Latitude == nil && p.Latitude != nil {
		have.Latitude, have.Longitude = p.Latitude, p.Longitude
		r.out.NotPlaced = slices.DeleteFunc(r.out.NotPlaced, func(s string) bool { return strings.HasPrefix(s, have.Address+" (") })
	}
	for _, other := range have.Areas {
		if strings.EqualFold(other.Name, a.Name) {
			r.wrong("area_name", "the turf area %q of this address stands already on %s with other values; give one of the two another name, or take one out", a.Name, other.Place)
			return
		}
	}
	have.Areas = append(have.Areas, *a)
	if have.Plan == nil {
		have.Plan = p.Plan
	}
}

func differ(a, b *float64) bool { return a != nil && b != nil && *a != *b }

func round(v float64, decimals int) float64 {
	f := math.Pow10(decimals)
	return math.Round(v*f) / f
}

func trim(v float64) string { return strconv.FormatFloat(round(v, 2), 'f', -1, 64) }
