package route

// legs answers the time between two nodes. Nodes are the stops in their order,
// then, for every slot, nothing more: depots are nodes n, n+1, ... by place.
type legs struct {
	travel  Travel
	place   []int32 // of every node
	setup   []int32 // of every node; zero for depots
	stops   int
	nodes   int
	table   []int32 // from x to with setup; nil above MatrixLimit
	back    []int32 // the same turned over: to x from
	longest int
	cache   *legCache // of legs asked for, where there is no table
}

// newLegs numbers the nodes and returns with them the node of each slot's start and end.
func newLegs(p Problem) (*legs, []int32, []int32, error) {
	l := &legs{travel: p.Travel, stops: len(p.Stops)}
	for _, s := range p.Stops {
		l.place = append(l.place, int32(s.Place))
		l.setup = append(l.setup, int32(s.Setup))
	}
	depot := map[int]int32{}
	node := func(place int) int32 {
		if k, ok := depot[place]; ok {
			return k
		}
		k := int32(len(l.place))
		depot[place] = k
		l.place, l.setup = append(l.place, int32(place)), append(l.setup, 0)
		return k
	}
	var start, end []int32
	for _, s := range p.Slots {
		start, end = append(start, node(s.Start)), append(end, node(s.End))
	}
	l.nodes = len(l.place)
	return l, start, end, l.fill()
}

func (l *legs) fill() error {
	if l.nodes > MatrixLimit {
		l.cache = newLegCache()
		return l.sample()
	}
	l.table = make([]int32, l.nodes*l.nodes)
	l.back = make([]int32, l.nodes*l.nodes)
	for i := range l.nodes {
		for j := range l.nodes {
			t, err := l.checked(i, j)
			if err != nil {
				return err
			}
			l.table[i*l.nodes+j] = int32(t)
			l.back[j*l.nodes+i] = int32(t)
			l.longest = max(l.longest, t)
		}
	}
	return nil
}

// sample finds out how long legs are where there is no table: from a few nodes
// to all. Twice the longest of them bounds every leg that obeys the triangle
// inequality.
func (l *legs) sample() error {
	for i := 0; i < l.nodes; i += max(1, l.nodes/8) {
		for j := range l.nodes {
			t, err := l.checked(i, j)
			if err != nil {
				return err
			}
			l.longest = max(l.longest, 2*t)
		}
	}
	return nil
}

func (l *legs) checked(i, j int) (int, error) {
	drive := 0
	if l.place[i] != l.place[j] {
		drive = l.travel.Seconds(int(l.place[i]), int(l.place[j]))
	}
	if drive < 0 || drive > inputLimit {
		return 0, bad("bad-travel", "Travel from place %d to place %d takes %d s; times run from 0 to %d s.", l.place[i], l.place[j], drive, inputLimit)
	}
	return l.withSetup(i, j, drive), nil
}

// withSetup adds the setup of j unless the stop before is at the same place.
func (l *legs) withSetup(i, j, drive int) int {
	if i < l.stops && l.place[i] == l.place[j] {
		return drive
	}
	return drive + int(l.setup[j])
}

// between is the time from node i to node j with the setup there.
func (l *legs) between(i, j int32) int {
	if l.table != nil {
		return int(l.table[int(i)*l.nodes+int(j)])
	}
	pair := uint64(i)*uint64(l.nodes) + uint64(j) + 1
	cell := l.cache.cell(pair)
	if l.cache.key[cell] != pair {
		l.cache.key[cell], l.cache.time[cell] = pair, int32(l.asked(i, j))
	}
	return int(l.cache.time[cell])
}

// asked is the time from node i to node j with the setup there, from Travel.
func (l *legs) asked(i, j int32) int {
	drive := 0
	if l.place[i] != l.place[j] {
		drive = min(max(0, l.travel.Seconds(int(l.place[i]), int(l.place[j]))), inputLimit)
	}
	return l.withSetup(int(i), int(j), drive)
}

// rows are the legs from node c to every node and from every node to c; nil
// where there is no table.
func (l *legs) rows(c int32) (out, in []int32) {
	if l.table == nil {
		return nil, nil
	}
	at := int(c) * l.nodes
	return l.table[at : at+l.nodes], l.back[at : at+l.nodes]
}

// near lists the count stops nearest to each stop, itself first, ties by number.
func (l *legs) near(count int) [][]int32 {
	count = min(count, l.stops)
	out := make([][]int32, l.stops)
	var g *grid
	if l.table == nil {
		g = newGrid(l)
	}
	if g != nil {
		for i := range l.stops {
			out[i] = g.near(i, count)
		}
		return out
	}
	dist := make([]int, l.stops)
	for i := range l.stops {
		for j := range l.stops {
			dist[j] = l.between(int32(i), int32(j)) - int(l.setup[j]) + l.between(int32(j), int32(i)) - int(l.setup[i])
		}
		dist[i] = -inputLimit
		out[i] = smallest(dist, count)
	}
	return out
}
