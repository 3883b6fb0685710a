package route

import (
	"context"
	"math"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"thirdcut/internal/fault"
)

// drawProblem makes any sensible problem: windows, slots, setup, loads, waiting
// and overtime prices, fixed beginnings and stops that stay.
func drawProblem(t *rapid.T) Problem {
	places := rapid.IntRange(1, 12).Draw(t, "places")
	table := make(Table, places)
	for i := range table {
		table[i] = make([]int, places)
		for j := range table[i] {
			if i != j {
				table[i][j] = rapid.IntRange(0, 900).Draw(t, "seconds")
			}
		}
	}
	p := Problem{Travel: table}
	at := rapid.IntRange(0, places-1)
	for range rapid.IntRange(1, 5).Draw(t, "slots") {
		from := rapid.IntRange(-500, 500).Draw(t, "from")
		p.Slots = append(p.Slots, Slot{
			Start: at.Draw(t, "start"), End: at.Draw(t, "end"), From: from,
			To:          from + rapid.IntRange(1, 6000).Draw(t, "shift"),
			MaxOvertime: rapid.SampledFrom([]int{0, 0, 600}).Draw(t, "overtime"),
			WaitPercent: rapid.SampledFrom([]int{0, 50, 100}).Draw(t, "wait"),
			FixedCost:   rapid.SampledFrom([]int{0, 700}).Draw(t, "fixed"),
			OpenEnd:     rapid.Bool().Draw(t, "open end"),
			Capacity:    []int{rapid.IntRange(0, 30).Draw(t, "capacity")},
		})
	}
	for range rapid.IntRange(0, 14).Draw(t, "stops") {
		s := Stop{Place: at.Draw(t, "place"), Service: rapid.IntRange(0, 1500).Draw(t, "service"),
			Setup: rapid.SampledFrom([]int{0, 120}).Draw(t, "setup"), UnplacedCost: 50_000,
			Demand: []int{rapid.IntRange(0, 9).Draw(t, "demand")}}
		if rapid.Bool().Draw(t, "window") {
			s.Open = rapid.IntRange(-500, 4000).Draw(t, "open")
			s.Close = s.Open + rapid.IntRange(0, 3000).Draw(t, "width")
		}
		if rapid.Bool().Draw(t, "choosy") {
			s.Slots = []SlotCost{}
			for r := range p.Slots {
				if rapid.Bool().Draw(t, "slot") {
					s.Slots = append(s.Slots, SlotCost{r, rapid.IntRange(0, 2000).Draw(t, "slot cost")})
				}
			}
		}
		if rapid.IntRange(0, 6).Draw(t, "pin") == 0 {
			r := rapid.IntRange(0, len(p.Slots)-1).Draw(t, "pin slot")
			s.Slots, s.Stays = []SlotCost{{r, 0}}, true
		}
		p.Stops = append(p.Stops, s)
	}
	return p
}

func TestSolutionsPassTheChecker(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		s, err := Solve(context.Background(), p, Options{Seed: rapid.Uint64().Draw(t, "seed"), Iterations: 300})
		if err != nil {
			t.Fatalf("a sensible problem was refused: %v", err)
		}
		for _, v := range Check(p, s) {
			t.Errorf("%s: %s", v.Code, v.Why)
		}
	})
}

func TestSameSeedSameSolution(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, seed := drawProblem(t), rapid.Uint64().Draw(t, "seed")
		a, _ := Solve(context.Background(), p, Options{Seed: seed, Iterations: 200})
		b, _ := Solve(context.Background(), p, Options{Seed: seed, Iterations: 200})
		if !reflect.DeepEqual(a, b) {
			t.Fatalf("one seed gave %+v and %+v", a, b)
		}
	})
}

func TestNoInputPanics(t *testing.T) {
	any := rapid.OneOf(rapid.IntRange(-3, 20), rapid.SampledFrom([]int{math.MinInt64, math.MaxInt64, inputLimit, inputLimit + 1, -1}))
	rapid.Check(t, func(t *rapid.T) {
		p := Problem{Travel: Table{{0, 5}, {5, 0}}}
		for range rapid.IntRange(0, 3).Draw(t, "slots") {
			p.Slots = append(p.Slots, Slot{Start: any.Draw(t, ""), End: any.Draw(t, ""), From: any.Draw(t, ""), To: any.Draw(t, ""),
				MaxOvertime: any.Draw(t, ""), Capacity: []int{any.Draw(t, "")}, FixedCost: any.Draw(t, ""),
				WaitPercent: any.Draw(t, ""), Head: rapid.SliceOfN(any, 0, 2).Draw(t, ""), Like: any.Draw(t, "")})
		}
		for range rapid.IntRange(0, 3).Draw(t, "stops") {
			p.Stops = append(p.Stops, Stop{Place: any.Draw(t, ""), Service: any.Draw(t, ""), Setup: any.Draw(t, ""), Open: any.Draw(t, ""),
				Close: any.Draw(t, ""), Slots: []SlotCost{{any.Draw(t, ""), any.Draw(t, "")}}, Demand: []int{any.Draw(t, "")},
				UnplacedCost: any.Draw(t, ""), Stays: rapid.Bool().Draw(t, "")})
		}
		s, err := Solve(context.Background(), p, Options{Iterations: 20})
		if err != nil && fault.As(err) == nil {
			t.Fatalf("not a fault: %v", err)
		}
		if err == nil && len(Check(p, s)) > 0 {
			t.Fatalf("%+v", Check(p, s))
		}
		Check(p, Solution{Routes: [][]int{{any.Draw(t, ""), 0}}, Unplaced: []int{any.Draw(t, "")}})
	})
}

