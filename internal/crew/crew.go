// Package crew holds the people, their licences, and the crews and machines
// with which they go out.
package crew

import (
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/turf"
)

// Person is somebody of the company.
type Person struct {
	ID           uuid.UUID
	Name         string
	Email, Phone string
	LeftOn       civil.Date // zero: still here
	Licenses     []License
	Version      int
}

// LicenseKind is what a licence is for.
type LicenseKind string

// The kinds. Training is the registration of a helper who works under supervision.
const (
	Pesticide  LicenseKind = "pesticide"
	Fertiliser LicenseKind = "fertiliser"
	Training   LicenseKind = "training"
)

// License is one licence of one person in one state. Both days count.
type License struct {
	ID                 uuid.UUID
	Kind               LicenseKind
	State              string
	Number             string
	Category           string
	ValidFrom, ValidTo civil.Date
}

// InForce says whether the licence holds on that day.
func (l License) InForce(d civil.Date) bool { return !d.Before(l.ValidFrom) && !d.After(l.ValidTo) }

// FindLicense returns the licence of that kind and state in force on the day.
func (p Person) FindLicense(kind LicenseKind, state string, d civil.Date) (License, bool) {
	for _, l := range p.Licenses {
		if l.Kind == kind && l.State == state && l.InForce(d) {
			return l, true
		}
	}
	return License{}, false
}

// Depot is where crews start and end their day.
type Depot struct {
	ID                  uuid.UUID
	Name, Address       string
	Latitude, Longitude float64
	Version             int
}

// Machine is a mower, sprayer or spreader. Heights are of mowers, inches; zero where it has none.
type Machine struct {
	ID                       uuid.UUID
	CrewID                   uuid.UUID // uuid.Nil: in the yard
	Name                     string
	Kind                     string // reel rotary sprayer spreader
	WidthIn                  float64
	HeightMinIn, HeightMaxIn float64
	TankGal, HopperLb        float64
	CalibratedOn             civil.Date
	RetiredOn                civil.Date // zero: in use
	Version                  int
}

// Cuts says whether the machine can mow at that height, inches.
func (m Machine) Cuts(heightIn float64) bool {
	return (m.Kind == "reel" || m.Kind == "rotary") && m.HeightMinIn <= heightIn && heightIn <= m.HeightMaxIn
}

// Crew is a team that leaves a depot together.
type Crew struct {
	ID           uuid.UUID
	Name         string
	Depot        Depot
	ShiftFrom    civil.TimeOfDay
	ShiftTo      civil.TimeOfDay
	WorkDays     []int // ISO weekdays
	DaysOff      []civil.Date
	Abilities    []turf.Work
	SupervisorID uuid.UUID // licensed person who answers for its applications; Nil: none
	Members      []Member
	Machines     []Machine
	RetiredOn    civil.Date
	Version      int
	UpdatedAt    time.Time
}

// Member is a person in a crew.
type Member struct {
	Person Person
	Lead   bool
}
