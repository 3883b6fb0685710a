package growth_test

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"thirdcut/internal/growth"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/weather"
)

type rawRow struct {
	ID       string           `json:"id"`
	Inputs   map[string]value `json:"inputs"`
	Expected struct {
		Value any     `json:"value"`
		Min   float64 `json:"min"`
		Max   float64 `json:"max"`
	} `json:"expected"`
	Tolerance struct {
		Value float64 `json:"value"`
	} `json:"tolerance"`
	Origin string `json:"value_origin"`
}

func rawTable(t *testing.T, name string) map[string]rawRow {
	t.Helper()
	b, err := os.ReadFile("../../testdata/agronomy/" + name)
	if err != nil {
		t.Fatal(err)
	}
	var table struct {
		Rows []rawRow `json:"rows"`
	}
	if err := json.Unmarshal(b, &table); err != nil {
		t.Fatal(err)
	}
	out := make(map[string]rawRow, len(table.Rows))
	for _, r := range table.Rows {
		out[r.ID] = r
	}
	return out
}

// printed returns a row whose number stands in its source.
func printed(t *testing.T, rows map[string]rawRow, id string) rawRow {
	t.Helper()
	r, ok := rows[id]
	if !ok || r.Origin != "printed_in_source" {
		t.Fatalf("the table has no printed row %s", id)
	}
	return r
}

// TestPrintedGrowthRows holds the model against the numbers that stand in print.
func TestPrintedGrowthRows(t *testing.T) {
	rows := rawTable(t, "turf_growth.json")
	if got, r := growth.CoolPotential(16.9), printed(t, rows, "gp-c3-published-16p9"); math.Abs(got-r.Expected.Value.(float64)) > r.Tolerance.Value {
		t.Errorf("GP at 16.9 C: %v, want %v", got, r.Expected.Value)
	}
	for _, id := range []string{"gdd-purdue-1", "gdd-purdue-2"} {
		r := printed(t, rows, id)
		f := func(name string) unit.Temperature { return unit.Fahrenheit(r.Inputs[name].Value.(float64)) }
		if got := 1.8 * weather.DegreeDays(f("Tmax"), f("Tmin"), f("base")); math.Abs(got-r.Expected.Value.(float64)) > 1e-9 {
			t.Errorf("%s: %v, want %v", id, got, r.Expected.Value)
		}
	}
	r := printed(t, rows, "gdd-uk-base0")
	if got := weather.DegreeDays(unit.Celsius(17), unit.Celsius(9), 0); got != r.Expected.Value.(float64) {
		t.Errorf("17/9 C over 0: %v, want %v", got, r.Expected.Value)
	}
	if r := printed(t, rows, "dormancy-warm"); growth.DormantBelowF != r.Expected.Min || growth.AwakeFromF != r.Expected.Max {
		t.Errorf("dormancy from %v to %v F, printed %v to %v", growth.DormantBelowF, growth.AwakeFromF, r.Expected.Min, r.Expected.Max)
	}
	if r := printed(t, rows, "opt-warm"); unit.Celsius(growth.WarmOptimumC).Fahrenheit() < r.Expected.Min || unit.Celsius(growth.WarmOptimumC).Fahrenheit() > r.Expected.Max {
		t.Errorf("warm optimum %v C is outside the printed %v-%v F", growth.WarmOptimumC, r.Expected.Min, r.Expected.Max)
	}
	// The curve is known to rise less than the seedlings of that paper did (4 times): 3.45.
	if got := growth.CoolPotential(25) / growth.CoolPotential(10); math.Abs(got-3.45) > 0.01 || got > printed(t, rows, "tf-leaf-rate-ratio").Expected.Value.(float64) {
		t.Errorf("GP(25)/GP(10) = %v", got)
	}
	lbPerKgHa := float64(unit.Spread(1e-4).PoundsPerThousand())
	if got, r := growth.NitrogenFactor(22*lbPerKgHa)/growth.NitrogenFactor(0), printed(t, rows, "n-effect-22"); math.Abs(got-r.Expected.Value.(float64)) > 0.01 {
		t.Errorf("22 kg N/ha: %v times, printed %v", got, r.Expected.Value)
	}
	if got, r := growth.NitrogenFactor(66*lbPerKgHa)/growth.NitrogenFactor(0), printed(t, rows, "n-effect-66"); got > r.Expected.Value.(float64) || got < 2.5 {
		t.Errorf("66 kg N/ha: %v times, want under the printed %v, which counts slower dying too", got, r.Expected.Value)
	}
}

