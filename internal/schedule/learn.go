package schedule

import (
	"math"

	"thirdcut/internal/civil"
	"thirdcut/internal/growth"
	"thirdcut/internal/mowing"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/water"
	"thirdcut/internal/weather"
)

func climateFrom(s weather.Series, from, to civil.Date) growth.Climate {
	return growth.Read(s, from, to)
}

// learn runs through a season's heights. A height before a cut is a reading of
// what grew since the cut before it; a first cut before green-up, or one after
// a cut of unknown height, teaches nothing.
func learn(s Season, k sky, today civil.Date) Growth {
	a := s.Area
	height := unit.Length(a.CuttingHeightIn) * unit.Inch
	from := civil.On(today.Year, 1, 1)
	balance := water.Balance(water.Area{Species: a.Species, Height: height, Soil: a.Soil, Irrigated: a.Irrigated}, k.series, from, today.AddDays(1), 0)
	curve := mowing.Lawn{Area: growth.Area{Species: a.Species, Height: height, Exposure: a.Exposure, Irrigated: a.Irrigated, NitrogenYear: a.NLbPerThousandYear}}.
		Grow(k.climate, growth.Daily{Ks: water.StressOf(balance)})
	var readings []mowing.Reading
	var cutOn civil.Date
	var left unit.Length
	for _, h := range s.Heights {
		if h.BeforeIn != nil && !cutOn.IsZero() && left > 0 && h.On.After(cutOn) {
			sum, ks := curve.Growth(cutOn, h.On)
			r := mowing.Reading{On: h.On, Measured: unit.Length(*h.BeforeIn) * unit.Inch, Left: left, Growth: sum, MeanKs: ks}
			if h.FirstCut {
				r.Teaches = "first cut before green-up"
			}
			readings = append(readings, r)
		}
		if !h.Mowed {
			continue
		}
		cutOn, left = h.On, 0
		if in, ok := h.Left(); ok {
			left = unit.Length(in) * unit.Inch
		}
	}
	learned, steps := mowing.Learn(mowing.Prior(s.PriorX, a.Exposure), readings)
	return Growth{learned, steps}
}

// priorOf is the mean and spread of what areas of one species taught.
func priorOf(s turf.Species, xs []float64) Prior {
	mean := 0.0
	for _, x := range xs {
		mean += x / float64(len(xs))
	}
	sum := 0.0
	for _, x := range xs {
		sum += (x - mean) * (x - mean)
	}
	return Prior{Species: s, Mean: mean, SD: math.Sqrt(sum / float64(max(1, len(xs)-1))), Areas: len(xs)}
}
