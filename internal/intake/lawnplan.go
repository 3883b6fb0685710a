package intake

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"thirdcut/internal/civil"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

func (r *lawnReader) plan() *property.ImportPlan {
	p := property.ImportPlan{Place: r.place(), Services: r.services(), SeasonFrom: r.monthDay("season_from", false), SeasonTo: r.monthDay("season_to", true),
		LeastDays: r.wholeDays("least_days"), GreatestDays: r.wholeDays("greatest_days"), PriceCents: r.price()}
	if p.LeastDays != nil && p.GreatestDays != nil && *p.LeastDays > *p.GreatestDays {
		r.wrong("least_days", "the least days between cuts (%d) are more than the greatest (%d); swap them", *p.LeastDays, *p.GreatestDays)
	}
	if (p.SeasonFrom == nil) != (p.SeasonTo == nil) && len(r.cell("season_from")+r.cell("season_to")) > 0 {
		open := "season_from"
		if p.SeasonFrom != nil {
			open = "season_to"
		}
		r.wrong(open, "a season needs its first and its last day; give both or neither")
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
	"spread": turf.Spread, "fertilise": turf.Spread, "fertilize": turf.Spread, "fertilizer": turf.Spread, "feed": turf.Spread, "feeding": turf.Spread, "granular": turf.Spread,
	"spray": turf.Spray, "spraying": turf.Spray, "weed control": turf.Spray, "water check": turf.WaterCheck, "irrigation check": turf.WaterCheck, "check watering": turf.WaterCheck,
	"look": turf.Look, "inspect": turf.Look, "look and measure": turf.Look, "first cut": turf.FirstCut, "first cut before green up": turf.FirstCut}

func (r *lawnReader) services() []turf.Work {
	var works []turf.Work
	text := strings.ReplaceAll(strings.ToLower(r.cell("services")), "look and measure", "look")
	text = strings.ReplaceAll(text, " and ", ",")
	for _, s := range strings.FieldsFunc(text, func(c rune) bool { return strings.ContainsRune(",;+/&", c) }) {
		if plain(s) == "" {
			continue
		}
		w, ok := serviceWords[plain(s)]
		if !ok {
			r.wrong("services", "%q is none of the services mow, edge, spread, spray, water check, look, first cut; part them with commas", shorten(strings.TrimSpace(s)))
			continue
		}
		if !slices.Contains(works, w) {
			works = append(works, w)
		}
	}
	return works
}

func (r *lawnReader) wholeDays(name string) *int {
	words := fmt.Sprintf("write a whole number of days from 1 to %d", property.GreatestDays)
	v := r.numberIn(name, 1, property.GreatestDays, words)
	if v == nil {
		return nil
	}
	if *v != math.Trunc(*v) {
		r.wrong(name, "%s", words)
		return nil
	}
	n := int(*v)
	return &n
}

// serial reads a day as a workbook keeps it: days after its day 0. False for
// CSV, where such a number is none.
func (r *lawnReader) serial(text string) (civil.Date, bool) {
	if r.table.sheet == "" {
		return civil.Date{}, false
	}
	return serialDate(text, r.table.from1904)
}

// serialDate reads a workbook's number of a day, from 1954 to 2119.
func serialDate(text string, from1904 bool) (civil.Date, bool) {
	n, err := strconv.ParseFloat(text, 64)
	if err != nil || !(n > 20_000 && n < 80_000) {
		return civil.Date{}, false
	}
	epoch := civil.On(1899, time.December, 30)
	if from1904 {
		epoch = civil.On(1904, time.January, 1)
	}
	return epoch.AddDays(int(n)), true
}

func (r *lawnReader) date(name string) civil.Date {
	text := r.cell(name)
	if text == "" {
		return civil.Date{}
	}
	if d, ok := r.serial(text); ok {
		return d
	}
	d, ok := writtenDate(text)
	if !ok {
		r.wrong(name, "this date does not exist or is not written as one; write it as 2026-06-03 or 6/3/2026")
	}
	return d
}

// writtenDate reads a date as it is written in the United States.
func writtenDate(text string) (civil.Date, bool) {
	for _, layout := range []string{time.DateOnly, "1/2/2006", "1/2/06", "1-2-2006", "Jan 2, 2006", "Jan 2 2006", "2 Jan 2006", "January 2, 2006", "2 January 2006", "2006/1/2", "2006-01-02 15:04:05", "2006-01-02T15:04:05"} {
		if t, err := time.Parse(layout, text); err == nil {
			return civil.On(t.Year(), t.Month(), t.Day()), true
		}
	}
	return civil.Date{}, false
}

// ordinal is the ending of 1st, 2nd, 3rd and 15th.
var ordinal = regexp.MustCompile(`([0-9])(st|nd|rd|th)\b`)

// monthDay reads 04-01, 4/1, Apr 1 or a month alone, which is its first day,
// or its last where the season ends in it.
func (r *lawnReader) monthDay(name string, last bool) *civil.MonthDay {
	text := r.cell(name)
	if text == "" {
		return nil
	}
	if d, ok := r.serial(text); ok { // a spreadsheet makes a date of "Apr 1"
		return &civil.MonthDay{Month: d.Month, Day: d.Day}
	}
	text = strings.TrimSuffix(ordinal.ReplaceAllString(text, "$1"), ".")
	for _, layout := range []string{"01-02", "1/2", "1-2", "Jan 2", "January 2", "2 Jan", "2 January", "2-Jan", "Jan-2"} {
		// A leap year, so that 29 February exists.
		if t, err := time.Parse("2006 "+layout, "2000 "+text); err == nil {
			return &civil.MonthDay{Month: t.Month(), Day: t.Day()}
		}
	}
	for _, layout := range []string{"Jan", "January"} {
		if t, err := time.Parse(layout, text); err == nil {
			m := civil.MonthDay{Month: t.Month(), Day: 1}
			if last {
				// The end of February is the 28th, which every year has.
				m.Day = civil.On(2001, t.Month()+1, 0).Day
			}
			return &m
		}
	}
	if d, ok := writtenDate(text); ok {
		return &civil.MonthDay{Month: d.Month, Day: d.Day}
	}
	r.wrong(name, "this is no day of the year; write it as 04-01 or Apr 1")
	return nil
}

// mostDollars is more than any visit costs; beyond it a point is missing.
const mostDollars = 100_000

func (r *lawnReader) price() *int64 {
	text := strings.TrimSpace(strings.Replace(r.cell("price"), "$", "", 1))
	if text == "" {
		return nil
	}
	e, err := unit.ParseEntered(text)
	if err != nil || !slices.Contains([]string{"", "usd", "dollars", "per visit", "/visit", "per cut", "/cut", "a cut", "each"}, e.Unit) {
		r.wrong("price", "a price is an amount of dollars for one visit, such as 65.00")
		return nil
	}
	v, err := e.Number()
	cents := math.Round(v * 100)
	switch {
	case err != nil || v < 0 || v > mostDollars:
		r.wrong("price", "a price is an amount of dollars for one visit, such as 65.00")
		return nil
	case math.Abs(v*100-cents) > 1e-6:
		r.wrong("price", "a price has no parts of a cent; write it such as 65.00")
		return nil
	}
	n := int64(cents)
	return &n
}
