package route

import (
	"cmp"
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The grid's neighbours are those of sorting all stops by the same distance.
func TestGridFindsTheNearest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 80).Draw(t, "stops")
		points := make([]Point, n)
		for i := range points {
			// Few different values, so that many stops share a spot or a line.
			points[i] = Point{39 + float64(rapid.IntRange(0, 12).Draw(t, "lat"))/100, -76 + float64(rapid.IntRange(0, 12).Draw(t, "lon"))/100}
		}
		m, err := NewMap(points)
		if err != nil {
			t.Fatal(err)
		}
		l := &legs{travel: m, stops: n}
		for i := range n {
			l.place = append(l.place, int32(i))
		}
		g := newGrid(l)
		if g == nil {
			if slices.ContainsFunc(points, func(p Point) bool { return p != points[0] }) {
				t.Fatal("no grid for stops in different spots")
			}
			return
		}
		count := rapid.IntRange(1, n).Draw(t, "count")
		for i := range n {
			all := make([]int32, n)
			for j := range all {
				all[j] = int32(j)
			}
			away := func(j int32) float64 {
				if int(j) == i {
					return -1
				}
				return math.Hypot(g.x[j]-g.x[i], g.y[j]-g.y[i])
			}
			slices.SortFunc(all, func(a, b int32) int { return cmp.Or(cmp.Compare(away(a), away(b)), cmp.Compare(a, b)) })
			if got := g.near(i, count); !slices.Equal(got, all[:count]) {
				t.Fatalf("stop %d: %v, want %v", i, got, all[:count])
			}
		}
	})
}

// Above MatrixLimit there is no table; what comes out must still pass the checker
// and repeat, and legs must be those that Travel tells.
func TestManyStopsWithoutATable(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	points := []Point{{39, -76.5}}
	p := Problem{}
	for i := 1; i <= MatrixLimit+100; i++ {
		points = append(points, Point{38.8 + 0.4*rng.Float64(), -76.7 + 0.4*rng.Float64()})
		p.Stops = append(p.Stops, Stop{Place: i, Service: 900, Setup: 60, UnplacedCost: 100_000})
	}
	for range 120 {
		p.Slots = append(p.Slots, Slot{To: 9 * 3600, Like: 1})
	}
	m, err := NewMap(points)
	if err != nil {
		t.Fatal(err)
	}
	p.Travel = m
	first, err := Solve(context.Background(), p, Options{Seed: 3, Iterations: 200})
	if err != nil {
		t.Fatal(err)
	}
	if v := Check(p, first); len(v) > 0 {
		t.Fatalf("broken: %+v", v)
	}
	again, err := Solve(context.Background(), p, Options{Seed: 3, Iterations: 200})
	if err != nil || again.Cost != first.Cost || !slices.EqualFunc(again.Routes, first.Routes, slices.Equal[[]int]) {
		t.Errorf("the same seed gave a cost of %d and then %d (%v)", first.Cost, again.Cost, err)
	}
	l, _, _, err := newLegs(p)
	if err != nil || l.table != nil {
		t.Fatalf("a table above the limit, or %v", err)
	}
	for range 20_000 {
		i, j := int32(rng.IntN(l.stops)), int32(rng.IntN(l.stops))
		want := 0
		if i != j {
			want = m.Seconds(int(i)+1, int(j)+1) + 60
		}
		for range 2 { // asked, then remembered
			if got := l.between(i, j); got != want {
				t.Fatalf("from stop %d to stop %d: %d s, want %d", i, j, got, want)
			}
		}
	}
}
