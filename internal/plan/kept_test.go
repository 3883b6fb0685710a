package plan

import (
	"context"
	"testing"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/route"
	"thirdcut/internal/turf"
)

// A kept visit is at 07:29. Going to the other lawn first, the crew would leave
// it at 07:21:01, which is printed as 07:22, and reach the kept visit at
// 07:29:26: as printed, over a minute too late. The plan must not do that.
func TestNewWorkLetsAKeptVisitBeginOnItsMinute(t *testing.T) {
	at := func(lat float64) *float64 { return &lat }
	lon := -76.5
	day := civil.MustDate("2026-06-02")
	kept, other, crewID, area := uuid.New(), uuid.New(), uuid.New(), uuid.New()
	seconds := map[[2]float64]int{{39, 39.1}: 61, {39.1, 39.2}: 505, {39, 39.2}: 600}
	in := Input{
		From: day, To: day, Iterations: 400,
		Crews: []Crew{{ID: crewID, Name: "North", DepotLatitude: at(39), DepotLongitude: &lon, ShiftFrom: 420, ShiftTo: 960,
			WorkDays: []int{1, 2, 3, 4, 5}, Abilities: []turf.Work{turf.Look}}},
		Properties: map[uuid.UUID]Property{
			kept:  {Name: "Kept", Latitude: at(39.2), Longitude: &lon},
			other: {Name: "Other", Latitude: at(39.1), Longitude: &lon},
		},
		Items: []Item{{ID: "look", PropertyID: other, AreaIDs: []uuid.UUID{area}, Work: turf.Look, ServiceMinutes: 20,
			Window: turf.Window{Work: turf.Look, Opens: day, Best: day, Closes: day}}},
		Kept: []Kept{{VisitID: uuid.New(), PropertyID: kept, CrewID: crewID, Date: day, Position: 2, Arrive: 449, Minutes: 30}},
		Drive: func(a, b route.Point) int {
			if a.Latitude > b.Latitude {
				a, b = b, a
			}
			return seconds[[2]float64{a.Latitude, b.Latitude}]
		},
	}
	for _, arrive := range []civil.TimeOfDay{449, 450, 451} {
		in.Kept[0].Arrive = arrive
		p, err := Make(context.Background(), in, Options{})
		if err != nil || len(p.Visits) != 2 {
			t.Fatalf("kept at %s: %d visits, want 2 (%v)", arrive, len(p.Visits), err)
		}
		for _, v := range Check(in, p) {
			t.Errorf("kept at %s: %s: %s", arrive, v.Code, v.Why)
		}
		// From 07:30 on the other lawn fits before, which is the shorter way.
		if first := p.Visits[0]; (first.PropertyID == other) != (arrive >= 450) {
			t.Errorf("kept at %s: %s is visited first", arrive, in.Properties[first.PropertyID].Name)
		}
	}
}

// Two kept visits as an earlier plan printed them: 20 minutes at 09:01 (really
// begun at 09:00:20), then 320 s of driving to 09:26. Taken by their printed
// minutes they miss each other by 20 s; they are still one day that can be
// driven, and new work may follow.
func TestKeptVisitsPrintedByAPlanFitTogether(t *testing.T) {
	lat, lon := 39.0, -76.5
	day := civil.MustDate("2026-06-02")
	property, crewID := uuid.New(), uuid.New()
	at := func(x float64) *float64 { return &x }
	in := Input{
		From: day, To: day, Iterations: 400,
		Crews: []Crew{{ID: crewID, Name: "North", DepotLatitude: &lat, DepotLongitude: &lon, ShiftFrom: 420, ShiftTo: 960,
			WorkDays: []int{1, 2, 3, 4, 5}, Abilities: []turf.Work{turf.Look}}},
		Properties: map[uuid.UUID]Property{property: {Name: "House", Latitude: at(39.1), Longitude: &lon}},
		Items: []Item{{ID: "look", PropertyID: property, AreaIDs: []uuid.UUID{uuid.New()}, Work: turf.Look, ServiceMinutes: 20,
			Window: turf.Window{Work: turf.Look, Opens: day, Best: day, Closes: day}}},
		Kept: []Kept{
			{VisitID: uuid.New(), PropertyID: property, CrewID: crewID, Date: day, Position: 1, Arrive: 541, Minutes: 20, Latitude: at(39.2), Longitude: &lon},
			{VisitID: uuid.New(), PropertyID: property, CrewID: crewID, Date: day, Position: 2, Arrive: 566, Minutes: 20, Latitude: at(39.3), Longitude: &lon},
		},
		Drive: func(a, b route.Point) int {
			if a == b {
				return 0
			}
			return 320
		},
	}
	p, err := Make(context.Background(), in, Options{})
	if err != nil || len(p.Problems) > 0 || len(p.Visits) != 3 || p.Visits[2].KeptID != uuid.Nil {
		t.Fatalf("%d visits, problems %+v (%v); want the two kept ones and the new one behind them", len(p.Visits), p.Problems, err)
	}
	for _, v := range Check(in, p) {
		t.Errorf("%s: %s", v.Code, v.Why)
	}
}
