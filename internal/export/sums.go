package export

import (
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"thirdcut/internal/application"
	"thirdcut/internal/unit"
)

// sum is what was put down of one product, or of one active ingredient.
type sum struct {
	name, epaRegNo string
	applications   int64
	dry            unit.Mass
	liquid         unit.Volume
	area           unit.Area
}

// sums holds the totals by product and by active ingredient: as many as there
// are products, however many records.
type sums struct {
	products    map[string]*sum
	ingredients map[string]*sum
}

func newSums() *sums {
	return &sums{products: map[string]*sum{}, ingredients: map[string]*sum{}}
}

func (s *sums) add(r application.Record) {
	into(s.products, r.ProductName, r.EPARegNo, r)
	ingredient := strings.TrimSpace(r.ActiveIngredient)
	if ingredient == "" {
		ingredient = "none stated"
	}
	into(s.ingredients, ingredient, "", r)
}

func into(totals map[string]*sum, name, epaRegNo string, r application.Record) {
	key := strings.ToLower(name) + "\x00" + epaRegNo
	t := totals[key]
	if t == nil {
		t = &sum{name: name, epaRegNo: epaRegNo}
		totals[key] = t
	}
	t.applications++
	switch r.Total.Unit {
	case "kg":
		t.dry += unit.Mass(r.Total.Value) * unit.Kilogram
	case "L":
		t.liquid += unit.Volume(r.Total.Value) * unit.Litre
	}
	for _, l := range r.Lines {
		t.area += unit.Area(l.AreaTreated.Value) * unit.SquareFoot
	}
}

func inOrder(totals map[string]*sum) []*sum {
	list := make([]*sum, 0, len(totals))
	for _, key := range slices.Sorted(maps.Keys(totals)) {
		list = append(list, totals[key])
	}
	return list
}

var sumColumns = columns{
	{"Applications", 13}, {"Dry product (lb)", 14}, {"Dry product (kg)", 14},
	{"Liquid product (gal)", 14}, {"Liquid product (L)", 14}, {"Area treated (sq ft)", 16}, {"Area treated (acres)", 14},
}

// cells of sumColumns; a total of nothing is left empty.
func (t *sum) cells() []any {
	return []any{t.applications,
		unlessZero(t.dry.Pounds()), unlessZero(t.dry.Kilograms()),
		unlessZero(t.liquid.Gallons()), unlessZero(t.liquid.Litres()),
		round(t.area.SquareFeet(), 1), round(t.area.Acres(), 4)}
}

func unlessZero(v float64) any {
	if v == 0 {
		return nil
	}
	return round(v, 4)
}

// round is done once, when a number is written; totals are added up unrounded.
func round(v float64, digits int) float64 {
	p := math.Pow10(digits)
	return math.Round(v*p) / p
}

func number(v float64) string { return strconv.FormatFloat(round(v, 4), 'f', -1, 64) }
