package schedule

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	ical "github.com/emersion/go-ical"
	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
)

// sheetOfTwo is a day with one visit on the map and one that was taken off and
// has no place.
func sheetOfTwo() visit.Sheet {
	lat, lon := 39.36562, -76.79555
	area := uuid.MustParse("00000000-0000-7000-8000-00000000000a")
	stop := func(id string, address string, at civil.TimeOfDay, state visit.State) visit.Stop {
		return visit.Stop{
			Visit: visit.Visit{ID: uuid.MustParse(id), Date: civil.MustDate("2026-07-06"), State: state, Position: 1, Arrive: at, Leave: at + 30, Version: 3,
				Tasks: []visit.Task{{TurfAreaID: area, Work: turf.Mow}, {TurfAreaID: area, Work: turf.Edge}}},
			Property: property.Property{Address: address, Municipality: "Fernwick", State: "MD", ZIPCode: "00101", GateCode: "4711",
				Latitude: &lat, Longitude: &lon, Areas: []property.TurfArea{{ID: area, Name: "Front; upper, north"}}},
			Hazards: []string{"Überhängende Äste: watch out, die Zweige über der Einfahrt — und noch einmal über der Einfahrt."},
		}
	}
	s := visit.Sheet{Crew: crew.Crew{Name: "Elm", Depot: crew.Depot{Name: "Yard", Latitude: 39.25, Longitude: -76.875}}, Date: civil.MustDate("2026-07-06"),
		Stops: []visit.Stop{stop("00000000-0000-7000-8000-000000000001", "2 Fern Way, rear", 480, visit.Out),
			stop("00000000-0000-7000-8000-000000000002", "3 Fern Way", 540, visit.Withdrawn)}}
	s.Stops[1].Property.Latitude, s.Stops[1].Property.Longitude = nil, nil
	return s
}

func TestCalendarReadsBack(t *testing.T) {
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	at := time.Date(2026, 7, 6, 6, 0, 0, 0, zone)
	if err := Calendar(&out, sheetOfTwo(), zone, at); err != nil {
		t.Fatal(err)
	}
	text := out.String()
	for _, line := range strings.Split(strings.TrimSuffix(text, "\r\n"), "\r\n") {
		if len(line) > 75 || strings.ContainsAny(line, "\r\n") || !utf8.ValidString(line) {
			t.Errorf("the line %q has %d octets or is cut inside a character", line, len(line))
		}
	}
	if strings.Contains(text, "4711") {
		t.Error("the gate code is in the calendar")
	}
	cal, err := ical.NewDecoder(strings.NewReader(text)).Decode()
	if err != nil {
		t.Fatal(err)
	}
	events := cal.Events()
	if len(events) != 2 {
		t.Fatalf("%d events, want 2", len(events))
	}
	get := func(i int, name string) string {
		p := events[i].Props.Get(name)
		if p == nil {
			t.Fatalf("event %d has no %s", i, name)
		}
		if text, err := p.Text(); err == nil && name != ical.PropGeo {
			return text
		}
		return p.Value
	}
	for _, row := range []struct {
		event      int
		name, want string
	}{
		{0, ical.PropUID, "00000000-0000-7000-8000-000000000001@thirdcut"},
		{0, ical.PropDateTimeStamp, "20260706T100000Z"},
		{0, ical.PropDateTimeStart, "20260706T120000Z"}, // 08:00 in July is UTC less four hours
		{0, ical.PropDateTimeEnd, "20260706T123000Z"},
		{0, ical.PropSequence, "3"},
		{0, ical.PropStatus, "CONFIRMED"},
		{1, ical.PropStatus, "CANCELLED"},
		{0, ical.PropGeo, "39.365620;-76.795550"},
		{0, ical.PropLocation, "2 Fern Way, rear, Fernwick, MD 00101"},
		{0, ical.PropDescription, "Front; upper, north: mow\nFront; upper, north: edge\nÜberhängende Äste: watch out, die Zweige über der Einfahrt — und noch einmal über der Einfahrt."},
	} {
		if got := get(row.event, row.name); got != row.want {
			t.Errorf("event %d: %s is %q, want %q", row.event, row.name, got, row.want)
		}
	}
	if events[1].Props.Get(ical.PropGeo) != nil {
		t.Error("a property without a map point has one in the calendar")
	}
}

func TestCalendarOfAnEmptyDayAndOfOddText(t *testing.T) {
	var out bytes.Buffer
	if err := Calendar(&out, visit.Sheet{}, time.UTC, time.Unix(0, 0)); err != nil || !strings.HasPrefix(out.String(), "BEGIN:VCALENDAR\r\n") {
		t.Errorf("an empty day: %v, %q", err, out.String())
	}
	s := sheetOfTwo()
	s.Stops[0].Property.Address = "2 Fern Way\r\nX-INJECTED:yes\rlast\x00"
	out.Reset()
	if err := Calendar(&out, s, time.UTC, time.Unix(0, 0)); err != nil {
		t.Fatal(err)
	}
	cal, err := ical.NewDecoder(&out).Decode()
	if err != nil {
		t.Fatal(err)
	}
	if p := cal.Events()[0].Props.Get("X-INJECTED"); p != nil {
		t.Errorf("an address made a property of its own: %v", p)
	}
}

func TestGeoJSONReadsBack(t *testing.T) {
	var out bytes.Buffer
	if err := GeoJSON(&out, sheetOfTwo()); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(out.String(), "4711") {
		t.Error("the gate code is on the map")
	}
	var got struct {
		Type     string
		Features []struct {
			Type     string
			Geometry *struct {
				Type        string
				Coordinates json.RawMessage
			}
			Properties map[string]any
		}
	}
	if err := json.Unmarshal(out.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	if got.Type != "FeatureCollection" || len(got.Features) != 4 {
		t.Fatalf("a %s of %d features, want a FeatureCollection of depot, two visits and the way", got.Type, len(got.Features))
	}
	if g := got.Features[1].Geometry; g == nil || string(g.Coordinates) != "[-76.79555,39.36562]" {
		t.Errorf("the visit is not at longitude, latitude: %+v", g)
	}
	if got.Features[2].Geometry != nil || got.Features[2].Properties["state"] != "withdrawn" {
		t.Errorf("a visit without a map point: %+v", got.Features[2])
	}
	if w := got.Features[3].Geometry; w == nil || w.Type != "LineString" || string(w.Coordinates) != "[[-76.875,39.25],[-76.79555,39.36562],[-76.875,39.25]]" {
		t.Errorf("the way goes %+v, want depot, visit, depot", w)
	}
}
