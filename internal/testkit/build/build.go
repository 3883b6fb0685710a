// Package build puts a small company into an empty database for a test: crew,
// people, lawns, products with labels and lots, and visits to close. All names
// are made up.
package build

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/crew"
	"thirdcut/internal/label"
	"thirdcut/internal/postgres"
	"thirdcut/internal/product"
	"thirdcut/internal/property"
	"thirdcut/internal/stock"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/visit"
	"thirdcut/internal/weather"
)

// Day is the day on which the visits of a World are planned: Wednesday 3 June
// 2026. Open a database with Clock, or the reports of that day look out of time.
var Day = civil.MustDate("2026-06-03")

// Clock is the real time of a World: the evening of Day in Maryland.
func Clock() time.Time { return time.Date(2026, 6, 3, 21, 0, 0, 0, time.UTC) }

// World is what Company put in.
type World struct {
	*postgres.DB
	T   testing.TB
	Ctx context.Context

	Company company.Settings
	Depot   crew.Depot
	Crew    crew.Crew // Lead leads it, Helper is in it, Lead answers for its applications
	Other   crew.Crew // a second crew of Stranger alone
	Mower   crew.Machine

	Owner    crew.Person // pesticide and fertiliser licences in force
	Lead     crew.Person // pesticide and fertiliser licences in force
	Helper   crew.Person // registered as a helper, no licence
	Stranger crew.Person // licence that ended the year before

	Customer property.Customer
	Property property.Property // two areas: Back 800 sq ft, Front 5,200 sq ft, tall fescue

	Weed    product.Product // liquid herbicide, at most 1.5 fl oz/1000 sq ft, re-entry in 12 h
	WeedLot stock.Lot       // 2 gal
	Feed    product.Product // granular fertiliser 20-0-0, at most 4.5 lb/1000 sq ft
	FeedLot stock.Lot       // 500 lb
}

