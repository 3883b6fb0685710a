package postgres_test

import (
	"reflect"
	"testing"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/turf"
)

func TestPersonWithLicences(t *testing.T) {
	h := newHouse(t)
	ada := h.person("Ada Marsh", true)
	read, err := h.Person(h.ctx, ada.ID)
	h.ok(err)
	if !reflect.DeepEqual(read, ada) {
		t.Fatalf("read %+v, added %+v", read, ada)
	}
	kept := ada.Licenses[0].ID
	saved, err := h.SavePerson(h.ctx, ada.ID, 1, func(p *crew.Person) error {
		p.Phone = "555-0101"
		p.Licenses[0].ValidTo = civil.MustDate("2027-12-31")
		p.Licenses = append(p.Licenses, crew.License{Kind: crew.Fertiliser, State: "MD", Number: "F-1",
			ValidFrom: civil.MustDate("2026-01-01"), ValidTo: civil.MustDate("2026-12-31")})
		return nil
	})
	h.ok(err)
	read, err = h.Person(h.ctx, ada.ID)
	h.ok(err)
	if saved.Version != 2 || len(read.Licenses) != 2 || read.Phone != "555-0101" {
		t.Errorf("read %+v", read)
	}
	if l, ok := read.FindLicense(crew.Pesticide, "MD", civil.MustDate("2027-06-01")); !ok || l.ID != kept {
		t.Errorf("the longer licence: %+v, %v", l, ok)
	}
	_, err = h.SavePerson(h.ctx, ada.ID, 2, func(p *crew.Person) error { p.Licenses = nil; return nil })
	h.ok(err)
	if n := h.count(`select count(*) from license`); n != 0 {
		t.Errorf("%d licences are left", n)
	}

	_, err = h.SavePerson(h.ctx, ada.ID, 2, func(p *crew.Person) error { p.Phone = "x"; return nil })
	h.refused(err, fault.Stale, "stale")
	_, err = h.SavePerson(h.ctx, ada.ID, 0, func(p *crew.Person) error { p.Phone = "x"; return nil })
	h.refused(err, fault.NeedsVersion, "version-needed")
	_, err = h.SavePerson(h.ctx, uuid.New(), 1, func(p *crew.Person) error { return nil })
	h.refused(err, fault.NotFound, "person")
	_, err = h.Person(h.ctx, uuid.New())
	h.refused(err, fault.NotFound, "person")
	_, err = h.AddPerson(h.ctx, crew.Person{ID: ada.ID, Name: "Again"})
	h.refused(err, fault.Conflict, "already-saved")
}

func TestALicenceIsNobodyElses(t *testing.T) {
	h := newHouse(t)
	ada, ben := h.person("Ada Marsh", true), h.person("Ben Rowe", false)
	_, err := h.SavePerson(h.ctx, ben.ID, 1, func(p *crew.Person) error { p.Licenses = ada.Licenses; return nil })
	h.refused(err, fault.NotFound, "licence")
	read, err := h.Person(h.ctx, ada.ID)
	h.ok(err)
	if len(read.Licenses) != 1 {
		t.Errorf("the licence went over: %+v", read)
	}
}

func TestCrewWhole(t *testing.T) {
	h := newHouse(t)
	depot, err := h.AddDepot(h.ctx, crew.Depot{Name: "North", Latitude: 39.5, Longitude: -76.5})
	h.ok(err)
	ada, ben := h.person("Ada Marsh", true), h.person("Ben Rowe", false)
	c, err := h.AddCrew(h.ctx, crew.Crew{Name: "North 1", Depot: crew.Depot{ID: depot.ID}, ShiftFrom: 420, ShiftTo: 1440, WorkDays: []int{1, 2, 3},
		DaysOff: []civil.Date{civil.MustDate("2026-07-03")}, Abilities: []turf.Work{turf.Mow, turf.Spray}, SupervisorID: ada.ID,
		Members: []crew.Member{{Person: ben}, {Person: ada, Lead: true}}})
	h.ok(err)
	m, err := h.AddMachine(h.ctx, crew.Machine{CrewID: c.ID, Name: "R1", Kind: "rotary", WidthIn: 48, HeightMinIn: 1.5, HeightMaxIn: 5.25})
	h.ok(err)
	read, err := h.Crew(h.ctx, c.ID)
	h.ok(err)
	if read.Depot != depot || read.ShiftTo != 1440 || len(read.Machines) != 1 || read.Machines[0] != m || read.SupervisorID != ada.ID ||
		len(read.Members) != 2 || !read.Members[0].Lead || !reflect.DeepEqual(read.Members[0].Person, ada) || read.DaysOff[0] != civil.MustDate("2026-07-03") {
		t.Fatalf("read %+v", read)
	}

	saved, err := h.SaveCrew(h.ctx, c.ID, 1, func(c *crew.Crew) error {
		c.Members = c.Members[1:]
		c.ShiftTo = 960
		return nil
	})
	h.ok(err)
	if saved.Version != 2 || len(saved.Members) != 1 || saved.Members[0].Person.ID != ben.ID {
		t.Errorf("saved %+v", saved)
	}
	_, err = h.SaveCrew(h.ctx, c.ID, 1, func(c *crew.Crew) error { c.Name = "x"; return nil })
	h.refused(err, fault.Stale, "stale")
	_, err = h.SaveCrew(h.ctx, c.ID, 2, func(c *crew.Crew) error { c.Depot.ID = uuid.New(); return nil })
	h.refused(err, fault.Invalid, "no-such-depot")
	_, err = h.SaveCrew(h.ctx, c.ID, 2, func(c *crew.Crew) error { c.Members[0].Person.ID = uuid.New(); return nil })
	h.refused(err, fault.Invalid, "no-such-person")
	_, err = h.AddCrew(h.ctx, crew.Crew{Name: "North 1", Depot: depot, ShiftFrom: 420, ShiftTo: 960, WorkDays: []int{1}})
	h.refused(err, fault.Conflict, "crew-name-taken")

	_, err = h.SaveMachine(h.ctx, m.ID, 1, func(m *crew.Machine) error { m.RetiredOn = civil.MustDate("2026-06-01"); return nil })
	h.ok(err)
	_, err = h.SaveDepot(h.ctx, depot.ID, 1, func(d *crew.Depot) error { d.Address = "1 Mill Rd"; return nil })
	h.ok(err)
	_, err = h.SaveCrew(h.ctx, c.ID, 2, func(c *crew.Crew) error { c.RetiredOn = civil.MustDate("2026-06-01"); return nil })
	h.ok(err)
	crews, err := h.Crews(h.ctx)
	h.ok(err)
	read, err = h.Crew(h.ctx, c.ID)
	h.ok(err)
	if len(crews) != 0 || len(read.Machines) != 0 || read.Depot.Address != "1 Mill Rd" {
		t.Errorf("retired: crews %+v, crew %+v", crews, read)
	}
}
