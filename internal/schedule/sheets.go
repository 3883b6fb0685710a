package schedule

import (
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	ical "github.com/emersion/go-ical"

	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
)

// Calendar writes a crew's day as a calendar (RFC 5545), one event a visit.
// The event of a visit keeps its UID; SEQUENCE follows the visit's version, and
// a visit that was taken off is CANCELLED, so that a calendar that reads the
// file again moves and strikes what it has. Times are in UTC; at is when the
// file is written. Gate codes stay out, since calendars travel.
func Calendar(out io.Writer, s visit.Sheet, zone *time.Location, at time.Time) error {
	cal := ical.NewCalendar()
	cal.Props.SetText(ical.PropProductID, "-//Thirdcut//Route sheet//EN")
	cal.Props.SetText(ical.PropVersion, "2.0")
	cal.Props.SetText(ical.PropMethod, "PUBLISH")
	for _, stop := range s.Stops {
		cal.Children = append(cal.Children, event(stop, s, zone, at).Component)
	}
	if len(cal.Children) == 0 {
		return emptyCalendar(out)
	}
	if err := ical.NewEncoder(folder{out}).Encode(cal); err != nil {
		return fmt.Errorf("write the calendar of %s: %w", s.Date, err)
	}
	return nil
}

// emptyCalendar is a day without visits, which the encoder refuses but a
// subscribed calendar must be able to read.
func emptyCalendar(out io.Writer) error {
	_, err := io.WriteString(out, "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Thirdcut//Route sheet//EN\r\nMETHOD:PUBLISH\r\nEND:VCALENDAR\r\n")
	return err
}

func event(stop visit.Stop, s visit.Sheet, zone *time.Location, at time.Time) *ical.Event {
	v, p := stop.Visit, stop.Property
	e := ical.NewEvent()
	e.Props.SetText(ical.PropUID, v.ID.String()+"@thirdcut")
	e.Props.SetDateTime(ical.PropDateTimeStamp, at.UTC())
	e.Props.SetDateTime(ical.PropDateTimeStart, v.Date.At(v.Arrive, zone).UTC())
	e.Props.SetDateTime(ical.PropDateTimeEnd, v.Date.At(v.Leave, zone).UTC())
	sequence := ical.NewProp(ical.PropSequence)
	sequence.Value = strconv.Itoa(v.Version)
	e.Props.Set(sequence)
	setText(e, ical.PropSummary, fmt.Sprintf("%s: %s, %s", s.Crew.Name, p.Address, worksOf(v)))
	setText(e, ical.PropLocation, place(stop))
	setText(e, ical.PropDescription, strings.Join(lines(stop, s), "\n"))
	status := "CONFIRMED"
	if v.State == visit.Withdrawn {
		status = "CANCELLED"
	}
	e.Props.SetText(ical.PropStatus, status)
	if p.Latitude != nil && p.Longitude != nil {
		geo := ical.NewProp(ical.PropGeo)
		geo.Value = fmt.Sprintf("%.6f;%.6f", *p.Latitude, *p.Longitude)
		e.Props.Set(geo)
	}
	return e
}

// setText keeps what people typed inside its own property: carriage returns and
// other control characters have no escape in a calendar.
func setText(e *ical.Event, name, text string) {
	text = strings.ReplaceAll(text, "\r\n", "\n")
	e.Props.SetText(name, strings.Map(func(r rune) rune {
		if r != '\n' && (r < ' ' || r == 0x7f) {
			return ' '
		}
		return r
	}, text))
}

func place(stop visit.Stop) string {
	p := stop.Property
	return strings.TrimSpace(strings.Join(nonEmpty(p.Address, p.Municipality, strings.TrimSpace(p.State+" "+p.ZIPCode)), ", "))
}

func nonEmpty(list ...string) (out []string) {
	for _, s := range list {
		if s != "" {
			out = append(out, s)
		}
	}
	return out
}

// worksOf lists the kinds of work of a visit once each.
func worksOf(v visit.Visit) string {
	var words []string
	for _, t := range v.Tasks {
		if w := t.Work.Words(); !contains(words, w) {
			words = append(words, w)
		}
	}
	return strings.Join(words, ", ")
}

