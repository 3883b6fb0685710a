package plan

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/turf"
)

var monday = civil.MustDate("2026-06-01")

func ptr[T any](x T) *T { return &x }

// id makes the same key for the same kind and number.
func id(kind string, n int) uuid.UUID {
	return uuid.NewSHA1(uuid.NameSpaceOID, fmt.Appendf(nil, "%s %d", kind, n))
}

// town is a made-up company: crews at two depots, lawns in a half-degree square,
// every lawn mown about weekly, some fed and some sprayed in the same weeks.
func town(seed uint64, properties, crews, days int) Input {
	rng := rand.New(rand.NewPCG(seed, 1))
	in := Input{From: monday, To: monday.AddDays(days - 1), Properties: map[uuid.UUID]Property{}, ArrivalMinutes: 4, Seed: seed}
	for c := range crews {
		crew := Crew{ID: id("crew", c), Name: fmt.Sprint("Crew ", c+1), DepotLatitude: ptr(39.0 + 0.2*float64(c%2)),
			DepotLongitude: ptr(-76.8 + 0.1*float64(c%2)), ShiftFrom: 420, ShiftTo: 960, MaxOvertimeMinutes: 30,
			WorkDays: []int{1, 2, 3, 4, 5, 6}, Abilities: []turf.Work{turf.Mow, turf.Edge, turf.Spread, turf.Look},
			Machines: []Machine{{Kind: "rotary", HeightMinIn: 1.5, HeightMaxIn: 4.5, WidthIn: 52}}}
		if c%2 == 0 {
			crew.Abilities = append(crew.Abilities, turf.Spray)
			crew.Licenses = []License{{Kind: "pesticide", From: monday.AddDays(-100), To: monday.AddDays(300)}}
			crew.Machines = append(crew.Machines, Machine{Kind: "reel", HeightMinIn: 0.4, HeightMaxIn: 1.5, WidthIn: 26})
		}
		in.Crews = append(in.Crews, crew)
	}
	for p := range properties {
		home := Property{Name: fmt.Sprint("Property ", p), Latitude: ptr(38.95 + 0.3*rng.Float64()), Longitude: ptr(-76.9 + 0.3*rng.Float64())}
		if p%11 == 0 {
			home.ClosedWeekdays = []int{rng.IntN(5) + 1}
		}
		if p%7 == 0 {
			home.AllowedFrom, home.AllowedTo = ptr(civil.TimeOfDay(480)), ptr(civil.TimeOfDay(900))
		}
		in.Properties[id("property", p)] = home
		opens := rng.IntN(7)
		mow := Item{ID: fmt.Sprint("mow ", p), PropertyID: id("property", p), AreaIDs: []uuid.UUID{id("area", p)}, Work: turf.Mow,
			Window: weekly(monday.AddDays(opens - 3)), ServiceMinutes: 15 + 30*rng.Float64(), CuttingHeightIn: 3,
			After: func(d civil.Date) turf.Window { return weekly(d.AddDays(4)) }}
		if p%9 == 0 {
			mow.CuttingHeightIn, mow.Mower = 1, turf.Reel
		}
		in.Items = append(in.Items, mow)
		if p%4 == 0 {
			in.Items = append(in.Items, Item{ID: fmt.Sprint("feed ", p), PropertyID: id("property", p), AreaIDs: []uuid.UUID{id("area", p)},
				Work: turf.Spread, ServiceMinutes: 12, Window: turf.Window{Work: turf.Spread, Opens: monday, Best: monday.AddDays(opens), Closes: monday.AddDays(opens + 4)}})
		}
		if p%10 == 0 {
			in.Items = append(in.Items, Item{ID: fmt.Sprint("spray ", p), PropertyID: id("property", p), AreaIDs: []uuid.UUID{id("area", p)},
				Work: turf.Spray, ServiceMinutes: 10, NeedsLicense: "pesticide",
				Window: turf.Window{Work: turf.Spray, Opens: monday, Best: monday.AddDays(opens), Closes: monday.AddDays(opens + 5)}})
		}
	}
	return in
}

// weekly is a mowing window of five days with its best day the third.
func weekly(opens civil.Date) turf.Window {
	return turf.Window{Work: turf.Mow, Opens: opens, Best: opens.AddDays(2), Closes: opens.AddDays(4)}
}

