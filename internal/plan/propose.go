package plan

import (
	"cmp"
	"math"
	"slices"

	"thirdcut/internal/civil"
	"thirdcut/internal/route"
)

// proposal reads the last pass out as visits with times, and says of all the rest why not.
func (m *maker) proposal() Proposal {
	out := Proposal{From: m.in.From, To: m.in.To, Visits: []Visit{}, Unplaced: []Unplaced{}, CrewDays: []CrewDay{}, Problems: m.problems}
	for s, stops := range m.last.Routes {
		if len(stops) > 0 {
			visits, day := m.drivenDay(s, stops)
			out.Visits = append(out.Visits, visits...)
			out.CrewDays = append(out.CrewDays, day)
		}
	}
	for _, g := range m.last.Unplaced {
		m.leaveFull(m.groups[g])
	}
	for _, k := range m.loose {
		out.Visits = append(out.Visits, keptVisit(k, k.Position))
	}
	out.Unplaced = append(out.Unplaced, m.unplaced...)
	slices.SortStableFunc(out.Visits, func(a, b Visit) int {
		return cmp.Or(a.Date.Compare(b.Date), slices.Compare(a.CrewID[:], b.CrewID[:]), cmp.Compare(a.Position, b.Position))
	})
	slices.SortStableFunc(out.CrewDays, func(a, b CrewDay) int {
		return cmp.Or(a.Date.Compare(b.Date), slices.Compare(a.CrewID[:], b.CrewID[:]))
	})
	slices.SortStableFunc(out.Unplaced, func(a, b Unplaced) int {
		return cmp.Or(cmp.Compare(a.ItemID, b.ItemID), cmp.Compare(a.Round, b.Round))
	})
	for _, d := range out.CrewDays {
		out.DrivingMinutes += d.DrivingMinutes
		out.WorkingMinutes += d.WorkingMinutes
	}
	out.DrivingMinutes, out.WorkingMinutes = hundredths(out.DrivingMinutes), hundredths(out.WorkingMinutes)
	return out
}

// drivenDay drives one route and writes down its visits: stops of one property in
// a row are one visit. Times of day are rounded up to the minute.
func (m *maker) drivenDay(s int, stops []int) ([]Visit, CrewDay) {
	cd := m.slots[s]
	c := m.crews[cd.crew]
	day := CrewDay{CrewID: c.ID, Date: cd.date}
	var visits []Visit
	clock, at := int(c.ShiftFrom)*60, c.depot()
	place := -1 // of the stop before; kept visits have places of their own
	work, drive, wait := 0, 0, 0
	for n, g := range stops {
		grp, st := m.groups[g], m.problem.Stops[g]
		same := st.Place == place
		leg := 0
		if !same {
			leg = m.drive(at, m.stopPoint(g))
		}
		setup := st.Setup
		if same {
			setup = 0
		}
		begin := clock + leg + setup
		if st.Open != 0 || st.Close != 0 {
			begin = max(begin, st.Open)
		}
		idle := begin - clock - leg - setup
		if n == 0 {
			day.Start, idle = minuteDown(begin-setup-leg), 0 // the crew leaves the depot later instead of waiting
		}
		work, drive, wait = work+setup+st.Service, drive+leg, wait+idle
		clock = begin + st.Service
		if same {
			v := &visits[len(visits)-1]
			v.Leave, v.Tasks = minuteUp(clock), append(v.Tasks, m.tasks(grp)...)
			continue
		}
		v := Visit{PropertyID: grp.property, Date: cd.date, CrewID: c.ID, Arrive: minuteUp(begin - setup), Leave: minuteUp(clock), Tasks: m.tasks(grp)}
		place, at = st.Place, m.stopPoint(g)
		if grp.kept >= 0 {
			v = keptVisit(m.kept[grp.kept].Kept, 0)
		}
		v.Position, v.DrivingMinutes = len(visits)+1, hundredths(float64(leg)/60)
		visits = append(visits, v)
	}
	home := m.drive(at, c.depot())
	day.End = minuteUp(clock + home)
	day.Stops = len(visits)
	day.DrivingMinutes = hundredths(float64(drive+home) / 60)
	day.WorkingMinutes = hundredths(float64(work) / 60)
	day.WaitingMinutes = hundredths(float64(wait) / 60)
	day.OvertimeMinutes = hundredths(float64(max(0, clock+home-int(c.ShiftTo)*60)) / 60)
	return visits, day
}

func (m *maker) stopPoint(g int) route.Point {
	return m.problem.Travel.(travel).points[m.problem.Stops[g].Place]
}

// tasks writes a group's pieces down, area by area; an item's minutes are shared
// evenly among its areas.
func (m *maker) tasks(g group) (list []Task) {
	for _, pc := range g.pieces {
		it := m.in.Items[pc.item]
		for _, a := range it.AreaIDs {
			list = append(list, Task{ItemID: it.ID, AreaID: a, Work: it.Work, Round: pc.round, Window: pc.window,
				Minutes: hundredths(it.ServiceMinutes / float64(len(it.AreaIDs)))})
		}
	}
	return list
}

// keptVisit shows a kept visit as it stands.
func keptVisit(k Kept, position int) Visit {
	leave := k.Arrive
	if finite(k.Minutes) {
		leave = min(1440, k.Arrive+civil.TimeOfDay(math.Ceil(k.Minutes)))
	}
	return Visit{KeptID: k.VisitID, PropertyID: k.PropertyID, CrewID: k.CrewID, Date: k.Date, Position: position,
		Arrive: k.Arrive, Leave: leave, Tasks: slices.Clone(k.Tasks)}
}

// leaveFull says which crews on which days had no room for a group. Later times
// that can wait for the next plan are no part of this one.
func (m *maker) leaveFull(g group) {
	var days []civil.Date
	for _, c := range g.choices {
		days = append(days, m.slots[c.slot].date)
	}
	slices.SortFunc(days, civil.Date.Compare)
	words := span(days)
	for _, pc := range g.pieces {
		if m.canWait(pc) {
			if pc.round == 1 {
				m.leave(pc, because(CauseNotDue, "Its best day is %s, after the last day planned, %s, and it lies on no crew's way before; it is left to the next plan.", short(pc.window.Best), short(m.in.To)))
			}
			continue
		}
		m.leave(pc, because(CauseFull, "All crews that can %s are full on the days it may be done: %s. Free a crew, allow overtime or widen the window.",
			m.in.Items[pc.item].Work.Words(), words))
	}
}

func minuteUp(seconds int) civil.TimeOfDay { return civil.TimeOfDay((seconds + 59) / 60) }

func minuteDown(seconds int) civil.TimeOfDay { return civil.TimeOfDay(max(0, seconds/60)) }

func hundredths(x float64) float64 { return math.Round(x*100) / 100 }
