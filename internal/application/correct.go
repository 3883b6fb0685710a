package application

import (
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/fault"
	"thirdcut/internal/label"
	"thirdcut/internal/stock"
	"thirdcut/internal/unit"
)

// Correct returns the record that supersedes the old one: what change makes of
// it, with its reason and who made it. Which visit, property and report it
// belongs to stays. The total, the area and the rate follow from the lines
// where change alters those; a rate is then read in the unit it stood in.
// Faults: Invalid "correction-reason", Invalid "correction", and those of change.
func Correct(old Record, change func(*Record) error, reason string, by Who, at time.Time) (Record, error) {
	reason = strings.TrimSpace(reason)
	if reason == "" {
		return Record{}, fault.New(fault.Invalid, "correction-reason", "say why the record is corrected; the reason stays with it").With("/reason", "is missing")
	}
	rec := old
	rec.Lines = append([]Line(nil), old.Lines...)
	rec.Lots = append([]Lot(nil), old.Lots...)
	rec.Assistants = append([]string(nil), old.Assistants...)
	rec.Findings = append([]label.Finding{}, old.Findings...)
	rec.Reasons = append([]Reason(nil), old.Reasons...)
	if err := change(&rec); err != nil {
		return Record{}, err
	}
	rec.SupersedesID, rec.Correction, rec.CorrectedBy, rec.RecordedAt = old.ID, reason, by, at
	rec.CloseOutID, rec.VisitID, rec.PropertyID, rec.Zone = old.CloseOutID, old.VisitID, old.PropertyID, old.Zone
	rec.ID = uuid.Nil
	rec.sum(old)
	return rec, rec.complete()
}

// sum works out anew what follows from the lines, where they are not the old ones.
func (r *Record) sum(old Record) {
	if sameLines(r.Lines, old.Lines) || len(r.Lines) == 0 {
		return
	}
	total, area := Amount{Unit: r.Lines[0].Amount.Unit}, Amount{Unit: "sq ft"}
	var said []string
	for _, l := range r.Lines {
		total.Value += l.Amount.Value
		area.Value += l.AreaTreated.Value
		said = append(said, l.Amount.Entered)
	}
	total.Value, area.Value = round(total.Value), round(area.Value)
	total.Entered, area.Entered = strings.Join(said, " + "), words(area.Value, "sq ft")
	if len(r.Lines) == 1 {
		area.Entered = r.Lines[0].AreaTreated.Entered
	}
	r.Total, r.AreaTreated = total, area
	_, unitName, _ := strings.Cut(old.Rate, " ")
	product := total.Product()
	r.Rate = product.Over(unit.Area(area.Value) * unit.SquareFoot).In(label.RateUnit(unitName))
}

func sameLines(a, b []Line) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// complete says what would make it no record any more.
func (r Record) complete() error {
	bad := fault.New(fault.Invalid, "correction", "the record cannot be corrected like this")
	if r.AppliedOn.IsZero() {
		bad = bad.With("/applied_on", "is missing")
	}
	if r.Applicator.PersonID == uuid.Nil {
		bad = bad.With("/applicator", "is missing")
	}
	if len(r.Lines) == 0 {
		bad = bad.With("/lines", "a record without a treated area is none; if nothing was put down, say so in the note and keep the lines")
	}
	seen := map[uuid.UUID]bool{}
	for i, l := range r.Lines {
		at := fmt.Sprintf("/lines/%d", i)
		if seen[l.TurfAreaID] {
			bad = bad.With(at, "the area stands there twice")
		}
		seen[l.TurfAreaID] = true
		if !(l.Amount.Value > 0) || !(l.AreaTreated.Value > 0) {
			bad = bad.With(at, "amount and area must be more than nothing")
		}
		if l.Amount.Unit != r.Total.Unit {
			bad = bad.With(at+"/amount", "is in %s, the total in %s", l.Amount.Unit, r.Total.Unit)
		}
	}
	if len(bad.Fields) > 0 {
		return bad
	}
	return nil
}

// Draws says how much each lot of the record gives, in the unit of its total:
// the lots in their order, each what it has, the last one the rest. Lots of
// another product or in another unit give nothing.
func Draws(r Record, lots map[uuid.UUID]stock.Lot) map[uuid.UUID]float64 {
	var usable []stock.Lot
	seen := map[uuid.UUID]bool{}
	for _, l := range r.Lots {
		lot, ok := lots[l.LotID]
		if ok && !seen[lot.ID] && lot.ProductID == r.ProductID && lot.LeftUnit == r.Total.Unit {
			seen[lot.ID] = true
			usable = append(usable, lot)
		}
	}
	draws, need := map[uuid.UUID]float64{}, r.Total.Value
	for i, lot := range usable {
		take := min(max(lot.Left, 0), need)
		if i == len(usable)-1 {
			take = need
		}
		draws[lot.ID] = round(take)
		need = round(need - take)
	}
	return draws
}
