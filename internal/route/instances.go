package route

import (
	"math"
	"strconv"
	"strings"
)

// Rounding is how the published tables turn a distance into a number.
type Rounding string

// The roundings. Exact keeps thousandths, so that sums of a hundred legs are
// right to less than a tenth; TruncateTenths cuts after one decimal and keeps
// tenths, as the 12th DIMACS challenge and the CVRPLIB files of instances with
// windows do.
const (
	Exact          Rounding = "exact"
	TruncateTenths Rounding = "trunc1"
)

// unit is how many whole numbers of a problem stand for one of the file.
func (r Rounding) unit() float64 {
	if r == TruncateTenths {
		return 10
	}
	return 1000
}

// maxInstanceNodes bounds what is read from a file: its table of travel takes 8
// bytes a pair.
const maxInstanceNodes = 5001

// Instance is a published routing problem. Node 0 is the depot; stop i of the
// Problem is the node IDs[i] of the file.
type Instance struct {
	Name    string
	Problem Problem
	IDs     []int   // the file's numbers of the stops
	Unit    float64 // a cost of Unit in the problem is 1 in the file
}

// ParseSolomon reads an instance in Solomon's text form: a name, the number and
// capacity of the vehicles, then a row a node with id, x, y, demand, ready time,
// due date and service time. The first row is the depot. Times and distances are
// in one unit. A stop's window bounds the start of its service; the vehicle may
// wait, and must be back by the depot's due date. The number of vehicles is a cap.
//
// Faults, all fault.Invalid: "bad-instance" with the line where the file is not
// of that form, "bad-rounding" for a rounding it does not know.
//
// Source: Solomon, Operations Research 35(2), 254-265, 1987; the form as its
// instances are published.
func ParseSolomon(text string, rounding Rounding) (Instance, error) {
	if rounding != Exact && rounding != TruncateTenths {
		return Instance{}, bad("bad-rounding", "%q is no rounding for this form; choose %q or %q.", string(rounding), string(Exact), string(TruncateTenths))
	}
	s := solomon{unit: rounding.unit()}
	for n, line := range strings.Split(text, "\n") {
		if err := s.line(n+1, strings.TrimSpace(line)); err != nil {
			return Instance{}, err
		}
	}
	return s.instance()
}

// solomon gathers an instance line by line.
type solomon struct {
	unit     float64
	name     string
	vehicles int
	capacity int
	rows     [][7]float64
}

// line takes one line; lines of words are headings.
func (s *solomon) line(n int, line string) error {
	if line == "" {
		return nil
	}
	if s.name == "" {
		s.name = line
		return nil
	}
	fields := strings.Fields(line)
	if first := fields[0][0]; first != '-' && first != '+' && first != '.' && (first < '0' || first > '9') {
		return nil
	}
	want := 7
	if s.vehicles == 0 {
		want = 2
	}
	if len(fields) != want {
		return bad("bad-instance", "Line %d has %d numbers; %d are due there.", n, len(fields), want)
	}
	var row [7]float64
	for k, f := range fields {
		v, err := strconv.ParseFloat(f, 64)
		if err != nil || math.IsNaN(v) || math.Abs(v)*s.unit > inputLimit/4 {
			return bad("bad-instance", "Line %d has %q as number %d, which is no number or too large a one.", n, f, k+1)
		}
		row[k] = v
	}
	if want == 2 {
		return s.fleet(n, row)
	}
	return s.node(n, row)
}

func (s *solomon) fleet(n int, row [7]float64) error {
	if row[0] != math.Trunc(row[0]) || row[0] < 1 || row[0] >= maxInstanceNodes || row[1] != math.Trunc(row[1]) || row[1] < 0 {
		return bad("bad-instance", "Line %d gives %v vehicles with a capacity of %v; give whole numbers, one vehicle at least and %d at most.", n, row[0], row[1], maxInstanceNodes-1)
	}
	s.vehicles, s.capacity = int(row[0]), int(row[1])
	return nil
}

func (s *solomon) node(n int, row [7]float64) error {
	switch {
	case len(s.rows) >= maxInstanceNodes:
		return bad("bad-instance", "Line %d is node %d; at most %d are read.", n, len(s.rows)+1, maxInstanceNodes)
	case row[0] != math.Trunc(row[0]):
		return bad("bad-instance", "Line %d has the id %v; ids are whole numbers.", n, row[0])
	case row[3] < 0 || row[3] != math.Trunc(row[3]):
		return bad("bad-instance", "Line %d has a demand of %v; demands are whole numbers from 0.", n, row[3])
	case row[5] < row[4]:
		return bad("bad-instance", "Line %d is ready at %v and due at %v; it must be due after it is ready.", n, row[4], row[5])
	case row[6] < 0:
		return bad("bad-instance", "Line %d has a service time of %v; give 0 or more.", n, row[6])
	case len(s.rows) == 0 && row[5] <= row[4]:
		return bad("bad-instance", "Line %d is the depot and is open from %v to %v; it must be open for some time.", n, row[4], row[5])
	}
	s.rows = append(s.rows, row)
	return nil
}

func (s *solomon) instance() (Instance, error) {
	if len(s.rows) < 1 {
		return Instance{}, bad("bad-instance", "The file has no nodes; it must have the vehicles and then a row a node, the depot first.")
	}
	depot := s.rows[0]
	in := Instance{Name: s.name, Unit: s.unit, Problem: Problem{Travel: s.table()}}
	for i, row := range s.rows[1:] {
		in.IDs = append(in.IDs, int(row[0]))
		in.Problem.Stops = append(in.Problem.Stops, Stop{Place: i + 1, Service: s.scaled(row[6]), Open: s.scaled(row[4]),
			Close:  max(s.scaled(row[5]), 1), // 0 and 0 would mean any time
			Demand: []int{int(row[3])}})
	}
	for range s.vehicles {
		in.Problem.Slots = append(in.Problem.Slots, Slot{From: s.scaled(depot[4]), To: s.scaled(depot[5]), Capacity: []int{s.capacity}, Like: 1})
	}
	return in, nil
}

// scaled turns a number of the file into one of the problem.
func (s *solomon) scaled(v float64) int { return int(math.Round(v * s.unit)) }

// table is the plane's distances: cut to tenths, or rounded to thousandths.
func (s *solomon) table() Table {
	t := make(Table, len(s.rows))
	for i, a := range s.rows {
		t[i] = make([]int, len(s.rows))
		for j, b := range s.rows {
			d := math.Hypot(a[1]-b[1], a[2]-b[2]) * s.unit
			if s.unit == 10 {
				t[i][j] = int(d + 1e-9) // a distance that is a whole number of tenths stays one
			} else {
				t[i][j] = int(math.Round(d))
			}
		}
	}
	return t
}
