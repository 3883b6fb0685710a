// Package growth computes how fast the leaf of a turfgrass extends on a day,
// factor by factor, and when it rests.
package growth

import (
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

// Season is the kind of grass by its season.
type Season int

// The kinds. EitherSeason stands for grass that nobody has named.
const (
	EitherSeason Season = iota
	CoolSeason
	WarmSeason
)

// Words is the kind as a person reads it.
func (s Season) Words() string {
	switch s {
	case CoolSeason:
		return "cool-season"
	case WarmSeason:
		return "warm-season"
	}
	return "of unknown season"
}

// HeightRange is a published range of cutting heights.
type HeightRange struct {
	Least, Most unit.Length
	Source      string // key in testdata/sources.md, with what it is for
}

// NitrogenRange is a yearly range of nitrogen, lb N per 1,000 sq ft.
type NitrogenRange struct {
	Least, Most float64
	Source      string
}

// Traits is what the model takes for a species.
type Traits struct {
	Species         turf.Species
	Season          Season
	ReferenceHeight unit.Length   // at which Rate stands
	Rate            unit.Growth   // extension with every factor at 1; ours, set so that mowing intervals meet published ones
	Heights         []HeightRange // may be empty
	Nitrogen        []NitrogenRange
	Note            string // a caution to show; empty for a named species with published figures
}

// Optimum and spread of the temperature curve, degrees C. Source: T-01.
const (
	CoolOptimumC = 20.0
	CoolSpreadC  = 5.5
	WarmOptimumC = 31.0
	WarmSpreadC  = 7.0
)

func in(least, most float64, source string) HeightRange {
	return HeightRange{unit.Length(least) * unit.Inch, unit.Length(most) * unit.Inch, source}
}

func lawn(s turf.Species, k Season, refIn, rate float64) Traits {
	return Traits{Species: s, Season: k, ReferenceHeight: unit.Length(refIn) * unit.Inch,
		Rate: unit.Growth(rate) * unit.MillimetrePerDay}
}

func (t Traits) heights(h ...HeightRange) Traits { t.Heights = h; return t }

func (t Traits) nitrogen(n ...NitrogenRange) Traits { t.Nitrogen = n; return t }

func (t Traits) note(s string) Traits { t.Note = s; return t }

// fastest of its kind: an unnamed grass is looked at too early rather than too late.
var table = index(
	lawn(turf.BermudagrassHybrid, WarmSeason, 0.75, 3.5).
		heights(in(0.5, 1, "T-03"), in(1, 2.5, "T-08"), in(0.25, 2, "T-09")).nitrogen(NitrogenRange{3, 5, "T-22 Texas"}),
	lawn(turf.BermudagrassCommon, WarmSeason, 1.5, 4.4).
		heights(in(1, 1.5, "T-03"), in(1, 2, "T-08, T-09, T-11"), in(1.5, 3, "T-08 2019")),
	lawn(turf.Zoysiagrass, WarmSeason, 1.5, 2.4).
		heights(in(0.5, 1, "T-03"), in(1, 3, "T-05")).nitrogen(NitrogenRange{2, 4, "T-22 Texas, Illinois"}),
	lawn(turf.StAugustinegrass, WarmSeason, 3, 4.8).
		heights(in(2.5, 4, "T-08 2019, T-09"), in(3.5, 4, "T-05 standard"), in(2.5, 2.5, "T-05 dwarf"), in(3, 3.5, "T-08 shade")).
		nitrogen(NitrogenRange{2, 4, "T-22 Texas, sun"}, NitrogenRange{1, 2, "T-22 Texas, shade"}),
	lawn(turf.Centipedegrass, WarmSeason, 1.5, 2.2).heights(in(1, 3, "T-09")).nitrogen(NitrogenRange{1, 3, "T-22 Texas"}),
	lawn(turf.Bahiagrass, WarmSeason, 3.5, 4.5).heights(in(3, 4, "T-05")).
		note("Seedheads, not leaf, decide in summer: measure the leaf canopy."),
	lawn(turf.SeashorePaspalum, WarmSeason, 1.25, 2.8).heights(in(0.75, 1.5, "T-03"), in(1, 2, "T-05")),
	lawn(turf.Carpetgrass, WarmSeason, 1.75, 2.2),
	lawn(turf.Buffalograss, WarmSeason, 2.5, 1.8).nitrogen(NitrogenRange{1, 2, "T-22 Texas"}),
	lawn(turf.Kikuyugrass, WarmSeason, 1.25, 4.5),
	lawn(turf.TallFescue, CoolSeason, 3, 5.4).
		heights(in(3, 3.5, "T-07 spring"), in(3.5, 4, "T-07 summer"), in(2, 3, "T-10")).nitrogen(NitrogenRange{2, 4, "T-22 Illinois"}),
	lawn(turf.KentuckyBluegrass, CoolSeason, 2.5, 4.6).heights(in(2.5, 3.5, "common practice")).
		nitrogen(NitrogenRange{1, 4, "T-22 Illinois"}, NitrogenRange{3, 4, "T-22 Penn State"}),
	lawn(turf.PerennialRyegrass, CoolSeason, 2, 4.7).heights(in(2, 3, "common practice")).nitrogen(NitrogenRange{2, 4, "T-22 Illinois"}),
	lawn(turf.FineFescue, CoolSeason, 3, 3.2).heights(in(2.5, 4, "common practice")).nitrogen(NitrogenRange{1, 3, "T-22 Illinois"}),
	lawn(turf.CreepingBentgrass, CoolSeason, 0.5, 2.2).heights(in(0.25, 0.75, "from memory")).nitrogen(NitrogenRange{2, 6, "T-22 Illinois"}).
		note("The growth rate of creeping bentgrass is from memory; trust the measured heights of this lawn."),
	lawn(turf.MixedCool, CoolSeason, 3, 5.4).heights(in(3, 3.5, "as tall fescue, ours")).nitrogen(NitrogenRange{2, 3, "ours"}).
		note("Mixed cool-season grass is taken as the fastest of its kind, tall fescue."),
	lawn(turf.MixedWarm, WarmSeason, 1.5, 4.4).heights(in(1.5, 2.5, "ours")).nitrogen(NitrogenRange{2, 3, "ours"}).
		note("Mixed warm-season grass is taken as the fastest of its kind, common bermudagrass."),
	lawn(turf.UnknownSpecies, EitherSeason, 3, 5.4).heights(in(3, 3.5, "ours")).nitrogen(NitrogenRange{1, 2, "ours"}).
		note("The grass is not named: each day is taken as growing for whichever season suits it better. Have somebody look."),
)

func index(ts ...Traits) map[turf.Species]Traits {
	m := make(map[turf.Species]Traits, len(ts))
	for _, t := range ts {
		m[t.Species] = t
	}
	return m
}

// Of returns the traits of a species; an id that is not in the list is treated
// as unknown grass. Every G (Rate) is ours; ranges name their sources.
func Of(s turf.Species) Traits {
	if t, ok := table[s]; ok {
		return t
	}
	t := table[turf.UnknownSpecies]
	t.Species = s
	return t
}

// UsualHeights is the widest span of the species' published cutting heights;
// false when there is no figure.
func (t Traits) UsualHeights() (least, most unit.Length, ok bool) {
	for i, h := range t.Heights {
		if i == 0 {
			least, most = h.Least, h.Most
		}
		least, most = min(least, h.Least), max(most, h.Most)
	}
	return least, most, len(t.Heights) > 0
}

// UsualNitrogen is the middle of the species' first yearly range in lb N per
// 1,000 sq ft; false when there is no figure.
func (t Traits) UsualNitrogen() (lb float64, ok bool) {
	if len(t.Nitrogen) == 0 {
		return 0, false
	}
	return (t.Nitrogen[0].Least + t.Nitrogen[0].Most) / 2, true
}
