package postgres_test

import (
	"encoding/json"
	"reflect"
	"testing"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/postgres"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
)

func TestPropertyWhole(t *testing.T) {
	h := newHouse(t)
	given := property.Property{CustomerID: h.customer().ID, Address: "12 North Oak Street", Municipality: "Fernwick", County: "Carroll",
		State: "MD", ZIPCode: "21000", OwnerName: "Cora Lund", Latitude: ptr(39.25), Longitude: ptr(-76.875), AccessNote: "side gate",
		GateCode: "1999", Sensitivities: []string{"pond", "hives"}, WaterDistanceFt: ptr(12.5), AllowedFrom: ptr(civil.TimeOfDay(480)),
		AllowedTo: ptr(civil.TimeOfDay(1440)), ClosedWeekdays: []int{6, 7}, Jurisdictions: []string{"md-county"}}
	p, err := h.AddProperty(h.ctx, given)
	h.ok(err)
	given.ID, given.AddressKey, given.Version = p.ID, "12 n oak st|md|21000", 1
	read, err := h.Property(h.ctx, p.ID)
	h.ok(err)
	if !reflect.DeepEqual(read, given) {
		t.Errorf("read\n%+v\nadded\n%+v", read, given)
	}
	area := property.TurfArea{PropertyID: p.ID, Name: "Front", AreaSqFt: 5200.25, AreaMethod: "wheel", AreaMeasuredOn: civil.MustDate("2026-04-01"),
		Outline: json.RawMessage(`{"type": "Polygon", "coordinates": [[[-76.875, 39.25], [-76.874, 39.25], [-76.874, 39.251], [-76.875, 39.25]]]}`),
		Species: turf.KentuckyBluegrass, CuttingHeightIn: 3.25, Mower: turf.Rotary, Exposure: turf.PartShade, SlopePercent: 12.5,
		Soil: "loam", Irrigated: true, IrrigationNote: "zone 2", NLbPerThousandYear: ptr(2.75), Note: "wet corner"}
	a, err := h.AddTurfArea(h.ctx, area)
	h.ok(err)
	area.ID, area.Version = a.ID, 1
	got, err := h.TurfArea(h.ctx, a.ID)
	h.ok(err)
	var was, is any
	h.ok(json.Unmarshal(area.Outline, &was))
	h.ok(json.Unmarshal(got.Outline, &is))
	area.Outline, got.Outline = nil, nil
	if !reflect.DeepEqual(got, area) || !reflect.DeepEqual(was, is) {
		t.Errorf("read\n%+v\nadded\n%+v", got, area)
	}
	if n := h.refreshes(p.ID); n != 2 {
		t.Errorf("windows asked for %d times, want 2", n)
	}
}

func TestPropertyEdits(t *testing.T) {
	h := newHouse(t)
	p := h.property("12 Oak St")
	start := h.refreshes(p.ID)
	set := func(change func(*property.Property)) func(*property.Property) error {
		return func(p *property.Property) error { change(p); return nil }
	}
	_, err := h.SaveProperty(h.ctx, p.ID, 0, set(func(p *property.Property) {}))
	h.refused(err, fault.NeedsVersion, "version-needed")
	_, err = h.SaveProperty(h.ctx, p.ID, 9, set(func(p *property.Property) {}))
	h.refused(err, fault.Stale, "stale")
	_, err = h.SaveProperty(h.ctx, uuid.New(), 1, set(func(p *property.Property) {}))
	h.refused(err, fault.NotFound, "property")
	_, err = h.SaveProperty(h.ctx, p.ID, 1, set(func(p *property.Property) { *p.Latitude, *p.Longitude = *p.Longitude, *p.Latitude }))
	h.refused(err, fault.Invalid, "property")
	_, err = h.AddProperty(h.ctx, property.Property{CustomerID: p.CustomerID, Address: "12 OAK STREET", State: "MD", ZIPCode: "21000-1234"})
	h.refused(err, fault.Conflict, "address-taken")
	_, err = h.AddProperty(h.ctx, property.Property{CustomerID: uuid.New(), Address: "13 Oak St", State: "MD", ZIPCode: "21000"})
	h.refused(err, fault.Invalid, "no-such-customer")

	saved, err := h.SaveProperty(h.ctx, p.ID, 1, set(func(p *property.Property) { p.GateCode = "2024" }))
	h.ok(err)
	if saved.Version != 2 || h.refreshes(p.ID) != start {
		t.Errorf("a gate code: version %d, windows asked for %d times more", saved.Version, h.refreshes(p.ID)-start)
	}
	saved, err = h.SaveProperty(h.ctx, p.ID, 2, set(func(p *property.Property) { *p.Latitude = 39.5 }))
	h.ok(err)
	if saved.Version != 3 || h.refreshes(p.ID) != start+1 {
		t.Errorf("moved on the map: version %d, windows asked for %d times more", saved.Version, h.refreshes(p.ID)-start)
	}
	read, err := h.Property(h.ctx, p.ID)
	h.ok(err)
	if !reflect.DeepEqual(read, saved) {
		t.Errorf("read\n%+v\nsaved\n%+v", read, saved)
	}
}

