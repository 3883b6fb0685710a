package application

import (
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/fault"
	"thirdcut/internal/stock"
)

// Changed returns what change makes of a record that is to be corrected, and
// what is then told of the application: what was told before, but for what
// change altered. A number altered without its text is told by the number.
// Faults: those of change, and Invalid "correction" for a day altered without
// the times from which it follows.
func (r Record) Changed(change func(*Record) error) (changed Record, told Told, err error) {
	changed = r.copied()
	if err := change(&changed); err != nil {
		return changed, told, err
	}
	timed := !changed.StartedAt.IsZero() || !changed.FinishedAt.IsZero()
	if changed.AppliedOn != r.AppliedOn && timed && changed.StartedAt.Equal(r.StartedAt) && changed.FinishedAt.Equal(r.FinishedAt) {
		return changed, told, fault.New(fault.Invalid, "correction", "the record cannot be corrected like this").
			With("/applied_on", "the day follows from the times of the application; correct those")
	}
	told = changed.Told()
	told.ID = uuid.Nil
	for i, l := range changed.Lines {
		told.Lines[i].Amount = retold(l.Amount, r.lineOf(l.TurfAreaID).Amount)
		told.Lines[i].AreaTreated = retold(l.AreaTreated, r.lineOf(l.TurfAreaID).AreaTreated)
	}
	if changed.Diluent != nil && r.Diluent != nil {
		told.Diluent = retold(*changed.Diluent, *r.Diluent)
	}
	now, was := changed.WeatherStart, r.WeatherStart
	told.AirTemp = reread(now.AirTempEntered, was.AirTempEntered, now.AirTempF, was.AirTempF, "F")
	if now.WindOrigin == Measured {
		told.Wind = reread(now.WindEntered, was.WindEntered, now.WindMPH, was.WindMPH, "mph")
	}
	told.WindDirection = now.WindDirection
	return changed, told, nil
}

// copied shares no list with the record.
func (r Record) copied() Record {
	r.Lines = slices.Clone(r.Lines)
	r.Lots = slices.Clone(r.Lots)
	r.Assistants = slices.Clone(r.Assistants)
	r.Findings = slices.Clone(r.Findings)
	r.Reasons = slices.Clone(r.Reasons)
	if r.Diluent != nil {
		d := *r.Diluent
		r.Diluent = &d
	}
	return r
}

func (r Record) lineOf(area uuid.UUID) Line {
	for _, l := range r.Lines {
		if l.TurfAreaID == area {
			return l
		}
	}
	return Line{}
}

// retold is the text of an amount, or its number where only that was altered.
func retold(now, was Amount) string {
	if now.Entered == was.Entered && now.Value != was.Value {
		return words(now.Value, now.Unit)
	}
	return now.Entered
}

func reread(text, textWas string, now, was *float64, unitName string) string {
	same := now == was || now != nil && was != nil && *now == *was
	switch {
	case text != textWas || same:
		return text
	case now == nil:
		return ""
	}
	return words(*now, unitName)
}

// Correct returns the record that supersedes the old one: built anew from what
// is now told, so that rate, mix, re-entry, licences and findings are those of
// the correction, with its reason and who made it. Which visit, property and
// report it belongs to stays, and so do place, product and areas as the old
// record names them, but for what the change altered in changed.
//
// f is what is on file around the application; its Past must not hold the old
// record, and its Lots must hold what that record took. Faults: Invalid
// "correction-reason" and those of Build.
func Correct(old, changed Record, told Told, f Facts, reason string, by Who) (Record, error) {
	reason = strings.TrimSpace(reason)
	if reason == "" {
		return Record{}, fault.New(fault.Invalid, "correction-reason", "say why the record is corrected; the reason stays with it").With("/reason", "is missing")
	}
	f.Site, f.On = changed.Site, changed.AppliedOn
	f.Site.PropertyID, f.CloseOutID, f.VisitID = old.PropertyID, old.CloseOutID, old.VisitID
	if zone, err := time.LoadLocation(old.Zone); err == nil {
		f.Zone = zone
	}
	built, err := Build(f, told)
	if err != nil {
		return Record{}, err
	}
	rec := built.Record
	rec.SupersedesID, rec.Correction, rec.CorrectedBy = old.ID, reason, by
	rec.keep(old, changed)
	return rec, nil
}

// keep takes over what the old record says of things that have not been
// altered, whatever the files say of them today.
func (r *Record) keep(old, changed Record) {
	if r.ProductID == old.ProductID {
		r.Goods = changed.Goods
	}
	if r.Equipment == old.Equipment {
		r.Calibration = changed.Calibration
	}
	same := len(r.Lines) == len(old.Lines)
	for i, l := range r.Lines {
		was := old.lineOf(l.TurfAreaID)
		if was.TurfAreaID == uuid.Nil {
			same = false
			continue
		}
		r.Lines[i].Name, r.Lines[i].Species = was.Name, was.Species
	}
	if same {
		r.SiteType = changed.SiteType
	}
	for i, now := range r.Reasons {
		if j := slices.IndexFunc(old.Reasons, func(was Reason) bool { return was.Code == now.Code && was.Text == now.Text }); j >= 0 {
			r.Reasons[i].Person = old.Reasons[j].Person
		}
	}
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
