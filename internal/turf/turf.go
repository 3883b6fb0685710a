// Package turf holds the closed lists of the trade that files, commands and
// tables share (species, soils, exposures, mowers, kinds of work) and the due
// window of one piece of work on one turf area.
package turf

import (
	"slices"

	"thirdcut/internal/civil"
)

// Species is the id of a turfgrass as it stands in files. Unknown is allowed
// everywhere and is treated with cautious defaults.
type Species string

// The species.
const (
	BermudagrassCommon Species = "bermudagrass_common"
	BermudagrassHybrid Species = "bermudagrass_hybrid"
	Zoysiagrass        Species = "zoysiagrass"
	StAugustinegrass   Species = "st_augustinegrass"
	Centipedegrass     Species = "centipedegrass"
	Buffalograss       Species = "buffalograss"
	Bahiagrass         Species = "bahiagrass"
	SeashorePaspalum   Species = "seashore_paspalum"
	Carpetgrass        Species = "carpetgrass"
	Kikuyugrass        Species = "kikuyugrass"
	TallFescue         Species = "tall_fescue"
	FineFescue         Species = "fine_fescue"
	KentuckyBluegrass  Species = "kentucky_bluegrass"
	PerennialRyegrass  Species = "perennial_ryegrass"
	CreepingBentgrass  Species = "creeping_bentgrass"
	MixedCool          Species = "mixed_cool"
	MixedWarm          Species = "mixed_warm"
	UnknownSpecies     Species = "unknown"
)

// AllSpecies lists every id in the order of the published list.
var AllSpecies = []Species{
	BermudagrassCommon, BermudagrassHybrid, Zoysiagrass, StAugustinegrass, Centipedegrass,
	Buffalograss, Bahiagrass, SeashorePaspalum, Carpetgrass, Kikuyugrass, TallFescue, FineFescue,
	KentuckyBluegrass, PerennialRyegrass, CreepingBentgrass, MixedCool, MixedWarm, UnknownSpecies,
}

// Known says whether the id is in the list ("unknown" is).
func (s Species) Known() bool { return slices.Contains(AllSpecies, s) }

var speciesWords = map[Species]string{
	BermudagrassCommon: "common bermudagrass", BermudagrassHybrid: "hybrid bermudagrass",
	Zoysiagrass: "zoysiagrass", StAugustinegrass: "St. Augustinegrass", Centipedegrass: "centipedegrass",
	Buffalograss: "buffalograss", Bahiagrass: "bahiagrass", SeashorePaspalum: "seashore paspalum",
	Carpetgrass: "carpetgrass", Kikuyugrass: "kikuyugrass", TallFescue: "tall fescue",
	FineFescue: "fine fescue", KentuckyBluegrass: "Kentucky bluegrass",
	PerennialRyegrass: "perennial ryegrass", CreepingBentgrass: "creeping bentgrass",
	MixedCool: "mixed cool-season grass", MixedWarm: "mixed warm-season grass",
	UnknownSpecies: "unknown grass",
}

// Words is the name on screens.
func (s Species) Words() string {
	if w, ok := speciesWords[s]; ok {
		return w
	}
	return string(s)
}

// Soil is the id of a soil texture.
type Soil string

// AllSoils lists the texture ids; "unknown" is one.
var AllSoils = []Soil{
	"sand", "loamy_sand", "sandy_loam", "loam", "silt_loam", "sandy_clay_loam", "clay_loam",
	"silty_clay_loam", "sandy_clay", "silty_clay", "clay", "unknown",
}

// UnknownSoil stands where nobody looked.
const UnknownSoil Soil = "unknown"

// Known says whether the id is in the list.
func (s Soil) Known() bool { return slices.Contains(AllSoils, s) }

// Exposure is how much sun an area gets.
type Exposure string

// The exposures.
const (
	Sun       Exposure = "sun"
	PartShade Exposure = "part_shade"
	Shade     Exposure = "shade"
)

// AllExposures lists the exposures.
var AllExposures = []Exposure{Sun, PartShade, Shade}

// Known says whether the id is in the list.
func (e Exposure) Known() bool { return slices.Contains(AllExposures, e) }

// Mower is a kind of mower. A reel cuts below an inch; a rotary does not cut clean there.
type Mower string

// The mowers.
const (
	Reel   Mower = "reel"
	Rotary Mower = "rotary"
)

// Known says whether the id is in the list.
func (m Mower) Known() bool { return m == Reel || m == Rotary }

// Work is a kind of work on a turf area.
type Work string

// The kinds of work.
const (
	Mow        Work = "mow"
	Edge       Work = "edge"
	Spread     Work = "spread"      // granular product
	Spray      Work = "spray"       // liquid product
	WaterCheck Work = "water_check" // irrigation looked at
	Look       Work = "look"        // a person looks, measures and writes down
	FirstCut   Work = "first_cut"   // the low cut of dormant grass before green-up
)

// AllWork lists the kinds of work.
var AllWork = []Work{Mow, Edge, Spread, Spray, WaterCheck, Look, FirstCut}

// Known says whether the id is in the list.
func (w Work) Known() bool { return slices.Contains(AllWork, w) }

var workWords = map[Work]string{Mow: "mow", Edge: "edge", Spread: "spread", Spray: "spray",
	WaterCheck: "check watering", Look: "look and measure", FirstCut: "first cut before green-up"}

// Words is the name on screens.
func (w Work) Words() string {
	if s, ok := workWords[w]; ok {
		return s
	}
	return string(w)
}

// Treats says whether the work puts a product down and so leaves an application record.
func (w Work) Treats() bool { return w == Spread || w == Spray }

// StruckDay is a day on which the work may not or should not be done.
type StruckDay struct {
	Date   civil.Date `json:"date"`
	Reason string     `json:"reason"`
}

// DayChance is the chance, 0 to 1, that by the end of that day more than one
// third would have to come off, with the expected standing height in inches.
type DayChance struct {
	Date             civil.Date `json:"date"`
	OverThird        float64    `json:"chance_over_third"`
	StandingHeightIn float64    `json:"standing_height_in"`
}

// Window is when one kind of work is due on one turf area. Opens <= Best <=
// Closes in whole days; all three are zero when there is no window, and Reason
// then says why. Tight means that the cadence cannot keep the one-third rule.
type Window struct {
	Work    Work        `json:"work"`
	Opens   civil.Date  `json:"opens"`
	Best    civil.Date  `json:"best"`
	Closes  civil.Date  `json:"closes"`
	Tight   bool        `json:"tight"`
	Reason  string      `json:"reason"`
	Struck  []StruckDay `json:"struck,omitempty"`
	Chances []DayChance `json:"chances,omitempty"`
}

// Open says whether there is a window at all.
func (w Window) Open() bool { return !w.Best.IsZero() }

// Holds says whether the date lies in the window and is not struck.
func (w Window) Holds(d civil.Date) bool {
	if !w.Open() || d.Before(w.Opens) || d.After(w.Closes) {
		return false
	}
	return !slices.ContainsFunc(w.Struck, func(s StruckDay) bool { return s.Date == d })
}
