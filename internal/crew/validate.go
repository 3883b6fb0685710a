package crew

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/property"
)

var twoLetters = regexp.MustCompile(`^[A-Z]{2}$`)

// MachineKinds lists the kinds of machine.
var MachineKinds = []string{"reel", "rotary", "sprayer", "spreader"}

const longestName = 200

func orNil(bad *fault.Error) error {
	if len(bad.Fields) == 0 {
		return nil
	}
	return bad
}

func checkName(bad *fault.Error, name string) {
	if strings.TrimSpace(name) == "" {
		bad.With("/name", "give a name")
	}
	if len([]rune(name)) > longestName {
		bad.With("/name", "is longer than %d characters; shorten it", longestName)
	}
}

// ValidatePerson says what is wrong with a person and the licences, or nil:
// fault.Invalid "person" with a JSON pointer for each wrong place.
func ValidatePerson(p Person) error {
	bad := fault.New(fault.Invalid, "person", "the person cannot be saved as entered; correct the places named")
	checkName(bad, p.Name)
	if p.Email != "" && !strings.Contains(p.Email, "@") {
		bad.With("/email", "%q is no e-mail address; write it as name@place.example, or leave it empty", p.Email)
	}
	for i, l := range p.Licenses {
		checkLicense(bad, fmt.Sprintf("/licenses/%d", i), l)
		for _, o := range p.Licenses[:i] {
			if o.Kind == l.Kind && o.State == l.State && o.Number == l.Number && o.ValidFrom == l.ValidFrom {
				bad.With(fmt.Sprintf("/licenses/%d/number", i), "licence %s from %s is entered twice", l.Number, l.ValidFrom)
			}
		}
	}
	return orNil(bad)
}

func checkLicense(bad *fault.Error, at string, l License) {
	if l.Kind != Pesticide && l.Kind != Fertiliser && l.Kind != Training {
		bad.With(at+"/kind", "%q is no kind of licence; choose pesticide, fertiliser or training", l.Kind)
	}
	if !twoLetters.MatchString(l.State) {
		bad.With(at+"/state", "give the state by its two capital letters, such as MD")
	}
	if strings.TrimSpace(l.Number) == "" {
		bad.With(at+"/number", "give the number as it stands on the licence")
	}
	switch {
	case l.ValidFrom.IsZero():
		bad.With(at+"/valid_from", "give the first day on which the licence holds")
	case l.ValidTo.IsZero():
		bad.With(at+"/valid_to", "give the last day on which the licence holds")
	case l.ValidTo.Before(l.ValidFrom):
		bad.With(at+"/valid_to", "the licence ends on %s, before it begins on %s", l.ValidTo, l.ValidFrom)
	}
}

// ValidateDepot says what is wrong with a depot, or nil: fault.Invalid "depot".
func ValidateDepot(d Depot) error {
	bad := fault.New(fault.Invalid, "depot", "the depot cannot be saved as entered; correct the places named")
	checkName(bad, d.Name)
	property.CheckPlace(bad, d.Latitude, d.Longitude)
	if d.Latitude == 0 && d.Longitude == 0 {
		bad.With("/latitude", "place the depot on the map; routes start there")
	}
	return orNil(bad)
}

// ValidateMachine says what is wrong with a machine, or nil: fault.Invalid "machine".
func ValidateMachine(m Machine) error {
	bad := fault.New(fault.Invalid, "machine", "the machine cannot be saved as entered; correct the places named")
	checkName(bad, m.Name)
	if !slices.Contains(MachineKinds, m.Kind) {
		bad.With("/kind", "%q is no kind of machine; choose one of %s", m.Kind, strings.Join(MachineKinds, ", "))
	}
	sizes := []struct {
		pointer string
		size    float64
		most    float64
		unit    string
	}{
		{"/width_in", m.WidthIn, 600, "in"},
		{"/height_min_in", m.HeightMinIn, property.GreatestHeightIn, "in"},
		{"/height_max_in", m.HeightMaxIn, property.GreatestHeightIn, "in"},
		{"/tank_gal", m.TankGal, 5000, "gal"},
		{"/hopper_lb", m.HopperLb, 20000, "lb"},
	}
	for _, s := range sizes {
		if !(s.size >= 0 && s.size <= s.most) {
			bad.With(s.pointer, "%g %s is not possible; enter 0 to %g, or leave it empty", s.size, s.unit, s.most)
		}
	}
	if m.Kind == "reel" || m.Kind == "rotary" {
		checkMower(bad, m)
	}
	return orNil(bad)
}

func checkMower(bad *fault.Error, m Machine) {
	if m.HeightMinIn == 0 || m.HeightMaxIn == 0 {
		bad.With("/height_min_in", "give the least and the greatest height that the mower can be set to; planning needs both")
	} else if m.HeightMinIn > m.HeightMaxIn {
		bad.With("/height_min_in", "the least height %g in is above the greatest %g in; swap them or correct one", m.HeightMinIn, m.HeightMaxIn)
	}
	if m.WidthIn == 0 {
		bad.With("/width_in", "give the width of cut; working time is computed from it")
	}
}

// ValidateCrew says what is wrong with a crew, or nil: fault.Invalid "crew".
// Depot and people are looked at by their ids.
func ValidateCrew(c Crew) error {
	bad := fault.New(fault.Invalid, "crew", "the crew cannot be saved as entered; correct the places named")
	checkName(bad, c.Name)
	if c.Depot.ID == uuid.Nil {
		bad.With("/depot_id", "name the depot that the crew leaves from")
	}
	if c.ShiftFrom < 0 || c.ShiftTo > 1440 || c.ShiftFrom >= c.ShiftTo {
		bad.With("/shift_to", "the shift ends at %s, which is not after it begins at %s", c.ShiftTo, c.ShiftFrom)
	}
	if len(c.WorkDays) == 0 {
		bad.With("/work_days", "name at least one day on which the crew works, or retire it")
	}
	for i, day := range c.WorkDays {
		if day < 1 || day > 7 {
			bad.With("/work_days", "%d is no weekday; Monday is 1 and Sunday is 7", day)
		} else if slices.Contains(c.WorkDays[:i], day) {
			bad.With("/work_days", "weekday %d is named twice", day)
		}
	}
	if slices.ContainsFunc(c.DaysOff, civil.Date.IsZero) {
		bad.With("/days_off", "a day off without a date cannot be kept; write it YYYY-MM-DD")
	}
	for _, w := range c.Abilities {
		if !w.Known() {
			bad.With("/abilities", "%q is no kind of work that the program knows", w)
		}
	}
	checkMembers(bad, c.Members)
	return orNil(bad)
}

func checkMembers(bad *fault.Error, members []Member) {
	leads := 0
	for i, m := range members {
		if slices.ContainsFunc(members[:i], func(o Member) bool { return o.Person.ID == m.Person.ID }) {
			bad.With(fmt.Sprintf("/members/%d", i), "is in the crew twice")
		}
		if m.Lead {
			leads++
		}
	}
	if leads > 1 {
		bad.With("/members", "has %d leads; one person leads a crew", leads)
	}
}
