package mowing

import (
	"fmt"
	"time"

	"thirdcut/internal/civil"
	"thirdcut/internal/growth"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/weather"
)

// Placing of the first cut before green-up, ours.
const (
	firstCutDays  = 21  // length of the window
	frostChance   = 0.5 // chance of frost on the day called the last frost
	greenUpMonths = 6   // green-up is looked for until the end of June
	earliestMonth = time.February
)

// FirstCut is the window of the one low cut of brown leaf before green-up, for
// bermudagrass and zoysiagrass alone: it opens three weeks before green-up (the
// week's mean reaches 55 F), its best day is the usual last frost, and it closes
// the day before green-up. It is the only cut that may take more than a third;
// clippings are taken away; it teaches nothing about growth. No window for
// other grasses, or where neither weather nor normals tell. today is the first
// day that can be planned. Source: common practice; temperatures T-24.
func FirstCut(s turf.Species, w weather.Series, year int, today civil.Date) turf.Window {
	out := turf.Window{Work: turf.FirstCut}
	switch s {
	case turf.BermudagrassCommon, turf.BermudagrassHybrid, turf.Zoysiagrass:
	default:
		out.Reason = fmt.Sprintf("No first cut before green-up for %s: only dormant bermudagrass and zoysiagrass bear it.", s.Words())
		return out
	}
	green, dormant := greenUp(w, year)
	switch {
	case green.IsZero():
		out.Reason = fmt.Sprintf("The green-up of %d cannot be told: no weather or normals reach that far.", year)
		return out
	case !dormant:
		out.Reason = fmt.Sprintf("No first cut before green-up in %d: the grass does not go dormant here.", year)
		return out
	}
	out.Opens, out.Closes = later(green.AddDays(-firstCutDays), today), green.AddDays(-1)
	if out.Closes.Before(out.Opens) {
		return turf.Window{Work: turf.FirstCut, Reason: fmt.Sprintf("The grass has greened up (about %s): the first low cut is over for %d.", day(green), year)}
	}
	out.Best = out.Opens
	if frost, ok := w.Normals().LastFrost(year, frostChance); ok && frost.After(out.Opens) {
		out.Best = frost
	}
	if out.Best.After(out.Closes) {
		out.Best = out.Closes
	}
	out.Reason = fmt.Sprintf("%s greens up about %s, when the mean of a week reaches %.0f F; cut the brown leaf low once before then, near the last frost, and take the clippings away. This one cut may take more than a third.",
		s.Words(), day(green), growth.AwakeFromF)
	return out
}

func later(a, b civil.Date) civil.Date {
	if b.After(a) {
		return b
	}
	return a
}

// greenUp is the first day from February on with a week's mean of 55 F after
// one under 50 F; dormant says whether there was such a cold week since the new year.
func greenUp(w weather.Series, year int) (on civil.Date, dormant bool) {
	var first civil.Date
	end := civil.On(year, greenUpMonths+1, 1)
	for d := civil.On(year, time.January, 1); d.Before(end); d = d.AddDays(1) {
		t, ok := w.WeekMean(d)
		if !ok {
			continue
		}
		if t < unit.Fahrenheit(growth.DormantBelowF) {
			dormant, first = true, civil.Date{}
		}
		if d.Month >= earliestMonth && first.IsZero() && t >= unit.Fahrenheit(growth.AwakeFromF) {
			first = d
		}
	}
	return first, dormant
}
