package plan

import (
	"cmp"
	"slices"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/route"
	"thirdcut/internal/turf"
)

// keptStop is a kept visit in its slot.
type keptStop struct {
	Kept
	slot  int
	point route.Point
	// seconds is what it takes in the engine: its minutes, less what its printed
	// beginning is late where the next kept visit needs that.
	seconds int
	late    int // seconds after its printed minute that it begins at the earliest
}

// startSlack is how many seconds kept visits may miss each other by as printed:
// times are printed rounded up to the minute, so the real ones were earlier.
// Only kept visits have it; new work must let each begin on its minute.
const startSlack = 59

// readKept puts the kept visits into their crews' days. A day on which they do
// not fit one after the other, or that the crew does not work, takes nothing new.
func (m *maker) readKept() {
	m.in.Kept = m.keptWithKeys()
	kept := slices.Clone(m.in.Kept)
	slices.SortStableFunc(kept, func(a, b Kept) int {
		return cmp.Or(a.Date.Compare(b.Date), cmp.Compare(a.Arrive, b.Arrive), cmp.Compare(a.Position, b.Position))
	})
	for _, k := range kept {
		if k.Date.Before(m.in.From) || k.Date.After(m.in.To) {
			continue // not a day of this plan; it still counts as done then
		}
		c, ok := m.crewAt[k.CrewID]
		if !ok {
			m.trouble("kept-loose", because("", "A kept visit on %s is of a crew that is not planned; it stays as it is.", short(k.Date)))
			m.loose = append(m.loose, k)
			continue
		}
		slot, works := m.slotAt[crewDay{crew: c, date: k.Date}]
		if !works {
			slot = m.addSlot(crewDay{crew: c, date: k.Date, closed: true})
		}
		m.kept = append(m.kept, keptStop{Kept: k, slot: slot, point: m.keptPoint(k, m.crews[c])})
	}
	m.closeClashes()
}

// keptWithKeys leaves out kept visits that carry no key of their own.
func (m *maker) keptWithKeys() (list []Kept) {
	seen := map[uuid.UUID]bool{uuid.Nil: true}
	for _, k := range m.in.Kept {
		if seen[k.VisitID] {
			m.trouble("kept-without-key", because("", "A kept visit on %s has no key or that of another; it is left out.", short(k.Date)))
			continue
		}
		seen[k.VisitID] = true
		list = append(list, k)
	}
	return list
}

// keptPoint is where a kept visit is; one that is not on the map counts as at the depot.
func (m *maker) keptPoint(k Kept, c Crew) route.Point {
	p := m.in.Properties[k.PropertyID]
	switch {
	case onMap(k.Latitude, k.Longitude):
		return route.Point{Latitude: *k.Latitude, Longitude: *k.Longitude}
	case onMap(p.Latitude, p.Longitude):
		return p.point()
	}
	m.trouble("kept-not-on-map", because("", "A kept visit of crew %s on %s is not on the map; it is planned round as if it were at the depot.", c.Name, short(k.Date)))
	return c.depot()
}

// keptIn lists the kept visits of a slot in order of time.
func (m *maker) keptIn(slot int) (list []int) {
	for i, k := range m.kept {
		if k.slot == slot {
			list = append(list, i)
		}
	}
	return list
}

// closeClashes closes the days on which the kept visits cannot be driven as they
// stand, and takes their visits out of the engine's hands.
func (m *maker) closeClashes() {
	for s, cd := range m.slots {
		list := m.keptIn(s)
		if len(list) == 0 {
			continue
		}
		if cd.closed || !m.drivable(s, list) {
			c := m.crews[cd.crew]
			m.trouble("kept-clash", because("", "The kept visits of crew %s on %s do not fit one after the other into its day; they stay as they are and nothing is added.", c.Name, short(cd.date)))
			m.slots[s].closed = true
			for _, i := range list {
				m.loose = append(m.loose, m.kept[i].Kept)
			}
		}
	}
	m.kept = slices.DeleteFunc(m.kept, func(k keptStop) bool { return m.slots[k.slot].closed })
}

// drivable drives the kept visits of a slot as they stand and notes what each
// takes; false: they do not fit into the day one after the other.
func (m *maker) drivable(slot int, list []int) bool {
	c := m.crews[m.slots[slot].crew]
	clock, at := int(c.ShiftFrom)*60, c.depot()
	var before *keptStop
	for _, i := range list {
		k := &m.kept[i]
		if !finite(k.Minutes) || k.Arrive < 0 || k.Arrive > 1440 {
			return false
		}
		printed := int(k.Arrive) * 60
		missed := max(0, clock+m.drive(at, k.point)-printed)
		if missed > startSlack {
			return false
		}
		if before != nil && before.seconds >= missed {
			before.seconds -= missed
			missed = 0
		}
		k.seconds, k.late = wholeMinutes(k.Minutes), missed
		clock, at, before = printed+missed+k.seconds, k.point, k
	}
	return clock+m.drive(at, c.depot()) <= (int(c.ShiftTo)+c.MaxOvertimeMinutes)*60
}

// opensDay says whether the kept visits of a slot are its first ones by number:
// then nothing may come before or between them.
func (m *maker) opensDay(list []int) bool {
	for n, i := range list {
		if m.kept[i].Position != n+1 {
			return false
		}
	}
	return len(list) > 0
}

// keptWithin says whether a kept visit does some of an item's areas within a later window.
func (m *maker) keptWithin(it Item, w turf.Window) bool {
	for _, k := range m.in.Kept {
		for _, t := range k.Tasks {
			if !it.Work.Treats() && t.Work == it.Work && slices.Contains(it.AreaIDs, t.AreaID) &&
				!k.Date.Before(w.Opens) && !k.Date.After(w.Closes) {
				return true
			}
		}
	}
	return false
}

// takeOffKept removes the areas of an item that a kept visit does within its
// window, and says whether anything is left to plan. Treatments are matched by
// their key alone. Minutes shrink with the number of areas left.
func (m *maker) takeOffKept(i int) bool {
	it := &m.in.Items[i]
	done := map[uuid.UUID]bool{}
	var last civil.Date
	for _, k := range m.in.Kept {
		for _, t := range k.Tasks {
			same := t.ItemID == it.ID || !it.Work.Treats() && t.Work == it.Work
			inside := t.ItemID == it.ID || !k.Date.Before(it.Window.Opens) && !k.Date.After(it.Window.Closes)
			if same && inside && slices.Contains(it.AreaIDs, t.AreaID) {
				done[t.AreaID] = true
				if k.Date.After(last) || last.IsZero() {
					last = k.Date
				}
			}
		}
	}
	if len(done) == 0 {
		return true
	}
	left := slices.DeleteFunc(slices.Clone(it.AreaIDs), func(a uuid.UUID) bool { return done[a] })
	if len(left) > 0 {
		it.ServiceMinutes *= float64(len(left)) / float64(len(it.AreaIDs))
		it.AreaIDs = left
		return true
	}
	// All of it is kept: only its later times are planned.
	m.decided[pieceKey{i, 1}] = last
	m.startOf[i] = last
	return it.After != nil
}
