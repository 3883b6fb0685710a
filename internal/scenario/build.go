package scenario

import (
	"context"
	"crypto/sha256"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/intake"
	"thirdcut/internal/postgres"
	"thirdcut/internal/product"
	"thirdcut/internal/property"
	"thirdcut/internal/schedule"
	"thirdcut/internal/stock"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
	"thirdcut/internal/weather"
)

// Jurisdictions are the record rules that bind the demo company.
var Jurisdictions = []string{"us-md", "us-federal-7cfr110"}

const (
	placeID   = "round"
	pastYears = 4 // of weather before the demo's year
)

// House is the empty database that the demo goes into, with what works on it.
type House struct {
	DB       *postgres.DB
	Schedule *schedule.Service
	Visits   visit.Service

	Seed uint64
	Date civil.Date // business time stands at 06:00 of it; zero is DefaultDate
	// Weather is used in place of drawn weather: real days of some place, moved
	// by whole years so that its last full year falls on the demo's.
	Weather []weather.Day
	// Properties bounds the round, for tests; zero is all.
	Properties int
	// Progress hears in a sentence what is being made; nil: nobody listens.
	Progress func(string)
}

// Made is what Build put in.
type Made struct {
	Company    company.Settings
	Owner      crew.Person
	Office     crew.Person
	Technician crew.Person // leads a crew that treats
	Crews      []crew.Crew
	Properties []property.Property
	Products   map[string]product.Product // by the short names of this package
	Lots       map[string]stock.Lot
	Closed     int // visits of the history that were closed
	Returned   int
	Notes      []string // what a reader of the demo should know
}

// Build makes the demo company with its season up to the date. Everything goes
// in through the doors that an office and its crews use: the sheet is imported,
// visits are placed and reported from the field, growth is learned from heights.
func Build(ctx context.Context, h House) (Made, error) {
	if h.Date.IsZero() {
		h.Date = DefaultDate
	}
	if h.Progress == nil {
		h.Progress = func(string) {}
	}
	b := &builder{House: h, ctx: ctx, made: Made{Products: map[string]product.Product{}, Lots: map[string]stock.Lot{}}}
	for _, step := range []struct {
		say string
		do  func() error
	}{
		{"the weather", b.weather}, {"the company", b.company}, {"people and crews", b.crews}, {"products and labels", b.products},
		{"lawns from the office sheet", b.lawns}, {"the season so far", b.history}, {"what the lawns have taught", b.learn},
	} {
		h.Progress("Making " + step.say + ".")
		if err := step.do(); err != nil {
			return b.made, fmt.Errorf("make %s: %w", step.say, err)
		}
	}
	return b.made, nil
}

type builder struct {
	House
	ctx  context.Context
	made Made
	zone *time.Location

	days       []weather.Day // as they came, the days after the date too
	supervisor crew.Person   // whose licences are in force
	lapsed     crew.Person   // whose licence ended last year
	second     crew.Person   // the other licensed lead
}

// clockAt freezes business time at an hour of a day.
func (b *builder) clockAt(d civil.Date, t civil.TimeOfDay) error {
	return b.DB.SetClock(b.ctx, d.At(t, b.zone).UTC())
}

func (b *builder) weather() error {
	if err := b.DB.SaveWeatherPlace(b.ctx, postgres.WeatherPlace{ID: placeID, Name: "Middle of the round", Place: Station}); err != nil {
		return err
	}
	source := b.Weather
	if source == nil {
		source = Weather(b.Seed, civil.On(b.Date.Year-pastYears, time.January, 1), civil.On(b.Date.Year, time.December, 31))
	} else {
		var note string
		var err error
		if source, note, err = shiftTo(source, b.Date.Year); err != nil {
			return err
		}
		b.made.Notes = append(b.made.Notes, note)
	}
	b.days = source
	_, err := b.DB.SaveWeatherDays(b.ctx, placeID, AsKnownOn(source, b.Date, b.Seed))
	return err
}

