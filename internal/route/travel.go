package route

import (
	"math"

	"thirdcut/internal/fault"
)

// RoadFactor is how much longer the way by road is than the great circle:
// common practice is 1.2 to 1.4 for towns in North America.
const RoadFactor = 1.3

// EarthRadiusKm is the mean radius of the Earth (IUGG).
const EarthRadiusKm = 6371.0088

// A band gives the mean speed on ways up to a length: short ways are streets
// with junctions, long ones are main roads. The bands are ours.
type band struct{ upToKm, kmh float64 }

var bands = []band{{2, 28}, {8, 42}, {25, 60}, {math.Inf(1), 80}}

// Point is a place on the map, degrees.
type Point struct{ Latitude, Longitude float64 }

// Known says whether the point is one on the Earth.
func (p Point) Known() bool {
	return math.Abs(p.Latitude) <= 90 && math.Abs(p.Longitude) <= 180 // false for NaN
}

// DriveSeconds estimates the drive between two points, to the whole second:
// great circle times RoadFactor, at the mean speed of each band in turn, so that
// a longer way never takes less time.
func DriveSeconds(a, b Point) int {
	km := GreatCircleKm(a, b) * RoadFactor
	hours, from := 0.0, 0.0
	for _, s := range bands {
		leg := math.Min(km, s.upToKm) - from
		if leg <= 0 {
			break
		}
		hours += leg / s.kmh
		from = s.upToKm
	}
	return int(math.Round(hours * 3600))
}

// GreatCircleKm is the distance on the sphere by the haversine formula, km.
func GreatCircleKm(a, b Point) float64 {
	rad := math.Pi / 180
	dLat, dLon := (b.Latitude-a.Latitude)*rad, (b.Longitude-a.Longitude)*rad
	h := math.Pow(math.Sin(dLat/2), 2) +
		math.Cos(a.Latitude*rad)*math.Cos(b.Latitude*rad)*math.Pow(math.Sin(dLon/2), 2)
	return 2 * EarthRadiusKm * math.Asin(math.Min(1, math.Sqrt(h)))
}

// Map is Travel by DriveSeconds between points.
type Map struct{ points []Point }

// NewMap takes the places in their order. A point that is not on the Earth is a
// fault of code "bad-point".
func NewMap(points []Point) (*Map, error) {
	for i, p := range points {
		if !p.Known() {
			return nil, fault.New(fault.Invalid, "bad-point",
				"Place %d has latitude %v and longitude %v; latitudes run from -90 to 90 and longitudes from -180 to 180 degrees.",
				i, p.Latitude, p.Longitude)
		}
	}
	return &Map{points: points}, nil
}

// Places counts the places.
func (m *Map) Places() int { return len(m.points) }

// Seconds is the drive from one place to another.
func (m *Map) Seconds(from, to int) int { return DriveSeconds(m.points[from], m.points[to]) }

// Table is Travel from a full table of seconds, row from, column to.
type Table [][]int

// NewTable takes a square table without negative times; everything else is a
// fault of code "bad-table".
func NewTable(rows [][]int) (Table, error) {
	for i, row := range rows {
		if len(row) != len(rows) {
			return nil, fault.New(fault.Invalid, "bad-table", "Row %d of the travel table has %d entries; there are %d places.", i, len(row), len(rows))
		}
		for j, s := range row {
			if s < 0 || s > inputLimit {
				return nil, fault.New(fault.Invalid, "bad-table", "The travel table has %d s from place %d to place %d; give 0 to %d.", s, i, j, inputLimit)
			}
		}
	}
	return Table(rows), nil
}

// Places counts the places.
func (t Table) Places() int { return len(t) }

// Seconds is the travel from one place to another.
func (t Table) Seconds(from, to int) int { return t[from][to] }