func mustMake(t testing.TB, in Input) Proposal {
	t.Helper()
	p, err := Make(context.Background(), in, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func report(t interface{ Errorf(string, ...any) }, list []Violation) {
	for _, v := range list {
		t.Errorf("%s (%s): %s", v.Code, v.ItemID, v.Why)
	}
}

func TestATownIsPlanned(t *testing.T) {
	in := town(1, 40, 3, 12)
	in.Iterations = 3000
	p := mustMake(t, in)
	report(t, Check(in, p))
	for _, u := range p.Unplaced {
		t.Errorf("unplaced %s time %d: %s", u.ItemID, u.Round, u.Why)
	}
	later := 0
	for _, v := range p.Visits {
		for _, task := range v.Tasks {
			if task.Round > 1 {
				later++
			}
		}
	}
	if later < 30 {
		t.Errorf("%d later cuts in a fortnight of 40 weekly lawns; nearly every lawn comes up again", later)
	}
}

// muddle spoils a town in many ways at once.
func muddle(t *rapid.T) Input {
	in := town(rapid.Uint64Range(0, 50).Draw(t, "town"), rapid.IntRange(0, 14).Draw(t, "properties"),
		rapid.IntRange(0, 3).Draw(t, "crews"), rapid.IntRange(1, 12).Draw(t, "days"))
	in.Iterations = 150
	odd := func(name string) bool { return rapid.IntRange(0, 5).Draw(t, name) == 0 }
	number := rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), -1, 0, 0.01, 500, 5000})
	minute := rapid.Map(rapid.IntRange(-60, 1500), func(n int) civil.TimeOfDay { return civil.TimeOfDay(n) })
	for i := range in.Crews {
		c := &in.Crews[i]
		if odd("crew") {
			c.ShiftFrom, c.ShiftTo = minute.Draw(t, "from"), minute.Draw(t, "to")
		}
		if odd("depot") {
			c.DepotLatitude = rapid.SampledFrom([]*float64{nil, ptr(math.NaN()), ptr(91.0)}).Draw(t, "latitude")
		}
		if odd("licence") {
			c.Licenses = nil
		}
		if odd("days off") {
			c.DaysOff, c.WorkDays = []civil.Date{monday.AddDays(1)}, []int{1, 2, 9}
		}
		if odd("same crew") {
			c.ID = in.Crews[0].ID
		}
	}
	for i := range in.Items {
		it := &in.Items[i]
		if odd("item") {
			it.ServiceMinutes = number.Draw(t, "minutes")
		}
		if odd("height") {
			it.CuttingHeightIn = number.Draw(t, "height")
		}
		if odd("key") {
			it.ID = rapid.SampledFrom([]string{"", in.Items[0].ID}).Draw(t, "item key")
		}
		if odd("window") {
			it.Window.Opens = monday.AddDays(rapid.IntRange(-40, 40).Draw(t, "opens"))
		}
		if odd("struck") {
			it.Window.Struck = []turf.StruckDay{{Date: it.Window.Best, Reason: "wet"}}
		}
		if odd("after") && it.After != nil {
			it.After = func(d civil.Date) turf.Window { return turf.Window{Opens: d, Best: d, Closes: d.AddDays(1)} }
		}
		if odd("work") {
			it.Work = rapid.SampledFrom(append([]turf.Work{"dig"}, turf.AllWork...)).Draw(t, "work")
		}
		if odd("refused") {
			it.Refusal = "over the label's rate"
		}
		if odd("previous") {
			in.Previous = map[string]Previous{it.ID: {CrewID: id("crew", 0), Date: monday, Promised: true}}
		}
		if odd("two areas") {
			it.AreaIDs = append(it.AreaIDs, id("second area", i))
		}
		if odd("kept") {
			k := Kept{VisitID: id("visit", i), PropertyID: it.PropertyID, CrewID: id("crew", i%2), Date: monday.AddDays(rapid.IntRange(-2, 13).Draw(t, "kept day")),
				Position: rapid.IntRange(0, 3).Draw(t, "position"), Arrive: minute.Draw(t, "arrive"), Minutes: 20,
				Tasks: []Task{{ItemID: it.ID, AreaID: it.AreaIDs[0], Work: it.Work}}}
			if odd("kept minutes") {
				k.Minutes = number.Draw(t, "stay")
			}
			if odd("kept task") {
				k.Tasks = nil
			}
			if odd("kept key") {
				k.VisitID = uuid.Nil
			}
			in.Kept = append(in.Kept, k)
		}
	}
	for k, p := range in.Properties {
		switch rapid.IntRange(0, 12).Draw(t, "property") {
		case 0:
			p.Latitude = nil
		case 1:
			p.Longitude = ptr(math.Inf(1))
		case 2:
			p.AllowedFrom, p.AllowedTo = ptr(minute.Draw(t, "allowed from")), ptr(minute.Draw(t, "allowed to"))
		case 3:
			p.ClosedWeekdays = []int{1, 2, 3, 4, 5, 6, 7}
		case 4:
			delete(in.Properties, k)
			continue
		}
		in.Properties[k] = p
	}
	return in
}

func TestEveryPlanPassesTheChecker(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := muddle(t)
		p, err := Make(context.Background(), in, Options{})
		if err != nil {
			t.Fatalf("a range of days in order was refused: %v", err)
		}
		report(t, Check(in, p))
		for _, u := range p.Unplaced {
			if u.Code == "" || u.Why == "" {
				t.Errorf("%q is unplaced without a cause", u.ItemID)
			}
		}
	})
}

