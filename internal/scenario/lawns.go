package scenario

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"

	"thirdcut/internal/turf"
)

// Properties is how many properties the demo company looks after.
const Properties = 240

// sheetHeader is the header of the office sheet that the demo imports, the way
// an office might have named its columns.
var sheetHeader = []string{
	"Customer", "Email", "Phone", "Billing address",
	"Address", "Municipality", "County", "State", "ZIP", "Latitude", "Longitude", "Access note", "Gate code", "Sensitivities",
	"Area name", "Area", "Area method", "Species", "Cutting height", "Mower", "Exposure", "Slope %", "Soil", "Irrigated", "N lb/1000 sq ft per year",
	"Services", "Season from", "Season to", "Least days", "Greatest days", "Price per visit",
}

// lawnKind is one sort of lawn in the round. Share is of properties.
type lawnKind struct {
	share     float64
	species   turf.Species
	heights   []string // as an office writes them
	mower     turf.Mower
	leastDays int
	mostDays  int
	n         float64
}

// lawnKinds is the invented mix of a region where cool- and warm-season grass
// meet; heights lie in the ranges that extension services print.
var lawnKinds = []lawnKind{
	{0.60, turf.TallFescue, []string{`3 1/2"`, `3.5 in`, `3 1/4"`, `3.75"`, `4 in`}, turf.Rotary, 6, 16, 2.7},
	{0.12, turf.KentuckyBluegrass, []string{`3"`, `3 in`, `76 mm`}, turf.Rotary, 5, 14, 2.7},
	{0.07, turf.MixedCool, []string{`3 1/2"`, `3.5 in`}, turf.Rotary, 6, 16, 2.0},
	{0.06, turf.FineFescue, []string{`3 1/2"`, `3.5 in`}, turf.Rotary, 8, 21, 1.4},
	{0.06, turf.BermudagrassCommon, []string{`2"`, `50 mm`, `2.25 in`}, turf.Rotary, 4, 9, 2.4},
	{0.06, turf.Zoysiagrass, []string{`2"`, `1 3/4"`, `2 in`}, turf.Rotary, 6, 14, 1.6},
	{0.03, turf.BermudagrassHybrid, []string{`1"`, `1 1/8"`, `1.25 in`}, turf.Reel, 2, 5, 2.7},
}

// place is one invented settlement of the round, with its centre.
type place struct {
	name, county, zip   string
	latitude, longitude float64
	share               float64
}

// places are invented; their counties exist, so that county rules can be shown.
var places = []place{
	{"Fernwick", "Howard", "00101", 39.250, -76.900, 0.26},
	{"Alder Mill", "Howard", "00102", 39.295, -76.855, 0.18},
	{"Quarry Ford", "Carroll", "00103", 39.390, -76.960, 0.22},
	{"Sable Run", "Carroll", "00104", 39.440, -76.985, 0.14},
	{"Tansy Hill", "Baltimore", "00105", 39.365, -76.810, 0.20},
}

var (
	streetNames = []string{"Larkspur", "Sorrel", "Hollow Oak", "Millrace", "Juniper", "Cinder", "Old Ferry", "Bramble", "Teasel", "Plover", "Saddleback", "Thistledown", "Copper Beech", "Wren", "Harrow", "Kiln", "Meadowlark", "Orchard End", "Pewter", "Rookery"}
	streetKinds = []string{"Lane", "Road", "Court", "Way", "Drive"}
	firstNames  = []string{"Abena", "Bram", "Celia", "Dorin", "Edda", "Farid", "Greta", "Hollis", "Imani", "Joaquin", "Kerstin", "Lucan", "Mirela", "Niko", "Odessa", "Pavel", "Quilla", "Rosalind", "Soren", "Tamsin", "Ulla", "Viggo", "Wilhelmina", "Yusuf"}
	lastNames   = []string{"Ashgrove", "Bellweather", "Corriden", "Dunmarrow", "Ellingsworth", "Fennimoor", "Garrowby", "Hartswell", "Inglemire", "Jessamy", "Kestrell", "Lindqvale", "Marchbank", "Norwold", "Ottershaw", "Pendlecroft", "Quillfeather", "Ravensby", "Stillwater", "Thornbury", "Umberfield", "Vantrees", "Wexcombe", "Yarrowby"}
	accessNotes = []string{"", "", "", "Side gate on the left.", "Ring first, dog in the yard.", "Park on the street.", "Mind the drip line along the beds.", "Key under the third pot."}
)

// Sheet is the office sheet of the demo as CSV: one row a turf area, mixed
// units, as offices keep it. Three properties have no map point.
func Sheet(seed uint64) []byte { return sheetOf(seed, Properties) }