// shiftTo moves days by whole years so that their last full year is the year. A
// 29 February that the new year does not have is left out.
func shiftTo(days []weather.Day, year int) ([]weather.Day, string, error) {
	count := map[int]int{}
	for _, d := range days {
		count[d.Date.Year]++
	}
	last := 0
	for y, n := range count {
		if n >= 360 && y > last {
			last = y
		}
	}
	if last == 0 {
		return nil, "", fault.New(fault.Invalid, "weather", "the weather file holds no whole year; the demo needs one at least")
	}
	by := year - last
	var out []weather.Day
	for _, d := range days {
		moved := civil.On(d.Date.Year+by, d.Date.Month, d.Date.Day)
		if moved.Day != d.Date.Day || d.Date.Year > last {
			continue
		}
		d.Date, d.Quality = moved, weather.Observed
		d.Source = fmt.Sprintf("given weather, moved by %d years", by)
		out = append(out, d)
	}
	return out, fmt.Sprintf("The weather is the given file's; its days are moved by %d years, so that %d stands for %d.", by, last, year), nil
}

func (b *builder) company() error {
	var err error
	if b.zone, err = time.LoadLocation("America/New_York"); err != nil {
		return err
	}
	b.made.Company, err = b.DB.SaveCompany(b.ctx, 0, func(s *company.Settings) error {
		s.Name, s.State, s.Zone, s.WorkWeek = "Fernwick Grounds", "MD", b.zone, []int{1, 2, 3, 4, 5}
		s.Address, s.Phone, s.BusinessLicense = "1 Yard Road, Fernwick MD 00101", "555-0100", "MD-DEMO-0001"
		s.Jurisdictions, s.WeatherPlaceID = Jurisdictions, placeID
		return nil
	})
	if err != nil {
		return err
	}
	return b.clockAt(b.Date, 6*60)
}

// crewNames are trees; the crews at treats also spray and spread, the one at
// reels has a reel mower.
var crewNames = [6]string{"Birch", "Elm", "Hazel", "Maple", "Rowan", "Willow"}

func treats(crew int) bool { return crew == 1 || crew == 4 }

const reels = 0

func (b *builder) person(name string, licenses ...crew.License) (crew.Person, error) {
	return b.DB.AddPerson(b.ctx, crew.Person{Name: name, Licenses: licenses})
}

func (b *builder) license(kind crew.LicenseKind, number string, year int) crew.License {
	return crew.License{Kind: kind, State: "MD", Number: "DEMO-" + number, Category: "turf and ornamental", ValidFrom: civil.On(year, time.January, 1), ValidTo: civil.On(year, time.December, 31)}
}

func (b *builder) crews() error {
	year := b.Date.Year
	full := func(no string) []crew.License {
		return []crew.License{b.license(crew.Pesticide, "P"+no, year), b.license(crew.Fertiliser, "F"+no, year)}
	}
	var err error
	if b.made.Owner, err = b.person("Odessa Ravensby", full("01")...); err != nil {
		return err
	}
	if b.made.Office, err = b.person("Hollis Yarrowby"); err != nil {
		return err
	}
	var depots [2]crew.Depot
	for i, d := range []crew.Depot{
		{Name: "Fernwick yard", Address: "1 Yard Road, Fernwick", Latitude: 39.268, Longitude: -76.885},
		{Name: "Quarry Ford yard", Address: "40 Kiln Lane, Quarry Ford", Latitude: 39.398, Longitude: -76.925},
	} {
		if depots[i], err = b.DB.AddDepot(b.ctx, d); err != nil {
			return err
		}
	}
	leads := [6]string{"Bram Kestrell", "Imani Stillwater", "Dorin Lindqvale", "Celia Norwold", "Pavel Hartswell", "Greta Ottershaw"}
	helpers := [6]string{"Niko Umberfield", "Soren Bellweather", "Tamsin Garrowby", "Yusuf Marchbank", "Farid Inglemire", "Ulla Wexcombe"}
	for i := range crewNames {
		var members []crew.Member
		var ls []crew.License
		if treats(i) {
			ls = full(fmt.Sprintf("%02d", 2+i))
		}
		lead, err := b.person(leads[i], ls...)
		if err != nil {
			return err
		}
		var hl []crew.License
		switch {
		case i == 4: // the licence ended with last year, and nobody has noticed
			hl = []crew.License{b.license(crew.Pesticide, "P09", year-1)}
		case treats(i):
			hl = []crew.License{b.license(crew.Training, "T01", year)}
		}
		helper, err := b.person(helpers[i], hl...)
		if err != nil {
			return err
		}
		members = append(members, crew.Member{Person: lead, Lead: true}, crew.Member{Person: helper})
		switch i {
		case 1:
			b.made.Technician, b.supervisor = lead, lead
		case 4:
			b.second, b.lapsed = lead, helper
		}
		if err := b.crew(i, depots[i%2], members); err != nil {
			return err
		}
	}
	return nil
}

