package route

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thirdcut/internal/fault"
)

// ownInstance makes an instance in Solomon's form: clusters round a depot in the
// middle, windows of a third of the day. It is ours; no best value is published,
// so that tests hold it against the checker and against the way of going to each
// stop alone.
func ownInstance(seed uint64, stops, vehicles int) string {
	rng := rand.New(rand.NewPCG(seed, 7))
	var b strings.Builder
	fmt.Fprintf(&b, "own-%d\n\nVEHICLE\nNUMBER     CAPACITY\n  %d         200\n\nCUSTOMER\nCUST NO.   XCOORD.   YCOORD.\n \n    0  50  50  0  0  480  0\n", seed, vehicles)
	for i := 1; i <= stops; i++ {
		x, y := 15+70*rng.IntN(2)+rng.IntN(15), 15+70*rng.IntN(2)+rng.IntN(15)
		ready := 60 + rng.IntN(160)
		fmt.Fprintf(&b, "    %d  %d  %d  %d  %d  %d  10\n", i, x, y, 5+rng.IntN(20), ready, ready+160)
	}
	return b.String()
}

func TestSolomonFormIsReadToTheNumber(t *testing.T) {
	const text = "tiny\r\n\r\nVEHICLE\r\nNUMBER CAPACITY\r\n 2 50\r\n\r\nCUSTOMER\r\nCUST NO. XCOORD.\r\n\r\n0 0 0 0 0 100 0\r\n1 3 4 10 20 30 5\r\n7 1 1 15 0 0 2.5\r\n"
	for _, c := range []struct {
		rounding                  Rounding
		toFirst, toSecond, due, s int
		unit                      float64
	}{
		{Exact, 5000, 1414, 100_000, 2500, 1000}, // sqrt 2 = 1.41421
		{TruncateTenths, 50, 14, 1000, 25, 10},
	} {
		in, err := ParseSolomon(text, c.rounding)
		if err != nil {
			t.Fatal(err)
		}
		p := in.Problem
		if in.Name != "tiny" || in.Unit != c.unit || !slices.Equal(in.IDs, []int{1, 7}) || len(p.Slots) != 2 || p.Slots[1].Capacity[0] != 50 || p.Slots[0].To != c.due {
			t.Errorf("%s: read as %+v", c.rounding, in)
		}
		if p.Travel.Seconds(0, 1) != c.toFirst || p.Travel.Seconds(2, 0) != c.toSecond {
			t.Errorf("%s: ways of %d and %d, want %d and %d", c.rounding, p.Travel.Seconds(0, 1), p.Travel.Seconds(2, 0), c.toFirst, c.toSecond)
		}
		if s := p.Stops[0]; s.Open != int(20*c.unit) || s.Close != int(30*c.unit) || s.Service != int(5*c.unit) || s.Demand[0] != 10 {
			t.Errorf("%s: stop 1 is %+v", c.rounding, s)
		}
		if s := p.Stops[1]; s.Service != c.s || s.Close == 0 {
			t.Errorf("%s: stop 7 is %+v; a window from 0 to 0 must not mean any time", c.rounding, s)
		}
	}
}

func TestBadInstancesAreNamedByTheirLine(t *testing.T) {
	const head = "n\nVEHICLE\nNUMBER CAPACITY\n2 50\nCUSTOMER\n"
	for _, c := range []struct{ text, says string }{
		{"", "no nodes"},
		{head, "no nodes"},
		{"n\n0 50\n", "Line 2 gives 0 vehicles"},
		{"n\n2.5 50\n", "Line 2 gives 2.5 vehicles"},
		{"n\n2\n", "Line 2 has 1 numbers"},
		{head + "0 0 0 0 0 100\n", "Line 6 has 6 numbers"},
		{head + "0 0 0 0 0 100 0\n1 3 x 10 20 30 5\n", `Line 7 has "x"`},
		{head + "0 0 0 0 0 NaN 0\n", `Line 6 has "NaN"`},
		{head + "0 0 0 0 0 1e300 0\n", `Line 6 has "1e300"`},
		{head + "0 0 0 0 50 50 0\n", "Line 6 is the depot"},
		{head + "0 0 0 0 0 100 0\n1 3 4 10 40 30 5\n", "Line 7 is ready at 40 and due at 30"},
		{head + "0 0 0 0 0 100 0\n1 3 4 -1 20 30 5\n", "Line 7 has a demand of -1"},
		{head + "0 0 0 0 0 100 0\n1 3 4 1 20 30 -5\n", "Line 7 has a service time of -5"},
		{head + "0 0 0 0 0 100 0\n1.5 3 4 1 20 30 5\n", "Line 7 has the id 1.5"},
	} {
		_, err := ParseSolomon(c.text, Exact)
		if !fault.HasCode(err, "bad-instance") || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: %v; want a bad-instance that says %q", c.text, err, c.says)
		}
	}
	if _, err := ParseSolomon(head+"0 0 0 0 0 100 0\n", "nint"); !fault.HasCode(err, "bad-rounding") {
		t.Errorf("a rounding of another form: %v", err)
	}
}

func TestOwnInstanceIsSolvedWithinItsLimits(t *testing.T) {
	in, err := ParseSolomon(ownInstance(3, 60, 12), TruncateTenths)
	if err != nil {
		t.Fatal(err)
	}
	s, err := Solve(context.Background(), in.Problem, Options{Seed: 1, Iterations: 3000})
	if err != nil {
		t.Fatal(err)
	}
	if v := Check(in.Problem, s); len(v) > 0 || len(s.Unplaced) > 0 {
		t.Fatalf("%d unplaced, broken: %+v", len(s.Unplaced), v)
	}
	alone, used := 0, 0
	for i := range in.Problem.Stops {
		alone += 2 * in.Problem.Travel.Seconds(0, i+1)
	}
	for _, r := range s.Routes {
		if len(r) > 0 {
			used++
		}
	}
	// Sixty stops in four corners: a route of one corner saves at least its
	// stops' ways but one, so less than a third of going to each alone is left.
	if s.Travel*3 > alone || used > 12 {
		t.Errorf("%d of travel in %d routes, going to each stop alone takes %d", s.Travel, used, alone)
	}
	longer, err := Solve(context.Background(), in.Problem, Options{Seed: 1, Iterations: 3000, Start: &s})
	if err != nil || longer.Cost > s.Cost {
		t.Errorf("searching on from a cost of %d gave %d (%v)", s.Cost, longer.Cost, err)
	}
}

func TestNoTextPanicsTheReader(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOf(rapid.SampledFrom([]rune("0123456789.-+eNaVx \n\r"))).Draw(t, "text")
		in, err := ParseSolomon("n\nVEHICLE\n3 40\n"+text, Exact)
		if err != nil {
			return
		}
		if len(in.IDs) != len(in.Problem.Stops) || len(in.Problem.Slots) != 3 || math.IsNaN(in.Unit) {
			t.Fatalf("%q was read as %+v", text, in)
		}
		if err := faultIn(in.Problem); err != nil {
			t.Fatalf("%q was read as a problem that is refused: %v", text, err)
		}
	})
}
