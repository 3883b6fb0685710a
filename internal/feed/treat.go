package feed

import (
	"fmt"
	"time"

	"thirdcut/internal/civil"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/weather"
)

// Target is what a treatment is against.
type Target string

// The targets that have a window of the year. Which product, and whether at
// all, is the label's and the licensed person's matter.
const (
	CrabgrassBefore Target = "crabgrass_pre_emergent"
	Nutsedge        Target = "nutsedge"
	BroadleafSpring Target = "broadleaf_spring"
	BroadleafAutumn Target = "broadleaf_autumn"
	Grubs           Target = "white_grubs"
)

// AllTargets lists the targets.
var AllTargets = []Target{CrabgrassBefore, Nutsedge, BroadleafSpring, BroadleafAutumn, Grubs}

// Temperatures and sums of the windows.
const (
	crabgrassOpensF = 50.0 // computed soil temperature that opens it; T-19
	crabgrassBestF  = 55.0 // germination follows after 7 to 10 days; T-25
	crabgrassCloses = 200.0
	broadleafLeastF = 50.0 // day's maximum under which it does not take; label
	broadleafMostF  = 85.0 // advice
)

// Treatment is the window of a target in a year at the series' place, for
// spraying or spreading. Without weather it falls back to the calendar and says
// so. today is the first day that can be planned (zero: all); after the window
// has passed there is none, with the reason. fullSun is the area's exposure.
func Treatment(t Target, w weather.Series, year int, today civil.Date, fullSun bool) turf.Window {
	var v turf.Window
	switch t {
	case CrabgrassBefore:
		v = crabgrass(w, year, fullSun)
	case Nutsedge:
		v = turf.Window{Opens: civil.On(year, time.June, 1), Best: civil.On(year, time.June, 12), Closes: civil.On(year, time.June, 30),
			Reason: "Yellow nutsedge is sprayed while it grows with 3 to 8 leaves, in June; tubers form from late June or early July, so later sprays come late (T-21). A second one follows after 42 to 70 days by the label."}
	case BroadleafSpring:
		v = turf.Window{Opens: civil.On(year, time.April, 15), Best: civil.On(year, time.May, 5), Closes: civil.On(year, time.May, 31),
			Reason: broadleafWords("in spring while weeds grow")}
		v.Struck = broadleafStruck(w, v)
	case BroadleafAutumn:
		v = turf.Window{Opens: civil.On(year, time.September, 15), Best: civil.On(year, time.October, 1), Closes: civil.On(year, time.October, 31),
			Reason: broadleafWords("in autumn, when perennial weeds take it to the root")}
		v.Struck = broadleafStruck(w, v)
	case Grubs:
		v = turf.Window{Opens: civil.On(year, time.June, 1), Best: civil.On(year, time.June, 25), Closes: civil.On(year, time.July, 15),
			Reason: "White grubs are kept off from June to mid July, before the eggs hatch, where there is a history or beetles are seen (Tennessee and Kentucky extension); water in at once, nothing while weeds flower, once a year by the label."}
	default:
		return turf.Window{Work: turf.Spray, Reason: fmt.Sprintf("No treatment window is known for %q.", t)}
	}
	v.Work = turf.Spray
	return from(v, today)
}

func broadleafWords(when string) string {
	return fmt.Sprintf("Broadleaf weeds are sprayed %s, on days of %.0f to %.0f F; dates are common practice, the label in hand decides.",
		when, broadleafLeastF, broadleafMostF)
}

// broadleafStruck strikes days that are known or forecast to be too cold or hot.
func broadleafStruck(w weather.Series, v turf.Window) (out []turf.StruckDay) {
	for d := v.Opens; !d.After(v.Closes); d = d.AddDays(1) {
		day, ok := w.On(d)
		if !ok || day.Quality == weather.Normal {
			continue
		}
		if f := day.Max.Fahrenheit(); f < broadleafLeastF || f > broadleafMostF {
			out = append(out, turf.StruckDay{Date: d, Reason: fmt.Sprintf("maximum of %.0f F, outside %.0f to %.0f F", f, broadleafLeastF, broadleafMostF)})
		}
	}
	return out
}

// from cuts off what lies before today.
func from(v turf.Window, today civil.Date) turf.Window {
	if !v.Open() || today.IsZero() || !v.Opens.Before(today) {
		return v
	}
	if v.Closes.Before(today) {
		return turf.Window{Work: v.Work, Reason: fmt.Sprintf("The window closed on %s. %s", v.Closes.Words(), v.Reason)}
	}
	v.Opens = today
	if v.Best.Before(today) {
		v.Best = today
	}
	return v
}

// crabgrass opens with the computed soil at 50 F, is best when it reaches 55 F,
// and closes by 200 degree-days base 50 F from 1 January.
func crabgrass(w weather.Series, year int, fullSun bool) turf.Window {
	var opens, best, closes civil.Date
	sum := 0.0
	for d := civil.On(year, time.January, 1); d.Before(civil.On(year, time.July, 1)) && closes.IsZero(); d = d.AddDays(1) {
		day, ok := w.On(d)
		soil, known := w.SoilTemperature(d, fullSun)
		if !ok || !known {
			continue
		}
		if d.Month >= time.February && opens.IsZero() && soil >= unit.Fahrenheit(crabgrassOpensF) {
			opens = d
		}
		if !opens.IsZero() && best.IsZero() && soil >= unit.Fahrenheit(crabgrassBestF) {
			best = d
		}
		sum += 1.8 * weather.DegreeDays(day.Max, day.Min, unit.Fahrenheit(50))
		if sum >= crabgrassCloses {
			closes = d
		}
	}
	if opens.IsZero() || closes.IsZero() || !opens.Before(closes) {
		return turf.Window{Opens: civil.On(year, time.March, 15), Best: civil.On(year, time.March, 25), Closes: civil.On(year, time.April, 15),
			Reason: "Crabgrass pre-emergent goes down before germination; soil temperature cannot be computed here, so the mid-Atlantic calendar is taken, mid March to mid April (T-25)."}
	}
	if best.IsZero() || best.After(closes) {
		best = closes
	}
	return turf.Window{Opens: opens, Best: best, Closes: closes,
		Reason: fmt.Sprintf("Crabgrass pre-emergent goes down before germination: the computed soil temperature reaches %.0f F on %s and %.0f F on %s, germination follows after 7 to 10 days (T-19, T-25); %.0f degree-days base 50 F, the latest day by one source (T-20), come on %s, while an older one saw emergence at 70 to 140 (T-26), so aim for the earlier. It needs 0.5 in of water within 14 days; not where seeding is planned.",
			crabgrassOpensF, opens.Words(), crabgrassBestF, best.Words(), crabgrassCloses, closes.Words())}
}