func TestAreaEdits(t *testing.T) {
	h := newHouse(t)
	p := h.property("12 Oak St")
	back, front := p.Areas[0], p.Areas[1]
	start := h.refreshes(p.ID)
	cases := []struct {
		name   string
		change func(*property.TurfArea)
		asks   int
	}{
		{"a note", func(a *property.TurfArea) { a.Note = "soft" }, 0},
		{"nothing", func(a *property.TurfArea) {}, 0},
		{"height", func(a *property.TurfArea) { a.CuttingHeightIn = 3.5 }, 1},
		{"species", func(a *property.TurfArea) { a.Species = turf.Zoysiagrass }, 1},
		{"size", func(a *property.TurfArea) { a.AreaSqFt = 5000 }, 1},
		{"retired", func(a *property.TurfArea) { a.RetiredOn = civil.MustDate("2026-06-02") }, 1},
	}
	for _, c := range cases {
		before := h.refreshes(p.ID)
		a, err := h.SaveTurfArea(h.ctx, front.ID, front.Version, func(a *property.TurfArea) error { c.change(a); return nil })
		h.ok(err)
		if got := h.refreshes(p.ID) - before; got != c.asks {
			t.Errorf("%s: windows asked for %d times, want %d", c.name, got, c.asks)
		}
		front = a
	}
	if front.Version != 6 || h.refreshes(p.ID)-start != 4 {
		t.Errorf("version %d, want 6; windows asked for %d times, want 4", front.Version, h.refreshes(p.ID)-start)
	}
	_, err := h.SaveTurfArea(h.ctx, back.ID, 1, func(a *property.TurfArea) error { a.Name = "Front"; return nil })
	h.refused(err, fault.Conflict, "area-name-taken")
	_, err = h.SaveTurfArea(h.ctx, back.ID, 1, func(a *property.TurfArea) error { a.CuttingHeightIn = 30; return nil })
	h.refused(err, fault.Invalid, "turf-area")
	_, err = h.SaveTurfArea(h.ctx, back.ID, 2, func(a *property.TurfArea) error { return nil })
	h.refused(err, fault.Stale, "stale")
	_, err = h.AddTurfArea(h.ctx, property.TurfArea{PropertyID: uuid.New(), Name: "Side", AreaSqFt: 10, CuttingHeightIn: 3})
	h.refused(err, fault.NotFound, "property")

	read, err := h.Property(h.ctx, p.ID)
	h.ok(err)
	all, err := h.Properties(h.ctx, postgres.PropertyFilter{RetiredAreas: true})
	h.ok(err)
	if len(read.Areas) != 1 || len(all) != 1 || len(all[0].Areas) != 2 {
		t.Errorf("areas in use %d, areas with retired %d", len(read.Areas), len(all[0].Areas))
	}
}