// square is a depot and stops on the corners of a 10-second square.
func square() Problem {
	return Problem{
		Travel: Table{{0, 10, 14, 10}, {10, 0, 10, 14}, {14, 10, 0, 10}, {10, 14, 10, 0}},
		Stops: []Stop{{Place: 1, Service: 5, UnplacedCost: 1000}, {Place: 2, Service: 5, UnplacedCost: 1000},
			{Place: 3, Service: 5, UnplacedCost: 1000}},
		Slots: []Slot{{To: 1000}},
	}
}

func TestSquareIsDrivenAround(t *testing.T) {
	s, err := Solve(context.Background(), square(), Options{Iterations: 100})
	if err != nil || s.Travel != 40 || s.Cost != 40 || len(s.Unplaced) != 0 {
		t.Fatalf("got %+v, %v; the way round the square is 40 s", s, err)
	}
}

// TestBestOfAll compares with every way to put four stops into two slots. Travel
// obeys the triangle inequality and nothing is pinned: elsewhere a stop may be
// reachable only by way of another, which one insertion at a time cannot see.
func TestBestOfAll(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		p.Stops = p.Stops[:min(4, len(p.Stops))]
		p.Slots = p.Slots[:min(2, len(p.Slots))]
		for i := range p.Stops {
			s := &p.Stops[i]
			s.Slots = slices.DeleteFunc(slices.Clone(s.Slots), func(c SlotCost) bool { return c.Slot >= len(p.Slots) })
			if s.Setup = 0; s.Stays {
				s.Slots, s.Stays = nil, false
			}
		}
		shorten(p.Travel.(Table))
		s, err := Solve(context.Background(), p, Options{Iterations: 2000})
		if err != nil {
			t.Fatal(err)
		}
		if want := bruteForce(p); s.Cost > want {
			t.Fatalf("cost %d, the best of all is %d", s.Cost, want)
		}
	})
}

// shorten makes every way the shortest one (Floyd and Warshall).
func shorten(t Table) {
	for k := range t {
		for i := range t {
			for j := range t {
				t[i][j] = min(t[i][j], t[i][k]+t[k][j])
			}
		}
	}
}

// bruteForce tries every way to put the stops into the slots, or leave them out,
// judged by the checker's own reckoning of a cost.
func bruteForce(p Problem) int {
	best := math.MaxInt
	s := Solution{Routes: make([][]int, len(p.Slots))}
	var rec func(i int)
	rec = func(i int) {
		if i == len(p.Stops) {
			c := checker{p: p, times: make([]int, len(p.Stops))}
			for r := range s.Routes {
				c.route(r, s.Routes[r])
			}
			c.counts(s)
			if len(c.found) == 0 {
				best = min(best, c.cost)
			}
			return
		}
		s.Unplaced = append(s.Unplaced, i)
		rec(i + 1)
		s.Unplaced = s.Unplaced[:len(s.Unplaced)-1]
		for r := range s.Routes {
			old := s.Routes[r]
			for k := 0; k <= len(old); k++ {
				s.Routes[r] = slices.Insert(slices.Clone(old), k, i)
				rec(i + 1)
			}
			s.Routes[r] = old
		}
	}
	rec(0)
	return best
}

func TestFaultsAreSaid(t *testing.T) {
	tests := []struct {
		name, code string
		spoil      func(*Problem)
	}{
		{"no crew", "no-crew", func(p *Problem) { p.Slots = nil }},
		{"no travel", "no-travel", func(p *Problem) { p.Travel = nil }},
		{"zero shift", "zero-shift", func(p *Problem) { p.Slots[0].To = 0 }},
		{"window closes first", "zero-window", func(p *Problem) { p.Stops[1].Open, p.Stops[1].Close = 9, 8 }},
		{"unknown place", "bad-place", func(p *Problem) { p.Stops[1].Place = 4 }},
		{"negative service", "bad-service", func(p *Problem) { p.Stops[1].Service = -1 }},
		{"negative travel", "bad-travel", func(p *Problem) { p.Travel.(Table)[2][1] = -1 }},
		{"slot named twice", "bad-slot", func(p *Problem) { p.Stops[0].Slots = []SlotCost{{0, 1}, {0, 2}} }},
		{"head not kept", "bad-pin", func(p *Problem) { p.Slots[0].Head = []int{1} }},
	}
	for _, test := range tests {
		p := square()
		test.spoil(&p)
		if _, err := Solve(context.Background(), p, Options{}); !fault.HasCode(err, test.code) {
			t.Errorf("%s: got %v, want a fault coded %s", test.name, err, test.code)
		}
	}
	if _, err := NewMap([]Point{{math.NaN(), 0}}); !fault.HasCode(err, "bad-point") {
		t.Errorf("a latitude that is no number: got %v", err)
	}
	if _, err := NewTable([][]int{{0, 1}}); !fault.HasCode(err, "bad-table") {
		t.Errorf("a table that is not square: got %v", err)
	}
}

