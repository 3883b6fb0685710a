package route

import (
	"cmp"
	"math"
	"slices"
)

// Placed is Travel whose places have points on the map. The search then finds
// neighbours by the map instead of asking for every pair, which is what makes
// ten thousand stops quick to begin with; times still come from Seconds.
type Placed interface {
	Travel
	Point(place int) Point
}

// Point is where a place is.
func (m *Map) Point(place int) Point { return m.points[place] }

// stopsPerCell is how many stops a cell of the grid holds on average.
const stopsPerCell = 4

// grid sorts stops into square cells of the map. Neighbours steer the search
// and bind nothing, so degrees shrunk to the middle latitude are near enough.
type grid struct {
	x, y       []float64 // of every stop
	minX, minY float64
	size       float64 // of a cell, degrees of latitude
	cols, rows int
	cells      [][]int32
}

// newGrid returns nil where points are missing or lie all in one spot.
func newGrid(l *legs) *grid {
	placed, ok := l.travel.(Placed)
	if !ok || l.stops == 0 {
		return nil
	}
	g := &grid{x: make([]float64, l.stops), y: make([]float64, l.stops)}
	middle := 0.0
	for i := range l.stops {
		p := placed.Point(int(l.place[i]))
		if !p.Known() {
			return nil
		}
		g.x[i], g.y[i] = p.Longitude, p.Latitude
		middle += p.Latitude / float64(l.stops)
	}
	shrink := math.Max(0.01, math.Cos(middle*math.Pi/180))
	for i := range g.x {
		g.x[i] *= shrink
	}
	g.minX, g.minY = slices.Min(g.x), slices.Min(g.y)
	width, height := slices.Max(g.x)-g.minX, slices.Max(g.y)-g.minY
	if width+height == 0 {
		return nil
	}
	// A side of at least a thousandth of the whole keeps a string of stops along
	// one line from making more cells than stops can fill.
	g.size = math.Max(math.Sqrt(width*height*stopsPerCell/float64(l.stops)), (width+height)/1000)
	g.cols, g.rows = int(width/g.size)+1, int(height/g.size)+1
	g.cells = make([][]int32, g.cols*g.rows)
	for i := range l.stops {
		c, r := g.cell(i)
		g.cells[r*g.cols+c] = append(g.cells[r*g.cols+c], int32(i))
	}
	return g
}

func (g *grid) cell(i int) (col, row int) {
	return min(int((g.x[i]-g.minX)/g.size), g.cols-1), min(int((g.y[i]-g.minY)/g.size), g.rows-1)
}

// near lists the count stops nearest to stop i by the map, itself first. A stop
// in ring k+1 is at least k cells away, so the search ends when enough are nearer.
func (g *grid) near(i, count int) []int32 {
	type found struct {
		stop int32
		away float64
	}
	var list []found
	order := func(a, b found) int { return cmp.Or(cmp.Compare(a.away, b.away), cmp.Compare(a.stop, b.stop)) }
	col, row := g.cell(i)
	for ring := 0; ring <= max(g.cols, g.rows); ring++ {
		g.ring(col, row, ring, func(j int32) {
			away := math.Hypot(g.x[j]-g.x[i], g.y[j]-g.y[i])
			if int(j) == i {
				away = -1
			}
			list = append(list, found{j, away})
		})
		if len(list) < count {
			continue
		}
		slices.SortFunc(list, order)
		// What is cut off here is farther than count others, whatever comes.
		if list = list[:count]; list[count-1].away <= float64(ring)*g.size {
			break
		}
	}
	slices.SortFunc(list, order)
	out := make([]int32, min(count, len(list)))
	for k := range out {
		out[k] = list[k].stop
	}
	return out
}

// ring visits the stops of the cells that are ring cells away from one.
func (g *grid) ring(col, row, ring int, visit func(int32)) {
	for r := max(0, row-ring); r <= min(g.rows-1, row+ring); r++ {
		step := 1
		if r != row-ring && r != row+ring && ring > 0 {
			step = 2 * ring // inside, only the two ends belong to the ring
		}
		for c := col - ring; c <= col+ring; c += step {
			if c < 0 || c >= g.cols {
				continue
			}
			for _, j := range g.cells[r*g.cols+c] {
				visit(j)
			}
		}
	}
}

// cacheBits sizes the memory of legs asked for before, where there is no table:
// a million of them take 12 MB.
const cacheBits = 20

// legCache remembers legs by pair; a new one takes the place of whatever had its
// cell, so that its size never grows.
type legCache struct {
	key  []uint64 // pair + 1; 0: empty
	time []int32
}

func newLegCache() *legCache {
	return &legCache{key: make([]uint64, 1<<cacheBits), time: make([]int32, 1<<cacheBits)}
}

// cell is where a pair is kept: multiplicative hashing (Knuth, The Art of
// Computer Programming vol. 3, 6.4) with 2^64 over the golden ratio.
func (c *legCache) cell(pair uint64) uint64 { return pair * 0x9e3779b97f4a7c15 >> (64 - cacheBits) }
