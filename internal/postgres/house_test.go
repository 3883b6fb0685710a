package postgres_test

import (
	"context"
	"testing"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/postgres"
	"thirdcut/internal/product"
	"thirdcut/internal/property"
	"thirdcut/internal/testkit/pgtest"
	"thirdcut/internal/turf"
)

// house is a company with one customer's property, to change in a test.
type house struct {
	*postgres.DB
	t   *testing.T
	ctx context.Context
	now time.Time // the real clock: set it to move time on
}

// newHouse opens an empty database with a company of Maryland in it. The real
// clock stands at noon of Tuesday 2 June 2026.
func newHouse(t *testing.T) *house {
	t.Helper()
	t.Parallel()
	h := &house{t: t, ctx: context.Background(), now: time.Date(2026, 6, 2, 16, 0, 0, 0, time.UTC)}
	db, err := postgres.Open(h.ctx, pgtest.New(t), func() time.Time { return h.now })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	h.DB = db
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	_, err = db.SaveCompany(h.ctx, 0, func(s *company.Settings) error {
		s.Name, s.State, s.Zone = "Fernwick Grounds", "MD", zone
		return nil
	})
	h.ok(err)
	return h
}

func (h *house) ok(err error) {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
}

// refused wants a fault of that kind and code.
func (h *house) refused(err error, kind fault.Kind, code string) {
	h.t.Helper()
	if !fault.Is(err, kind) || !fault.HasCode(err, code) {
		h.t.Errorf("got %v, want a fault of kind %d with code %s", err, kind, code)
	}
}

// count runs a query for one number.
func (h *house) count(query string, args ...any) int {
	h.t.Helper()
	var n int
	h.ok(h.GetContext(h.ctx, &n, query, args...))
	return n
}

// refreshes is how often due windows were asked for: of one property, or of all with uuid.Nil.
func (h *house) refreshes(propertyID uuid.UUID) int {
	h.t.Helper()
	if propertyID == uuid.Nil {
		return h.count(`select count(*) from job_outbox where kind = 'windows:refresh' and not payload ? 'property_id'`)
	}
	return h.count(`select count(*) from job_outbox where kind = 'windows:refresh' and payload->>'property_id' = $1`, propertyID.String())
}

func ptr[T any](v T) *T { return &v }

func (h *house) customer() property.Customer {
	h.t.Helper()
	c, err := h.AddCustomer(h.ctx, property.Customer{Name: "Ada Marsh", Phone: "555-0100"})
	h.ok(err)
	return c
}

func somePlan() *property.ServicePlan {
	return &property.ServicePlan{SeasonFrom: civil.MonthDay{Month: 3, Day: 15}, SeasonTo: civil.MonthDay{Month: 11, Day: 30},
		LeastDays: ptr(5), GreatestDays: ptr(14), PriceBasis: "per_visit", PriceCents: ptr(int64(5500)),
		Services: []turf.Work{turf.Mow, turf.Edge}, AgreedOn: civil.MustDate("2026-03-01")}
}

func (h *house) property(address string) property.Property {
	h.t.Helper()
	p, err := h.AddProperty(h.ctx, property.Property{CustomerID: h.customer().ID, Address: address, County: "Carroll", State: "MD",
		ZIPCode: "21000", Latitude: ptr(39.25), Longitude: ptr(-76.875),
		Areas: []property.TurfArea{
			{Name: "Front", AreaSqFt: 5200.5, AreaMethod: "tape", Species: turf.TallFescue, CuttingHeightIn: 3.25},
			{Name: "Back", AreaSqFt: 800, CuttingHeightIn: 3},
		},
		Plan: somePlan()})
	h.ok(err)
	return p
}

func (h *house) person(name string, licensed bool) crew.Person {
	h.t.Helper()
	p := crew.Person{Name: name}
	if licensed {
		p.Licenses = []crew.License{{Kind: crew.Pesticide, State: "MD", Number: "MD-" + name,
			ValidFrom: civil.MustDate("2026-01-01"), ValidTo: civil.MustDate("2026-12-31")}}
	}
	p, err := h.AddPerson(h.ctx, p)
	h.ok(err)
	return p
}

func (h *house) product(name string) product.Product {
	h.t.Helper()
	p, err := h.AddProduct(h.ctx, product.Product{Name: name, Kind: "pesticide", Form: "liquid", ActiveIngredient: "examplin",
		EPARegNo: "00000-1", ConcentrationPercent: ptr(41.5)})
	h.ok(err)
	return p
}
