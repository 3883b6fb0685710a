package postgres_test

import (
	"testing"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
)

func (h *house) crew(name string, members ...crew.Person) crew.Crew {
	h.t.Helper()
	d, err := h.AddDepot(h.ctx, crew.Depot{Name: "Depot of " + name, Latitude: 39.25, Longitude: -76.875})
	h.ok(err)
	c := crew.Crew{Name: name, Depot: d, ShiftFrom: 420, ShiftTo: 960, WorkDays: []int{1, 2, 3, 4, 5},
		Abilities: []turf.Work{turf.Mow, turf.Edge, turf.Spray, turf.Spread, turf.Look}}
	for _, m := range members {
		c.Members = append(c.Members, crew.Member{Person: m})
	}
	c, err = h.AddCrew(h.ctx, c)
	h.ok(err)
	return c
}

func (h *house) visit(p property.Property, c crew.Crew, date string, work turf.Work) visit.Visit {
	h.t.Helper()
	added, err := h.AddVisits(h.ctx, []visit.Visit{mowVisit(p, c, date, work)})
	h.ok(err)
	return added[0]
}

func mowVisit(p property.Property, c crew.Crew, date string, work turf.Work) visit.Visit {
	return visit.Visit{PropertyID: p.ID, CrewID: c.ID, Date: civil.MustDate(date), Arrive: 480, Leave: 510,
		Tasks: []visit.Task{{TurfAreaID: p.Areas[0].ID, Work: work, Minutes: 30}}}
}

func TestVisitsArePlacedAndRead(t *testing.T) {
	h := newHouse(t)
	p, a, b := h.property("1 Fern Way"), h.crew("Birch"), h.crew("Elm")
	list, err := h.AddVisits(h.ctx, []visit.Visit{
		mowVisit(p, a, "2026-06-02", turf.Mow), mowVisit(p, a, "2026-06-02", turf.Edge), mowVisit(p, b, "2026-06-02", turf.Mow)})
	h.ok(err)
	if list[0].Position != 1 || list[1].Position != 2 || list[2].Position != 1 {
		t.Errorf("positions %d %d %d, want 1 2 1", list[0].Position, list[1].Position, list[2].Position)
	}
	got, err := h.Visit(h.ctx, list[1].ID)
	h.ok(err)
	if got.State != visit.Planned || got.Arrive != 480 || len(got.Tasks) != 1 || got.Tasks[0].Work != turf.Edge || got.Tasks[0].Minutes != 30 {
		t.Errorf("read back %+v", got)
	}
	day, err := h.VisitsOn(h.ctx, a.ID, civil.MustDate("2026-06-02"))
	h.ok(err)
	if len(day) != 2 || day[0].ID != list[0].ID {
		t.Errorf("the crew's day has %d visits", len(day))
	}
	if all, err := h.VisitsOn(h.ctx, uuid.Nil, civil.MustDate("2026-06-02")); err != nil || len(all) != 3 {
		t.Errorf("all crews: %d visits, %v", len(all), err)
	}
	if of, err := h.VisitsOfProperty(h.ctx, p.ID, 2); err != nil || len(of) != 2 {
		t.Errorf("of the property: %d visits, %v", len(of), err)
	}
	_, err = h.Visit(h.ctx, uuid.New())
	h.refused(err, fault.NotFound, "visit")
	bad := mowVisit(p, a, "2026-06-02", "dance")
	_, err = h.AddVisits(h.ctx, []visit.Visit{mowVisit(p, a, "2026-06-03", turf.Mow), bad})
	h.refused(err, fault.Invalid, "visit")
	lost := mowVisit(p, a, "2026-06-03", turf.Mow)
	lost.PropertyID = uuid.New()
	_, err = h.AddVisits(h.ctx, []visit.Visit{lost})
	h.refused(err, fault.Invalid, "no-such-property")
	if n := h.count(`select count(*) from visit where date = '2026-06-03'`); n != 0 {
		t.Errorf("%d visits of a refused list were kept", n)
	}
	if n := h.count(`select count(*) from route_sheet`); n != 2 {
		t.Errorf("%d route sheets, want 2", n)
	}
}

func TestManyVisitsAtOnce(t *testing.T) {
	h := newHouse(t)
	p, a := h.property("1 Fern Way"), h.crew("Birch")
	var many []visit.Visit
	for i := range 3000 {
		v := mowVisit(p, a, "2026-01-01", turf.Mow)
		v.Date = v.Date.AddDays(i % 300)
		many = append(many, v)
	}
	from := time.Now()
	_, err := h.AddVisits(h.ctx, many)
	h.ok(err)
	t.Logf("3,000 visits in %v", time.Since(from))
	if n := h.count(`select count(*) from visit_task`); n != 3000 {
		t.Errorf("%d tasks kept", n)
	}
}
