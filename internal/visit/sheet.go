package visit

import (
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
	"thirdcut/internal/label"
	"thirdcut/internal/product"
	"thirdcut/internal/property"
)

// Speaks says whether the person speaks for the crew: as a member, or for the office.
func (w Who) Speaks(crewID uuid.UUID) bool {
	if w.MayReportForAll {
		return true
	}
	for _, id := range w.CrewIDs {
		if id == crewID {
			return true
		}
	}
	return false
}

// MayRead says whether the person may read the visit and the lawn card that
// goes with it: the office any, others those of their own crews.
func MayRead(w Who, v Visit) bool { return w.Speaks(v.CrewID) }

// Wait is an application after which people must keep off some areas of a
// property. Until is the instant at which the label's hours end; zero where it
// states none, and Text is then all there is: "until dry".
type Wait struct {
	RecordID uuid.UUID
	Product  string
	Areas    []string // names
	AreaIDs  []uuid.UUID
	Until    time.Time
	Text     string
	On       civil.Date // of the application
}

// Words says in a sentence who must keep off what and until when, in the zone.
func (w Wait) Words(zone *time.Location) string {
	areas := strings.Join(w.Areas, ", ")
	if w.Until.IsZero() {
		return fmt.Sprintf("Keep off %s as the label says: %s. %s went down on %s.", areas, w.Text, w.Product, w.On.Words())
	}
	until := w.Until.In(zone)
	if whole := until.Truncate(time.Minute); !whole.Equal(until) {
		until = whole.Add(time.Minute) // never earlier than the label
	}
	return fmt.Sprintf("Keep off %s until %s %s. %s went down on %s; its label says: %s.",
		areas, civil.DateOf(until, zone).Words(), until.Format("15:04"), w.Product, w.On.Words(), w.Text)
}

// Holds says whether people must keep off at the instant. Where the label
// states no hours it holds on the day of the application and the day after,
// ours: nobody can tell from here when it is dry.
func (w Wait) Holds(at time.Time, zone *time.Location) bool {
	if !w.Until.IsZero() {
		return at.Before(w.Until)
	}
	return w.Text != "" && civil.DateOf(at, zone).Since(w.On) <= 1
}

// Stop is one visit of a route sheet with what the crew must know there.
type Stop struct {
	Visit    Visit
	Property property.Property // with its areas in use; the gate code is for the crew of the day
	Customer property.Customer
	Hazards  []string // sentences
	Waits    []Wait   // that hold when the crew arrives
}

// Sheet is the day of one crew.
type Sheet struct {
	Crew           crew.Crew
	Date           civil.Date
	Version        int       // 0: nothing is planned
	SentAt         time.Time // zero: not sent
	DrivingMinutes float64
	WorkingMinutes float64
	Start, End     civil.TimeOfDay
	Stops          []Stop                        // in the order of the sheet, without withdrawn visits
	Products       map[uuid.UUID]product.Product // planned ones, with their labels
}

var sensitivityWords = map[string]string{
	"pets":               "There are pets: look before you open the gate, and close it behind you.",
	"children":           "Children play here: look before you start, and clear away toys.",
	"pond":               "There is a pond: keep product off it and away from it.",
	"hives":              "There are bee hives: nothing on flowers, and no drift.",
	"garden":             "There is a kitchen garden: no drift onto it.",
	"registry_neighbour": "A neighbour must be told before product goes down.",
}

// steepPercent is the slope from which a crew is warned; ours, just under the
// 15 degrees (27 percent) past which makers of riding mowers tell people to
// leave the slope alone (from memory).
const steepPercent = 25

// Hazards says in sentences what the crew must look out for at the property.
func Hazards(p property.Property) []string {
	var list []string
	for _, s := range p.Sensitivities {
		words, ok := sensitivityWords[s]
		if !ok {
			words = "Mind: " + strings.ReplaceAll(s, "_", " ") + "."
		}
		list = append(list, words)
	}
	if ft := p.WaterDistanceFt; ft != nil && *ft <= 100 {
		list = append(list, fmt.Sprintf("Surface water is %g ft away: keep the label's distance, and nothing on paved ground.", *ft))
	}
	for _, a := range p.Areas {
		if a.SlopePercent >= steepPercent {
			list = append(list, fmt.Sprintf("%s is steep (%g percent): walk it, mow across with a walking mower, or leave it.", a.Name, a.SlopePercent))
		}
	}
	return list
}

// KeptReport is a report from the field as it was taken in.
type KeptReport struct {
	ID         uuid.UUID
	VisitID    uuid.UUID
	PropertyID uuid.UUID
	CrewID     uuid.UUID // of the visit
	Date       civil.Date
	Outcome    string
	Reason     string
	ReportedBy uuid.UUID
	StartedAt  time.Time
	FinishedAt time.Time
	DeviceID   string
	DeviceAt   time.Time
	ReceivedAt time.Time
	Marks      []string
	Findings   []label.Finding
	Content    string // the entry as sent, canonical JSON
}
