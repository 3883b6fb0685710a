package api

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
)

// plainNumber writes a number without needless zeros.
func plainNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// squareFeet writes an area as people say it: whole square feet, thousands apart.
func squareFeet(v float64) string {
	text := strconv.FormatFloat(math.Round(v), 'f', -1, 64)
	for i := len(text) - 3; i > 0; i -= 3 {
		text = text[:i] + "," + text[i:]
	}
	return text + " sq ft"
}

// sentence begins with a capital letter.
func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

func propertyFacts(p property.Property, c property.Customer, who account.Account) [][2]string {
	facts := [][2]string{{"Customer", c.Name}, {"Phone", dash(c.Phone)}, {"Place", strings.Join(nonEmpty(p.Municipality, p.County, p.State+" "+p.ZIPCode), ", ")}}
	if p.Placed() {
		facts = append(facts, [2]string{"Map point", fmt.Sprintf("%.5f, %.5f", *p.Latitude, *p.Longitude)})
	}
	facts = append(facts, [2]string{"Access", dash(p.AccessNote)}, [2]string{"Sensitivities", dash(strings.Join(p.Sensitivities, ", "))})
	if account.May(who, account.SeeGateCode) && p.GateCode != "" {
		facts = append(facts, [2]string{"Gate code", p.GateCode})
	}
	if p.Plan == nil {
		return append(facts, [2]string{"Service plan", "none, so nothing is due"})
	}
	words := make([]string, len(p.Plan.Services))
	for i, w := range p.Plan.Services {
		words[i] = w.Words()
	}
	plan := strings.Join(words, ", ") + ", " + p.Plan.SeasonFrom.String() + " to " + p.Plan.SeasonTo.String()
	if p.Plan.LeastDays != nil && p.Plan.GreatestDays != nil {
		plan += fmt.Sprintf(", %d to %d days between cuts", *p.Plan.LeastDays, *p.Plan.GreatestDays)
	}
	facts = append(facts, [2]string{"Service plan", plan})
	if account.May(who, account.SeePrices) && p.Plan.PriceCents != nil {
		facts = append(facts, [2]string{"Price", fmt.Sprintf("$%.2f %s", float64(*p.Plan.PriceCents)/100, strings.ReplaceAll(p.Plan.PriceBasis, "_", " "))})
	}
	return facts
}

func areaFacts(a property.TurfArea) [][2]string {
	facts := [][2]string{
		{"Size", squareFeet(a.AreaSqFt) + " (" + a.AreaMethod + ")"}, {"Grass", a.Species.Words()},
		{"Cutting height", plainNumber(a.CuttingHeightIn) + " in"}, {"Exposure", strings.ReplaceAll(string(a.Exposure), "_", " ")},
		{"Slope", plainNumber(a.SlopePercent) + " %"}, {"Soil", strings.ReplaceAll(string(a.Soil), "_", " ")}, {"Irrigated", yesNo(a.Irrigated)},
	}
	if a.NLbPerThousandYear != nil {
		facts = append(facts, [2]string{"Nitrogen", plainNumber(*a.NLbPerThousandYear) + " lb/1,000 sq ft a year"})
	}
	return facts
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

func dash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}

func nonEmpty(words ...string) []string {
	var out []string
	for _, w := range words {
		if strings.TrimSpace(w) != "" {
			out = append(out, strings.TrimSpace(w))
		}
	}
	return out
}

// worksOf names what a visit is for, each kind of work once.
func worksOf(v visit.Visit) string {
	var words []string
	seen := map[turf.Work]bool{}
	for _, t := range v.Tasks {
		if !seen[t.Work] {
			seen[t.Work] = true
			words = append(words, t.Work.Words())
		}
	}
	return strings.Join(words, ", ")
}

// stateMark is the colour of a state, beside its word.
func stateMark(s visit.State) string {
	switch s {
	case visit.Closed:
		return "go"
	case visit.Returned:
		return "ask"
	case visit.Withdrawn:
		return "stop"
	}
	return ""
}

func (s *Server) crewNames(ctx context.Context) (map[uuid.UUID]string, error) {
	crews, err := s.DB.Crews(ctx)
	if err != nil {
		return nil, err
	}
	names := map[uuid.UUID]string{}
	for _, c := range crews {
		names[c.ID] = c.Name
	}
	return names, nil
}