func TestCheckerFindsEachViolation(t *testing.T) {
	good := Solution{Routes: [][]int{{0, 1, 2}}, Cost: 40, Travel: 40}
	if v := Check(square(), good); len(v) != 0 {
		t.Fatalf("a right solution is called wrong: %+v", v)
	}
	tests := []struct {
		code         string
		found, limit int
		spoil        func(*Problem, *Solution)
	}{
		{BadProblem, 0, 0, func(p *Problem, _ *Solution) { p.Slots[0].To = 0 }},
		{UnknownStop, 7, 2, func(_ *Problem, s *Solution) { s.Routes[0][1] = 7 }},
		{TwicePlanned, 2, 1, func(_ *Problem, s *Solution) { s.Routes[0][1] = 0 }},
		{Missing, 0, 1, func(_ *Problem, s *Solution) { s.Routes[0] = s.Routes[0][:2] }},
		{SlotForbidden, 0, -1, func(p *Problem, _ *Solution) { p.Stops[1].Slots = []SlotCost{} }},
		{TooLate, 25, 24, func(p *Problem, _ *Solution) { p.Stops[1].Open, p.Stops[1].Close = 1, 24 }},
		{OverCapacity, 9, 8, func(p *Problem, _ *Solution) {
			p.Slots[0].Capacity = []int{8}
			p.Stops[0].Demand, p.Stops[2].Demand = []int{4}, []int{5}
		}},
		{OverShift, 55, 54, func(p *Problem, _ *Solution) { p.Slots[0].To = 54 }},
		{HeadMoved, -1, 1, func(p *Problem, _ *Solution) {
			p.Slots[0].Head = []int{2}
			p.Stops[2].Slots, p.Stops[2].Stays = []SlotCost{{0, 0}}, true
		}},
		{StayMoved, 0, -1, func(p *Problem, _ *Solution) {
			p.Slots = append(p.Slots, Slot{To: 10})
			p.Stops[1].Slots, p.Stops[1].Stays = []SlotCost{{1, 0}}, true
		}},
		{WrongCost, 39, 40, func(_ *Problem, s *Solution) { s.Cost = 39 }},
		{WrongRoutes, 2, 1, func(_ *Problem, s *Solution) { s.Routes = append(s.Routes, nil) }},
	}
	for _, test := range tests {
		p, s := square(), Solution{Routes: [][]int{{0, 1, 2}}, Cost: 40, Travel: 40}
		test.spoil(&p, &s)
		for len(s.Routes) < len(p.Slots) {
			s.Routes = append(s.Routes, nil)
		}
		hit := slices.ContainsFunc(Check(p, s), func(v Violation) bool {
			return v.Code == test.code && v.Found == test.found && v.Limit == test.limit && v.Why != ""
		})
		if !hit {
			t.Errorf("%s with %d against %d not found in %+v", test.code, test.found, test.limit, Check(p, s))
		}
	}
}

func TestHeadStaysFirst(t *testing.T) {
	p := square()
	p.Slots[0].Head = []int{1, 0}
	for _, h := range p.Slots[0].Head {
		p.Stops[h].Slots, p.Stops[h].Stays = []SlotCost{{0, 0}}, true
	}
	s, err := Solve(context.Background(), p, Options{Iterations: 500})
	if err != nil || !slices.Equal(s.Routes[0], []int{1, 0, 2}) {
		t.Fatalf("got %+v, %v; the fixed beginning is 1, 0", s, err)
	}
	if v := Check(p, s); len(v) > 0 {
		t.Errorf("%+v", v)
	}
}

func TestStoppedSearchKeepsItsBest(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	stop()
	s, err := Solve(ctx, square(), Options{})
	if err != nil || len(s.Unplaced) != 0 || len(Check(square(), s)) != 0 {
		t.Errorf("got %+v, %v", s, err)
	}
}

func TestDriveSeconds(t *testing.T) {
	// One degree of a meridian is 111.195 km on a sphere of radius 6371.0088 km.
	a, b := Point{39, -76.6}, Point{40, -76.6}
	if km := GreatCircleKm(a, b); math.Abs(km-111.195) > 0.001 {
		t.Errorf("one degree north is %.4f km, want 111.195", km)
	}
	if s := DriveSeconds(a, a); s != 0 {
		t.Errorf("no way takes %d s", s)
	}
	rapid.Check(t, func(t *rapid.T) {
		step := rapid.Float64Range(0, 1).Draw(t, "step")
		near, far := Point{39 + step/2, -76.6}, Point{39 + step, -76.6}
		if DriveSeconds(a, near) > DriveSeconds(a, far) {
			t.Fatalf("half the way takes longer")
		}
	})
}