// lines are the tasks, hazards and waits of a stop, a line each.
func lines(stop visit.Stop, s visit.Sheet) []string {
	names := map[string]string{}
	for _, a := range stop.Property.Areas {
		names[a.ID.String()] = a.Name
	}
	var out []string
	for _, t := range stop.Visit.Tasks {
		line := names[t.TurfAreaID.String()] + ": " + t.Work.Words()
		if p, ok := s.Products[t.ProductID]; ok {
			line += fmt.Sprintf(", %s at %.3g %s", p.Name, t.Rate, t.RateUnit)
			if t.Target != "" {
				line += " for " + t.Target
			}
		}
		out = append(out, line)
	}
	return append(out, stop.Hazards...)
}

// folder folds lines at 75 octets (RFC 5545, 3.1), never inside a character.
// The encoder writes a whole calendar at once or line by line; both will do,
// since a line is only folded when its end has come.
type folder struct{ out io.Writer }

const foldOctets = 75

// Write writes whole lines folded. What comes without an end of line is passed
// on as it is: the encoder ends each of its writes with one.
func (f folder) Write(b []byte) (int, error) {
	var folded strings.Builder
	for _, line := range strings.SplitAfter(string(b), "\r\n") {
		body, ended := strings.CutSuffix(line, "\r\n")
		room := foldOctets
		used := 0
		for _, r := range body {
			n := len(string(r))
			if used+n > room {
				folded.WriteString("\r\n ")
				used = 1 // the space counts
			}
			folded.WriteRune(r)
			used += n
		}
		if ended {
			folded.WriteString("\r\n")
		}
	}
	if _, err := io.WriteString(f.out, folded.String()); err != nil {
		return 0, err
	}
	return len(b), nil
}

type feature struct {
	Type       string         `json:"type"`
	ID         string         `json:"id,omitempty"`
	Geometry   *geometry      `json:"geometry"` // null: the place is not known
	Properties map[string]any `json:"properties"`
}

type geometry struct {
	Type        string `json:"type"`
	Coordinates any    `json:"coordinates"`
}

type features struct {
	Type     string    `json:"type"`
	Features []feature `json:"features"`
}

// GeoJSON writes a crew's day as a map (RFC 7946): the depot and each visit as
// points, and the way between them as a line in the order of the sheet. A
// property without a map point is a feature without geometry. Longitude comes
// first. Gate codes stay out.
func GeoJSON(out io.Writer, s visit.Sheet) error {
	depot := [2]float64{s.Crew.Depot.Longitude, s.Crew.Depot.Latitude}
	way := [][2]float64{depot}
	list := []feature{{Type: "Feature", Geometry: &geometry{"Point", depot}, Properties: map[string]any{"kind": "depot", "name": s.Crew.Depot.Name}}}
	for _, stop := range s.Stops {
		f := stopFeature(stop)
		if f.Geometry != nil && stop.Visit.State != visit.Withdrawn {
			way = append(way, f.Geometry.Coordinates.([2]float64))
		}
		list = append(list, f)
	}
	if len(way) > 1 {
		way = append(way, depot)
		list = append(list, feature{Type: "Feature", Geometry: &geometry{"LineString", way},
			Properties: map[string]any{"kind": "way", "crew": s.Crew.Name, "date": s.Date.String(), "driving_minutes": s.DrivingMinutes}})
	}
	if err := json.NewEncoder(out).Encode(features{"FeatureCollection", list}); err != nil {
		return fmt.Errorf("write the map of %s: %w", s.Date, err)
	}
	return nil
}

func stopFeature(stop visit.Stop) feature {
	v, p := stop.Visit, stop.Property
	works := []turf.Work{}
	for _, t := range v.Tasks {
		if !contains(works, t.Work) {
			works = append(works, t.Work)
		}
	}
	f := feature{Type: "Feature", ID: v.ID.String(), Properties: map[string]any{"kind": "visit", "position": v.Position, "address": p.Address,
		"arrive": v.Arrive.String(), "leave": v.Leave.String(), "state": string(v.State), "work": works}}
	if p.Latitude != nil && p.Longitude != nil {
		f.Geometry = &geometry{"Point", [2]float64{*p.Longitude, *p.Latitude}}
	}
	return f
}
