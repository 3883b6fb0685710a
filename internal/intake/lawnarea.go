package intake

import (
	"encoding/json"
	"math"
	"strconv"
	"strings"

	"thirdcut/internal/geo"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

// Bounds of a believable turf area and cutting height, ours: a doormat and a
// park; the lowest a reel mower is set and the highest a rotary is.
const (
	leastArea    = 10 * unit.SquareFoot
	greatestArea = 100 * unit.Acre
	leastCut     = 0.1 * unit.Inch
	greatestCut  = property.GreatestHeightIn * unit.Inch
)

// area reads the turf area of the row.
func (r *lawnReader) area() property.ImportArea {
	a := property.ImportArea{Place: r.place(), Name: r.cell("area_name")}
	if a.Name == "" {
		a.Name = "Lawn"
	}
	a.AreaSqFt = r.areaSize()
	a.AreaMethod = r.areaMethod(a.AreaSqFt)
	a.AreaMeasuredOn = r.date("area_measured_on")
	a.Species = r.species()
	a.CuttingHeightIn = r.cuttingHeight()
	a.Mower = oneOf(r, "mower", mowerWords, "reel or rotary")
	a.Exposure = oneOf(r, "exposure", exposureWords, "sun, part shade or shade")
	a.SlopePercent = r.slope()
	a.Soil = r.soil()
	a.Irrigated, a.IrrigationNote = r.irrigated()
	a.NLbPerThousandYear = r.numberIn("n_year", 0, property.GreatestNitrogen, "nitrogen is pounds to 1,000 sq ft a year, 0 to 10")
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
	switch u := r.unitOf("area"); u {
	case "":
	case "1000 sq ft", "1 000 sq ft":
		fallback = unit.Thousand
	default:
		one, err := unit.ParseArea("1 "+u, 0)
		if err != nil {
			r.wrong("area", "the header's unit %q is none of area; write it such as Area (sq ft)", u)
			return nil
		}
		fallback = one
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

var areaMethods = map[string]string{"wheel": "wheel", "measuring wheel": "wheel", "tape": "tape", "plan": "plan", "map": "plan", "outline": "outline",
	"estimate": "estimate", "estimated": "estimate", "guess": "estimate", "given": "given", "customer": "given"}

func (r *lawnReader) areaMethod(size *float64) string {
	text := plain(r.cell("area_method"))
	if text == "" {
		if size != nil {
			return "given"
		}
		return ""
	}
	m, ok := areaMethods[text]
	if !ok {
		r.wrong("area_method", "how an area was measured is one of %s", strings.Join(property.AreaMethods, ", "))
	}
	if m == "outline" && r.cell("outline") == "" {
		r.wrong("area_method", "the size is said to come from an outline, and the row has none; give the outline or another method")
	}
	return m
}

// tradeSpecies are names that the trade uses beside the ids and our own words.
var tradeSpecies = map[string]turf.Species{
	"common bermuda": turf.BermudagrassCommon, "hybrid bermuda": turf.BermudagrassHybrid, "zoysia": turf.Zoysiagrass, "zoysia grass": turf.Zoysiagrass,
	"st augustine": turf.StAugustinegrass, "saint augustine": turf.StAugustinegrass, "saint augustinegrass": turf.StAugustinegrass, "centipede": turf.Centipedegrass,
	"buffalo": turf.Buffalograss, "buffalo grass": turf.Buffalograss, "bahia": turf.Bahiagrass, "paspalum": turf.SeashorePaspalum, "carpet grass": turf.Carpetgrass, "kikuyu": turf.Kikuyugrass,
	"tttf": turf.TallFescue, "turf type tall fescue": turf.TallFescue, "fine fescues": turf.FineFescue, "creeping red fescue": turf.FineFescue, "hard fescue": turf.FineFescue,
	"chewings fescue": turf.FineFescue, "kbg": turf.KentuckyBluegrass, "perennial rye": turf.PerennialRyegrass, "bentgrass": turf.CreepingBentgrass, "bent": turf.CreepingBentgrass,
	"cool season": turf.MixedCool, "cool season mix": turf.MixedCool, "cool season grass": turf.MixedCool, "mixed cool": turf.MixedCool, "mixed warm": turf.MixedWarm,
	"warm season": turf.MixedWarm, "warm season mix": turf.MixedWarm, "warm season grass": turf.MixedWarm, "not known": turf.UnknownSpecies, "n a": turf.UnknownSpecies, "don t know": turf.UnknownSpecies,
}

// usualSpecies are short names that leave something open and are taken for the
// most usual of what they may mean, with a note.
var usualSpecies = map[string]turf.Species{
	"bermuda": turf.BermudagrassCommon, "bermudagrass": turf.BermudagrassCommon, "bermuda grass": turf.BermudagrassCommon, "fescue": turf.TallFescue,
	"bluegrass": turf.KentuckyBluegrass, "blue grass": turf.KentuckyBluegrass, "rye": turf.PerennialRyegrass, "ryegrass": turf.PerennialRyegrass, "shade mix": turf.MixedCool, "sun mix": turf.MixedCool,
}

// speciesByWords are the ids, our words and the trade's sure names, plain.
var speciesByWords = func() map[string]turf.Species {
	words := map[string]turf.Species{}
	for _, s := range turf.AllSpecies {
		words[plain(string(s))], words[plain(s.Words())] = s, s
	}
	for w, s := range tradeSpecies {
		words[w] = s
	}
	return words
}()

func (r *lawnReader) species() turf.Species {
	text := r.cell("species")
	if text == "" {
		return ""
	}
	s, sure := speciesOf(text)
	switch {
	case s == "":
		r.note("the grass %q is not in the list and is kept as unknown, which is cut with caution until somebody looks", shorten(text))
		return turf.UnknownSpecies
	case !sure:
		r.note("the grass %q is taken for %s; correct it where it is another", shorten(text), s.Words())
	}
	return s
}

// speciesOf reads a grass, or several parted by signs, which are a mix when all
// like cool weather or all like warm; empty for what is not known.
func speciesOf(text string) (s turf.Species, sure bool) {
	p := strings.TrimSuffix(strings.TrimSuffix(plain(text), " blend"), " lawn")
	if s, ok := speciesByWords[p]; ok {
		return s, true
	}
	if s, ok := usualSpecies[p]; ok {
		return s, false
	}
	parts := strings.FieldsFunc(strings.ReplaceAll(strings.ToLower(text), " and ", "/"), func(c rune) bool { return strings.ContainsRune("/+&,;", c) })
	if len(parts) < 2 {
		return "", false
	}
	mix := map[turf.Species]bool{}
	for _, part := range parts {
		one, _ := speciesOf(strings.TrimSuffix(plain(part), " mix"))
		mix[kindOf(one)] = true
	}
	if len(mix) != 1 {
		return "", false
	}
	for m := range mix {
		s = m
	}
	return s, false
}

// kindOf is the mix to which a grass belongs; empty for none.
func kindOf(s turf.Species) turf.Species {
	switch s {
	case "", turf.UnknownSpecies:
		return ""
	case turf.TallFescue, turf.FineFescue, turf.KentuckyBluegrass, turf.PerennialRyegrass, turf.CreepingBentgrass, turf.MixedCool:
		return turf.MixedCool
	}
	return turf.MixedWarm
}

func (r *lawnReader) cuttingHeight() *float64 {
	text := r.cell("cutting_height")
	if text == "" {
		return nil
	}
	fallback := unit.Inch
	if u := r.unitOf("cutting_height"); u != "" {
		one, err := unit.ParseLength("1 "+u, 0)
		if err != nil {
			r.wrong("cutting_height", "the header's unit %q is none of length; write it such as Cutting height (in)", u)
			return nil
		}
		fallback = one
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
		r.note("the soil %q is not in the list and is kept as unknown", shorten(text))
		return turf.UnknownSoil
	}
	return s
}

var (
	mowerWords = map[string]turf.Mower{"reel": turf.Reel, "cylinder": turf.Reel, "reel mower": turf.Reel, "rotary": turf.Rotary, "rotary mower": turf.Rotary}

	exposureWords = map[string]turf.Exposure{"sun": turf.Sun, "full sun": turf.Sun, "sunny": turf.Sun, "part shade": turf.PartShade, "part sun": turf.PartShade,
		"partial shade": turf.PartShade, "partial": turf.PartShade, "half shade": turf.PartShade, "shade": turf.Shade, "full shade": turf.Shade, "shady": turf.Shade}
)

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

// irrigated reads yes or no; what is written behind it is kept as a note.
func (r *lawnReader) irrigated() (*bool, string) {
	text := r.cell("irrigated")
	if text == "" {
		return nil, ""
	}
	yes := map[string]bool{"yes": true, "y": true, "true": true, "1": true, "x": true, "no": false, "n": false, "false": false, "0": false, "none": false}
	first := strings.IndexFunc(text, func(c rune) bool { return strings.ContainsRune(" ,;:-–(", c) })
	if first < 0 {
		first = len(text)
	}
	is, ok := yes[strings.ToLower(text[:first])]
	if !ok {
		r.wrong("irrigated", "write yes or no, and what else there is to say behind it")
		return nil, ""
	}
	return &is, strings.Trim(text[first:], " ,;:-–()")
}

// slope reads a percentage. Between 0 and 1 it is refused: a cell shown as 5 %
// holds 0.05.
func (r *lawnReader) slope() *float64 {
	const words = "a slope is a percentage from 0 to 100"
	v := r.numberIn("slope", 0, 100, words)
	if v != nil && *v > 0 && *v < 1 && !strings.Contains(r.cell("slope"), "%") {
		r.wrong("slope", "%s can mean %s %% or a hundredth of it; write the percentage as a number such as 5", trim(*v), trim(100**v))
		return nil
	}
	return v
}

func (r *lawnReader) numberIn(name string, least, greatest float64, words string) *float64 {
	text := strings.TrimSpace(strings.TrimSuffix(r.cell(name), "%"))
	if text == "" {
		return nil
	}
	v, ok := number(text)
	if !ok || v < least || v > greatest {
		r.wrong(name, "%s", words)
		return nil
	}
	return &v
}

// outline reads the area's outline against the property's map point, and takes
// its size where the sheet gives none.
func (r *lawnReader) outline(p property.ImportProperty, a *property.ImportArea) {
	if a.Outline == nil {
		return
	}
	var near *geo.Point
	if p.Latitude != nil && p.Longitude != nil {
		at := point(p)
		near = &at
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
	case o.Area() < leastArea || o.Area() > greatestArea:
		r.wrong("outline", "the outline holds %s sq ft, which is no believable turf area (%.0f sq ft to %.0f acres)", trim(size), leastArea.SquareFeet(), greatestArea.Acres())
	case a.AreaSqFt == nil:
		a.AreaSqFt, a.AreaMethod = &size, "outline"
	case math.Abs(*a.AreaSqFt-size) > 0.1*size:
		r.note("the size given (%s sq ft) and the outline's (%s sq ft) differ by more than a tenth; the one given is used", trim(*a.AreaSqFt), trim(size))
	}
}

func round(v float64, decimals int) float64 {
	f := math.Pow10(decimals)
	return math.Round(v*f) / f
}

func trim(v float64) string { return strconv.FormatFloat(round(v, 2), 'f', -1, 64) }