func (b *builder) crew(i int, depot crew.Depot, members []crew.Member) error {
	k := crew.Crew{Name: crewNames[i], Depot: depot, ShiftFrom: 7 * 60, ShiftTo: 15*60 + 30, WorkDays: []int{1, 2, 3, 4, 5},
		Abilities: []turf.Work{turf.FirstCut, turf.Mow, turf.Edge, turf.Look}, Members: members}
	machines := []crew.Machine{{Name: "Rotary 21", Kind: "rotary", WidthIn: 21, HeightMinIn: 1, HeightMaxIn: 4.5},
		{Name: "Rotary 48", Kind: "rotary", WidthIn: 48, HeightMinIn: 1.5, HeightMaxIn: 5}}
	if i == reels {
		machines = append(machines, crew.Machine{Name: "Reel 25", Kind: "reel", WidthIn: 25, HeightMinIn: 0.25, HeightMaxIn: 1.5})
	}
	if treats(i) {
		k.Abilities = append(k.Abilities, turf.Spray, turf.Spread)
		k.SupervisorID = members[0].Person.ID
		machines = append(machines, crew.Machine{Name: "Sprayer", Kind: "sprayer", WidthIn: 60, TankGal: 50}, crew.Machine{Name: "Spreader", Kind: "spreader", WidthIn: 96, HopperLb: 80})
	}
	k, err := b.DB.AddCrew(b.ctx, k)
	if err != nil {
		return err
	}
	for _, m := range machines {
		m.CrewID, m.Name = k.ID, k.Name+" "+strings.ToLower(m.Name)
		if m, err = b.DB.AddMachine(b.ctx, m); err != nil {
			return err
		}
		k.Machines = append(k.Machines, m)
	}
	b.made.Crews = append(b.made.Crews, k)
	return nil
}

func (b *builder) lawns() error {
	n := Properties
	if b.Properties > 0 {
		n = min(n, b.Properties)
	}
	data := sheetOf(b.Seed, n)
	sheet, err := intake.ReadLawns(data, "fernwick-lawns.csv", intake.Mapping{})
	if err != nil {
		return err
	}
	if len(sheet.Problems) > 0 {
		return fmt.Errorf("the office sheet has %d wrong places, the first: %s", len(sheet.Problems), sheet.Problems[0])
	}
	sum := sha256.Sum256(data)
	if _, err := b.DB.ImportLawns(b.ctx, sheet.Import, postgres.ImportFile{Name: "fernwick-lawns.csv", SHA256: sum[:], By: b.made.Office.ID}); err != nil {
		return err
	}
	b.made.Properties, err = b.DB.Properties(b.ctx, postgres.PropertyFilter{WithoutOutlines: true})
	return err
}

// learn does at once what a running company's worker does between visits.
func (b *builder) learn() error {
	if err := b.clockAt(b.Date, 6*60); err != nil {
		return err
	}
	for _, p := range b.made.Properties {
		for _, a := range p.Areas {
			if err := b.Schedule.Learn(b.ctx, a.ID); err != nil {
				return err
			}
		}
	}
	var err error
	if b.made.Company, err = b.DB.Company(b.ctx); err != nil {
		return err
	}
	return b.Schedule.RefreshWindows(b.ctx, uuid.Nil)
}