// sheetOf is the sheet's first n properties.
func sheetOf(seed uint64, n int) []byte {
	rng := rand.New(rand.NewPCG(seed, 2))
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.UseCRLF = true
	must(w.Write(sheetHeader))
	taken := map[string]bool{}
	for i := range n {
		for _, row := range propertyRows(rng, i, taken) {
			must(w.Write(row))
		}
	}
	w.Flush()
	must(w.Error())
	return out.Bytes()
}

// must holds for writes to memory, which cannot fail.
func must(err error) {
	if err != nil {
		panic(err)
	}
}

func pick[T any](rng *rand.Rand, from []T) T { return from[rng.IntN(len(from))] }

// share picks an index by weights that add up to about one.
func share(rng *rand.Rand, weight func(int) float64, n int) int {
	x := rng.Float64()
	for i := range n {
		if x -= weight(i); x < 0 {
			return i
		}
	}
	return n - 1
}

func propertyRows(rng *rand.Rand, i int, taken map[string]bool) [][]string {
	p := places[share(rng, func(i int) float64 { return places[i].share }, len(places))]
	k := lawnKinds[share(rng, func(i int) float64 { return lawnKinds[i].share }, len(lawnKinds))]
	address := ""
	for address == "" || taken[address] {
		address = fmt.Sprintf("%d %s %s", 1+rng.IntN(180), pick(rng, streetNames), pick(rng, streetKinds))
	}
	taken[address] = true
	name := pick(rng, firstNames) + " " + pick(rng, lastNames)
	latitude := strconv.FormatFloat(p.latitude+0.017*rng.NormFloat64(), 'f', 5, 64)
	longitude := strconv.FormatFloat(p.longitude+0.021*rng.NormFloat64(), 'f', 5, 64)
	if i%97 == 41 {
		latitude, longitude = "", ""
	}
	gate, note := "", pick(rng, accessNotes)
	if rng.IntN(9) == 0 {
		gate = fmt.Sprintf("%04d", rng.IntN(10000))
	}
	var sensitive string
	switch rng.IntN(14) {
	case 0:
		sensitive = "pets"
	case 1:
		sensitive = "pond"
	case 2:
		sensitive = "hives"
	case 3:
		sensitive = "pets; garden"
	}
	services := "mow, edge, look"
	switch {
	case rng.Float64() < 0.22:
		services = "mow, edge, look, spray, spread"
	case rng.Float64() < 0.2:
		services = "mow, edge, look, spread"
	}
	base := []string{
		name, fmt.Sprintf("lawn%03d@example.org", i+1), fmt.Sprintf("555-01%02d", i%100), address + ", " + p.name + " MD " + p.zip,
		address, p.name, p.county, "MD", p.zip, latitude, longitude, note, gate, sensitive,
	}
	irrigated, soil := "no", pick(rng, []string{"loam", "silt_loam", "clay_loam", "unknown"})
	if rng.IntN(3) == 0 || k.mower == turf.Reel {
		irrigated = "yes"
	}
	height := pick(rng, k.heights)
	price := fmt.Sprintf("$%d.00", 45+5*rng.IntN(12))
	var rows [][]string
	for a, area := range areasOf(rng) {
		species, exposure := k.species, turf.Sun
		if a == 1 && rng.IntN(3) == 0 && k.mower != turf.Reel {
			exposure = turf.PartShade
		}
		rows = append(rows, append(append([]string{}, base...),
			area.name, area.size, pick(rng, []string{"wheel", "plan", "given"}), species.Words(), height, string(k.mower),
			string(exposure), strconv.Itoa(rng.IntN(12)), soil, irrigated, strconv.FormatFloat(k.n, 'f', 1, 64),
			services, "04-01", "11-15", strconv.Itoa(k.leastDays), strconv.Itoa(k.mostDays), price))
	}
	return rows
}

type areaSize struct{ name, size string }

// areasOf draws one to three areas with sizes in the units an office mixes.
func areasOf(rng *rand.Rand) []areaSize {
	names := []string{"Front", "Back", "Side"}
	var areas []areaSize
	for i := range 1 + rng.IntN(3) {
		sqft := math.Round((3800+12000*rng.Float64()*rng.Float64())/50) * 50 * (1 + 0.8*float64(i%2))
		size := fmt.Sprintf("%.0f", sqft)
		switch rng.IntN(4) {
		case 0:
			size = fmt.Sprintf("%.2f ac", sqft/43560)
		case 1:
			size = fmt.Sprintf("%d,%03d sf", int(sqft)/1000, int(sqft)%1000)
		case 2:
			size = fmt.Sprintf("%.0f sq ft", sqft)
		}
		areas = append(areas, areaSize{names[i], size})
	}
	return areas
}