// Open opens the database at the address with the clock of a World and closes
// it with the test.
func Open(t testing.TB, address string) *postgres.DB {
	t.Helper()
	db, err := postgres.Open(context.Background(), address, Clock)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

func must[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// Pointer returns a pointer to the value.
func Pointer[T any](v T) *T { return &v }

// Company puts a company of Maryland into an empty database.
func Company(t testing.TB, db *postgres.DB) *World {
	t.Helper()
	w := &World{DB: db, T: t, Ctx: context.Background()}
	zone := must[*time.Location](t)(time.LoadLocation("America/New_York"))
	must[struct{}](t)(struct{}{}, db.SaveWeatherPlace(w.Ctx, postgres.WeatherPlace{ID: "shop", Name: "the shop",
		Place: weather.Place{Latitude: 39.25, Longitude: -76.875, Elevation: 120 * unit.Metre}}))
	w.Company = must[company.Settings](t)(db.SaveCompany(w.Ctx, 0, func(s *company.Settings) error {
		s.Name, s.State, s.Zone, s.Address, s.Phone = "Fernwick Grounds", "MD", zone, "1 Yard Road, Fernwick", "555-0101"
		s.BusinessLicense, s.WeatherPlaceID = "MD-B-0001", "shop"
		return nil
	}))
	w.people()
	w.crews()
	w.lawn()
	w.products()
	return w
}

func (w *World) people() {
	add := func(name string, kinds ...crew.LicenseKind) crew.Person {
		p := crew.Person{Name: name}
		for _, k := range kinds {
			p.Licenses = append(p.Licenses, crew.License{Kind: k, State: "MD", Number: fmt.Sprintf("MD-%s-%s", k, name),
				ValidFrom: civil.MustDate("2026-01-01"), ValidTo: civil.MustDate("2026-12-31")})
		}
		return must[crew.Person](w.T)(w.AddPerson(w.Ctx, p))
	}
	w.Owner = add("Olive Rook", crew.Pesticide, crew.Fertiliser)
	w.Lead = add("Lee Alder", crew.Pesticide, crew.Fertiliser)
	w.Helper = add("Hal Sedge", crew.Training)
	w.Stranger = must[crew.Person](w.T)(w.AddPerson(w.Ctx, crew.Person{Name: "Sam Thorn", Licenses: []crew.License{{Kind: crew.Pesticide,
		State: "MD", Number: "MD-OLD", ValidFrom: civil.MustDate("2025-01-01"), ValidTo: civil.MustDate("2025-12-31")}}}))
}

func (w *World) crews() {
	w.Depot = must[crew.Depot](w.T)(w.AddDepot(w.Ctx, crew.Depot{Name: "Yard", Address: "1 Yard Road", Latitude: 39.25, Longitude: -76.875}))
	add := func(name string, over uuid.UUID, members ...crew.Member) crew.Crew {
		return must[crew.Crew](w.T)(w.AddCrew(w.Ctx, crew.Crew{Name: name, Depot: w.Depot, ShiftFrom: 420, ShiftTo: 960, WorkDays: []int{1, 2, 3, 4, 5},
			Abilities: []turf.Work{turf.Mow, turf.Edge, turf.Spray, turf.Spread, turf.Look}, SupervisorID: over, Members: members}))
	}
	w.Crew = add("Birch", w.Lead.ID, crew.Member{Person: w.Lead, Lead: true}, crew.Member{Person: w.Helper})
	w.Other = add("Elm", uuid.Nil, crew.Member{Person: w.Stranger, Lead: true})
	w.Mower = must[crew.Machine](w.T)(w.AddMachine(w.Ctx, crew.Machine{CrewID: w.Crew.ID, Name: "Rotary 21", Kind: "rotary", WidthIn: 21, HeightMinIn: 1, HeightMaxIn: 4.5}))
}

func (w *World) lawn() {
	w.Customer = must[property.Customer](w.T)(w.AddCustomer(w.Ctx, property.Customer{Name: "Ada Marsh", Phone: "555-0100", BillingAddress: "2 Fern Way, Fernwick"}))
	w.Property = w.Lawn("2 Fern Way")
}

// Lawn adds a property of the customer with two areas, Back and Front.
func (w *World) Lawn(address string) property.Property {
	w.T.Helper()
	return must[property.Property](w.T)(w.AddProperty(w.Ctx, property.Property{CustomerID: w.Customer.ID, Address: address, Municipality: "Fernwick",
		County: "Carroll", State: "MD", ZIPCode: "21000", OwnerName: "Ada Marsh", Latitude: Pointer(39.25), Longitude: Pointer(-76.875),
		Sensitivities: []string{"pets"}, WaterDistanceFt: Pointer(400.0),
		Areas: []property.TurfArea{
			{Name: "Back", AreaSqFt: 800, AreaMethod: "tape", Species: turf.TallFescue, CuttingHeightIn: 3.5},
			{Name: "Front", AreaSqFt: 5200, AreaMethod: "tape", Species: turf.TallFescue, CuttingHeightIn: 3.5},
		}}))
}

func (w *World) products() {
	w.Weed = w.Product(product.Product{Name: "Sample Sedge Out", Kind: "pesticide", Form: "liquid", EPARegNo: "00000-1",
		ActiveIngredient: "examplin", ConcentrationPercent: Pointer(41.5), Formulation: "soluble liquid"},
		label.Limits{Place: "p. 3, Turf", RateMin: Pointer(0.5), RateMax: Pointer(1.5), RateUnit: label.FlOzPerThousand,
			YearMax: Pointer(4.0), IntervalDays: Pointer(21), ReentryText: "12 hours", ReentryHours: Pointer(12.0), WindMaxMPH: Pointer(10.0),
			ProtectiveEquipment: "gloves", SignalWord: "CAUTION"})
	w.Feed = w.Product(product.Product{Name: "Sample Green 20", Kind: "fertiliser", Form: "dry", NPercent: Pointer(20.0), NSlowPercent: Pointer(50.0)},
		label.Limits{Place: "back of the bag", RateMax: Pointer(4.5), RateUnit: label.LbPerThousand})
	w.WeedLot = w.Lot(w.Weed, "W-1", "2027-12-31", unit.Gallon.Times(2).Litres(), "L", "2 gal")
	w.FeedLot = w.Lot(w.Feed, "F-1", "2027-12-31", unit.Pound.Times(500).Kilograms(), "kg", "500 lb")
}

// Product adds a product with one label version that the owner entered and the
// crew's lead confirmed, in force since 2025.
func (w *World) Product(p product.Product, l label.Limits) product.Product {
	w.T.Helper()
	p = must[product.Product](w.T)(w.AddProduct(w.Ctx, p))
	v := must[product.LabelVersion](w.T)(w.AddLabelVersion(w.Ctx, product.LabelVersion{ProductID: p.ID, Revision: "A", Pattern: "turf",
		InForceFrom: civil.MustDate("2025-01-01"), Limits: l, EnteredBy: w.Owner.ID}))
	v = must[product.LabelVersion](w.T)(w.ConfirmLabelVersion(w.Ctx, v.ID, w.Lead.ID))
	p.Labels = []product.LabelVersion{v}
	return p
}

// Lot adds a lot that came in with that amount.
func (w *World) Lot(p product.Product, number, expires string, amount float64, unitName, entered string) stock.Lot {
	w.T.Helper()
	return must[stock.Lot](w.T)(w.AddLot(w.Ctx, stock.Lot{ProductID: p.ID, Number: number, ReceivedOn: civil.MustDate("2026-01-05"),
		ExpiresOn: civil.MustDate(expires)}, stock.Move{Amount: amount, Unit: unitName, Entered: entered, At: Clock().AddDate(0, -4, 0)}))
}

// Visit plans a visit of the crew to the property on the day: mow the front.
func (w *World) Visit(c crew.Crew, p property.Property, day civil.Date) visit.Visit {
	w.T.Helper()
	list := must[[]visit.Visit](w.T)(w.AddVisits(w.Ctx, []visit.Visit{{PropertyID: p.ID, CrewID: c.ID, Date: day, Arrive: 480, Leave: 525,
		Tasks: []visit.Task{{TurfAreaID: Front(p).ID, Work: turf.Mow, Minutes: 45}}}}))
	return list[0]
}

// Front is the larger area of a property of Lawn.
func Front(p property.Property) property.TurfArea { return p.Areas[1] }

// Back is the smaller one.
func Back(p property.Property) property.TurfArea { return p.Areas[0] }

// At is a time of day on Day in the company's zone, written HH:MM.
func (w *World) At(clock string) time.Time {
	w.T.Helper()
	return Day.At(must[civil.TimeOfDay](w.T)(civil.ParseTimeOfDay(clock)), w.Company.Zone).UTC()
}

// Who is the person as a sender of reports from the crew.
func Who(p crew.Person, crews ...crew.Crew) visit.Who {
	who := visit.Who{PersonID: p.ID}
	for _, c := range crews {
		who.CrewIDs = append(who.CrewIDs, c.ID)
	}
	return who
}

// Mown is a report that the front was mown, with the heights measured.
func (w *World) Mown(v visit.Visit, p property.Property) visit.Entry {
	w.T.Helper()
	front := Front(p).ID
	return visit.Entry{ID: newID(w.T), Kind: "close_out", VisitID: v.ID, Outcome: "done", StartedAt: w.At("08:00"), FinishedAt: w.At("08:45"),
		DeviceID: "tablet-1",
		Tasks:    []visit.TaskReport{{TurfAreaID: front, Work: turf.Mow, Done: true, MachineID: w.Mower.ID, HeightSet: "3 1/2 in", Clippings: "left"}},
		Observations: []visit.Observed{{ID: newID(w.T), TurfAreaID: front, Kind: "height_before", Value: "4 3/4 in"},
			{ID: newID(w.T), TurfAreaID: front, Kind: "colour", Value: "7"}}}
}

// Sprayed is the weed product put on the front by the lead, at a third of the
// label's highest rate over the year and within each limit, with all told that
// the state's rule asks for.
func (w *World) Sprayed(p property.Property) visit.Application {
	w.T.Helper()
	return visit.Application{ID: newID(w.T), ProductID: w.Weed.ID, LabelVersionID: w.Weed.Labels[0].ID,
		Lines:   []visit.ApplicationLine{{TurfAreaID: Front(p).ID, AreaTreated: "5,200 sq ft", Amount: "5.2 fl oz"}},
		Diluent: "10 gal", LotIDs: []uuid.UUID{w.WeedLot.ID}, StartedAt: w.At("08:10"), FinishedAt: w.At("08:30"), ApplicatorID: w.Lead.ID,
		Equipment: "backpack sprayer", Method: "broadcast spray", Target: "yellow nutsedge", AirTemp: "71 F", Wind: "4 mph", WindDirection: "SW",
		WeatherOther: "clear", SignPosted: true, NoticeGiven: true}
}

func newID(t testing.TB) uuid.UUID {
	t.Helper()
	return must[uuid.UUID](t)(uuid.NewV7())
}