func TestServicePlanFollowsTheRunningOne(t *testing.T) {
	h := newHouse(t)
	p := h.property("12 Oak St")
	today := civil.MustDate("2026-06-02")
	dearer := func(s *property.ServicePlan) error { s.PriceCents = ptr(int64(6000)); return nil }
	_, err := h.SaveServicePlan(h.ctx, p.ID, 0, today, dearer)
	h.refused(err, fault.NeedsVersion, "version-needed")
	_, err = h.SaveServicePlan(h.ctx, p.ID, 5, today, dearer)
	h.refused(err, fault.Stale, "stale")
	start := h.refreshes(p.ID)
	same, err := h.SaveServicePlan(h.ctx, p.ID, 1, today, func(*property.ServicePlan) error { return nil })
	h.ok(err)
	if same.ID != p.Plan.ID || h.refreshes(p.ID) != start {
		t.Errorf("nothing changed, yet the plan is %+v", same)
	}
	plan, err := h.SaveServicePlan(h.ctx, p.ID, 1, today, dearer)
	h.ok(err)
	if h.refreshes(p.ID) != start+1 {
		t.Errorf("windows asked for %d times, want 1", h.refreshes(p.ID)-start)
	}
	plans, err := h.ServicePlans(h.ctx, p.ID)
	h.ok(err)
	if len(plans) != 2 || !reflect.DeepEqual(plans[0], plan) || plan.AgreedOn != today || plan.Version != 2 ||
		plans[1].ID != p.Plan.ID || plans[1].EndedOn != civil.MustDate("2026-06-01") || *plans[1].PriceCents != 5500 {
		t.Errorf("plans %+v", plans)
	}
	_, err = h.SaveServicePlan(h.ctx, p.ID, 2, today, func(s *property.ServicePlan) error { s.LeastDays = ptr(20); return nil })
	h.refused(err, fault.Invalid, "service-plan")
	h.ok(h.EndServicePlan(h.ctx, p.ID, 2, today))
	h.refused(h.EndServicePlan(h.ctx, p.ID, 0, today), fault.NotFound, "service-plan")
	read, err := h.Property(h.ctx, p.ID)
	h.ok(err)
	if read.Plan != nil {
		t.Errorf("an ended plan runs: %+v", read.Plan)
	}
	_, err = h.SaveServicePlan(h.ctx, p.ID, 0, today, func(s *property.ServicePlan) error { *s = *somePlan(); return nil })
	h.ok(err)
}

func TestCustomerEdits(t *testing.T) {
	h := newHouse(t)
	c := h.customer()
	saved, err := h.SaveCustomer(h.ctx, c.ID, 1, func(c *property.Customer) error { c.ImportKey = "C-1"; return nil })
	h.ok(err)
	read, err := h.Customer(h.ctx, c.ID)
	h.ok(err)
	if read != saved || read.Version != 2 {
		t.Errorf("read %+v, saved %+v", read, saved)
	}
	_, err = h.AddCustomer(h.ctx, property.Customer{Name: "Other", ImportKey: "C-1"})
	h.refused(err, fault.Conflict, "import-key-taken")
	_, err = h.AddCustomer(h.ctx, property.Customer{Name: " "})
	h.refused(err, fault.Invalid, "customer")
	_, err = h.SaveCustomer(h.ctx, c.ID, 1, func(c *property.Customer) error { return nil })
	h.refused(err, fault.Stale, "stale")
	_, err = h.Customer(h.ctx, uuid.New())
	h.refused(err, fault.NotFound, "customer")
}

// Two people who edit at once: one is told.
func TestTwoEditsOfOneVersion(t *testing.T) {
	h := newHouse(t)
	p := h.property("12 Oak St")
	done := make(chan error, 2)
	for _, code := range []string{"1", "2"} {
		go func() {
			_, err := h.SaveProperty(h.ctx, p.ID, 1, func(p *property.Property) error { p.GateCode = code; return nil })
			done <- err
		}()
	}
	one, two := <-done, <-done
	if (one == nil) == (two == nil) || one != nil && !fault.Is(one, fault.Stale) || two != nil && !fault.Is(two, fault.Stale) {
		t.Errorf("one got %v, the other %v; want one stale", one, two)
	}
}