func TestSameSeedSamePlan(t *testing.T) {
	in := town(3, 25, 2, 8)
	in.Iterations = 1000
	if a, b := mustMake(t, in), mustMake(t, in); !reflect.DeepEqual(a, b) {
		t.Error("one input gave two plans")
	}
}

func TestImpossibleRangesAreFaults(t *testing.T) {
	for _, in := range []Input{{}, {From: monday}, {From: monday, To: monday.AddDays(-1)}, {From: monday, To: monday.AddDays(MaxDays)}} {
		if _, err := Make(context.Background(), in, Options{}); !fault.HasCode(err, "bad-range") {
			t.Errorf("%s to %s: got %v", in.From, in.To, err)
		}
	}
	if _, err := Make(context.Background(), Input{From: monday, To: monday, ArrivalMinutes: math.NaN()}, Options{}); !fault.HasCode(err, "bad-arrival") {
		t.Errorf("got %v", err)
	}
}

func TestCausesAreNamed(t *testing.T) {
	tests := []struct {
		code, words string
		spoil       func(*Input)
	}{
		{CauseNotOnMap, "not placed on the map", func(in *Input) { in.Properties[id("property", 1)] = Property{} }},
		{CauseNoAbility, "No crew has the ability to mow.", func(in *Input) { in.Crews[0].Abilities = nil }},
		{CauseNoAbility, "works on a day in its window (Mon 1 Jun to Wed 3 Jun)", func(in *Input) {
			in.Items[0].Window = turf.Window{Opens: monday, Best: monday, Closes: monday.AddDays(2)}
			in.Crews[0].WorkDays = []int{6}
		}},
		{CauseNoMachine, "cuts at 0.75 in", func(in *Input) { in.Items[0].CuttingHeightIn, in.Crews[0].Machines = 0.75, in.Crews[0].Machines[:1] }},
		{CauseNoLicense, "pesticide licence in force", func(in *Input) { in.Items[0].NeedsLicense, in.Crews[0].Licenses = "pesticide", nil }},
		{CauseClosed, "closed on every day", func(in *Input) {
			p := in.Properties[id("property", 1)]
			p.ClosedWeekdays = []int{1, 2, 3, 4, 5, 6, 7}
			in.Properties[id("property", 1)] = p
		}},
		{CauseStruck, "soil too wet", func(in *Input) {
			in.Items[0].Window = turf.Window{Opens: monday, Best: monday, Closes: monday, Struck: []turf.StruckDay{{Date: monday, Reason: "soil too wet"}}}
		}},
		{CauseNoWindow, "dormant", func(in *Input) { in.Items[0].Window = turf.Window{Reason: "The grass is dormant."} }},
		{CauseNotDue, "opens on", func(in *Input) { in.Items[0].Window = weekly(monday.AddDays(30)) }},
		{CauseOverdue, "closed on", func(in *Input) { in.Items[0].Window = weekly(monday.AddDays(-30)) }},
		{CauseRefused, "over the label's rate", func(in *Input) { in.Items[0].Refusal = "over the label's rate" }},
		{CauseNoCrew, "No crew can be planned for", func(in *Input) { in.Crews = nil }},
		{CauseTooLong, "fits into no crew's shift", func(in *Input) { in.Items[0].ServiceMinutes = 600 }},
		{CauseBadInput, "NaN minutes", func(in *Input) { in.Items[0].ServiceMinutes = math.NaN() }},
	}
	for _, test := range tests {
		in := town(1, 2, 1, 6)
		in.Items, in.Iterations = in.Items[slices.IndexFunc(in.Items, func(it Item) bool { return it.ID == "mow 1" }):], 100
		test.spoil(&in)
		p := mustMake(t, in)
		hit := slices.ContainsFunc(p.Unplaced, func(u Unplaced) bool {
			return u.ItemID == "mow 1" && u.Code == test.code && contains(u.Why, test.words)
		})
		if !hit {
			t.Errorf("%s %q not among %+v", test.code, test.words, p.Unplaced)
		}
		report(t, Check(in, p))
	}
}

func contains(s, part string) bool {
	for i := 0; i+len(part) <= len(s); i++ {
		if s[i:i+len(part)] == part {
			return true
		}
	}
	return false
}

func TestFullCrewsAreNamedWithTheirDays(t *testing.T) {
	in := town(2, 60, 1, 2)
	for i := range in.Items {
		in.Items[i].Window, in.Items[i].After = turf.Window{Opens: monday, Best: monday, Closes: monday.AddDays(1)}, nil
	}
	in.Iterations = 500
	p := mustMake(t, in)
	report(t, Check(in, p))
	if !slices.ContainsFunc(p.Unplaced, func(u Unplaced) bool {
		return u.Code == CauseFull && contains(u.Why, "full on the days it may be done: Mon 1 Jun to Tue 2 Jun")
	}) {
		t.Errorf("one crew cannot mow 60 lawns in two days, yet: %+v", p.Unplaced)
	}
}