// TestSpeciesTableAgreesWithItsSources: each printed range stands in the table.
func TestSpeciesTableAgreesWithItsSources(t *testing.T) {
	heights := rawTable(t, "mowing.json")
	for id, s := range map[string]turf.Species{
		"uc-hoc-bermudagrass-seeded-common": turf.BermudagrassCommon, "tamu-hoc-common-bermuda": turf.BermudagrassCommon,
		"tamu19-hoc-common-bermuda": turf.BermudagrassCommon, "uga-hoc-bermudagrass-common": turf.BermudagrassCommon, "ksu-hoc-bermudagrass": turf.BermudagrassCommon,
		"uc-hoc-bermudagrass-hybrid": turf.BermudagrassHybrid, "tamu19-hoc-hybrid-bermuda": turf.BermudagrassHybrid, "uga-hoc-bermudagrass-hybrid": turf.BermudagrassHybrid,
		"uc-hoc-zoysiagrass": turf.Zoysiagrass, "ifas-hoc-zoysiagrass": turf.Zoysiagrass,
		"uc-hoc-seashore-paspalum": turf.SeashorePaspalum, "ifas-hoc-seashore-paspalum": turf.SeashorePaspalum,
		"ifas-hoc-bahiagrass": turf.Bahiagrass, "uga-hoc-centipedegrass": turf.Centipedegrass,
		"tamu19-hoc-st-augustine": turf.StAugustinegrass, "uga-hoc-st-augustinegrass": turf.StAugustinegrass, "tamu-hoc-st-augustine-shade": turf.StAugustinegrass,
		"ifas-clay-st-augustine-standard": turf.StAugustinegrass, "ifas-clay-st-augustine-dwarf": turf.StAugustinegrass,
		"ncsu-hoc-tall-fescue-spring": turf.TallFescue, "ncsu-hoc-tall-fescue-summer": turf.TallFescue, "osu-hoc-tall-fescue": turf.TallFescue,
	} {
		r, found := printed(t, heights, id), false
		for _, h := range growth.Of(s).Heights {
			found = found || math.Abs(h.Least.Inches()-r.Expected.Min) < 1e-9 && math.Abs(h.Most.Inches()-r.Expected.Max) < 1e-9
		}
		if !found {
			t.Errorf("%s: %v to %v in is not in the table of %s", id, r.Expected.Min, r.Expected.Max, s)
		}
	}
	nitrogen := rawTable(t, "nitrogen_budgets_and_limits.json")
	for id, s := range map[string]turf.Species{
		"tx-bermudagrass-hybrid": turf.BermudagrassHybrid, "tx-st-augustinegrass-sun": turf.StAugustinegrass, "tx-st-augustinegrass-shade": turf.StAugustinegrass,
		"tx-zoysiagrass": turf.Zoysiagrass, "il-zoysiagrass": turf.Zoysiagrass, "tx-centipedegrass": turf.Centipedegrass, "tx-buffalograss": turf.Buffalograss,
		"il-fine-leaf-fescue": turf.FineFescue, "il-tall-fescue-turf-type": turf.TallFescue, "il-perennial-ryegrass": turf.PerennialRyegrass,
		"il-kentucky-bluegrass": turf.KentuckyBluegrass, "psu-kentucky-bluegrass": turf.KentuckyBluegrass, "il-bentgrass": turf.CreepingBentgrass,
	} {
		r, found := printed(t, nitrogen, id), false
		for _, n := range growth.Of(s).Nitrogen {
			found = found || n.Least == r.Expected.Min && n.Most == r.Expected.Max
		}
		if !found {
			t.Errorf("%s: %v to %v lb is not in the table of %s", id, r.Expected.Min, r.Expected.Max, s)
		}
	}
}
