// Package geo holds places and turf outlines on the earth: distances, areas,
// and the reading and writing of GeoJSON outlines.
package geo

import (
	"encoding/json"
	"math"
	"slices"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/geojson"
	"github.com/paulmach/orb/planar"

	"thirdcut/internal/fault"
	"thirdcut/internal/unit"
)

// Point is a place in degrees, WGS 84.
type Point struct {
	Latitude, Longitude float64
}

// Valid says whether the point lies on the earth.
func (p Point) Valid() bool {
	return p.Latitude >= -90 && p.Latitude <= 90 && p.Longitude >= -180 && p.Longitude <= 180
}

// The WGS 84 ellipsoid (NIMA TR8350.2, table 3.1), metres, and the mean earth
// radius of the same (2a+b)/3 for great circles.
const (
	semiMajor  = 6378137.0
	flattening = 1 / 298.257223563
	meanRadius = 6371008.8
)

// Distance is the great-circle distance by the haversine form, on the sphere
// of the earth's mean radius: within 0.6 % of the ellipsoid.
func Distance(a, b Point) unit.Length {
	const deg = math.Pi / 180
	dLat, dLon := (b.Latitude-a.Latitude)*deg, (b.Longitude-a.Longitude)*deg
	h := math.Pow(math.Sin(dLat/2), 2) + math.Cos(a.Latitude*deg)*math.Cos(b.Latitude*deg)*math.Pow(math.Sin(dLon/2), 2)
	return unit.Length(2 * meanRadius * math.Asin(math.Min(1, math.Sqrt(h))))
}

// Outline is a turf area's shape: one or more polygons with holes, outer rings
// counter-clockwise (RFC 7946, section 3.1.6).
type Outline struct{ polygons orb.MultiPolygon }

// limits of what is a lawn; beyond it is a slip of the pen or of the axes.
const (
	outlineReach = 20 * unit.Kilometre // from the property's point
	mostPoints   = 5_000
)

// ParseOutline reads a GeoJSON Polygon, MultiPolygon, or a Feature of one.
// Near is the property's map point, nil where it has none: an outline far from
// it, or one whose axes are swapped, is refused. Rings turned the wrong way are
// taken and written right. Faults: Invalid "bad-outline".
func ParseOutline(b []byte, near *Point) (Outline, error) {
	geometry, err := geometryOf(b)
	if err != nil {
		return Outline{}, err
	}
	var o Outline
	switch g := geometry.(type) {
	case orb.Polygon:
		o.polygons = orb.MultiPolygon{g}
	case orb.MultiPolygon:
		o.polygons = g
	default:
		return Outline{}, bad("the outline is a %s; draw it as a Polygon or MultiPolygon", geometry.GeoJSONType())
	}
	o.dropRepeats()
	if err := o.check(); err != nil {
		return Outline{}, err
	}
	if err := o.checkPlace(near); err != nil {
		return Outline{}, err
	}
	o.turnRight()
	return o, nil
}

func bad(format string, args ...any) error {
	return fault.New(fault.Invalid, "bad-outline", format, args...)
}

func geometryOf(b []byte) (orb.Geometry, error) {
	var kind struct {
		Type     string          `json:"type"`
		Features json.RawMessage `json:"features"`
	}
	if err := json.Unmarshal(b, &kind); err != nil {
		return nil, bad("the outline is no GeoJSON: it cannot be read as JSON").(*fault.Error).Because(err)
	}
	switch kind.Type {
	case "Feature":
		f, err := geojson.UnmarshalFeature(b)
		if err != nil || f.Geometry == nil {
			return nil, bad("the outline is a Feature without a readable geometry")
		}
		return f.Geometry, nil
	case "FeatureCollection":
		f, err := geojson.UnmarshalFeatureCollection(b)
		if err != nil || len(f.Features) != 1 || f.Features[0].Geometry == nil {
			return nil, bad("the outline is a collection; give the one Feature of this turf area")
		}
		return f.Features[0].Geometry, nil
	case "":
		return nil, bad("the outline is no GeoJSON: it has no type")
	}
	g, err := geojson.UnmarshalGeometry(b)
	if err != nil || g.Geometry() == nil {
		return nil, bad("the outline has the type %q and cannot be read; draw it as a Polygon", kind.Type)
	}
	return g.Geometry(), nil
}

// dropRepeats takes out points that stand twice in a row, as a double click leaves them.
func (o Outline) dropRepeats() {
	for _, p := range o.polygons {
		for i, r := range p {
			p[i] = slices.Compact(r)
		}
	}
}

// check refuses rings that are no rings, holes that lie outside and parts that overlap.
func (o Outline) check() error {
	if err := o.checkRings(); err != nil {
		return err
	}
	for i, p := range o.polygons {
		for k, hole := range p[1:] {
			if !lies(hole, p[0]) {
				return bad("a hole of the outline does not lie inside it; draw holes wholly within the outer ring")
			}
			for _, other := range p[1 : 1+k] {
				if meet(hole, other) {
					return bad("two holes of the outline overlap; draw them as one")
				}
			}
		}
		for _, other := range o.polygons[:i] {
			if !apartOrInHole(p, other) && !apartOrInHole(other, p) {
				return bad("two parts of the outline overlap, so that their grass would count twice; draw them as one")
			}
		}
	}
	return nil
}

// lies says whether the ring lies wholly inside the other; it may touch it.
func lies(inner, outer orb.Ring) bool {
	return !edgesCross(inner, outer) && !slices.ContainsFunc(inner, func(p orb.Point) bool { return !planar.RingContains(outer, p) })
}

// meet says whether two rings have ground in common; a shared edge is none.
func meet(a, b orb.Ring) bool {
	return a.Bound().Intersects(b.Bound()) && (edgesCross(a, b) || reaches(a, b) || reaches(b, a))
}

// reaches says whether a corner of the ring, the middle of an edge, or ground
// just inside a corner lies inside the other ring and not on its edge.
func reaches(r, into orb.Ring) bool {
	n := len(r) - 1
	for i := range n {
		next, after := r[i+1], r[(i+2)%n]
		if inside(into, r[i]) || inside(into, middle(r[i], next)) {
			return true
		}
		if ground := middle(middle(r[i], after), next); inside(r, ground) && inside(into, ground) {
			return true
		}
	}
	return false
}

func middle(a, b orb.Point) orb.Point { return orb.Point{(a[0] + b[0]) / 2, (a[1] + b[1]) / 2} }

// edgeWidth, in degrees, is how near to an edge a point counts as on it: about
// a tenth of a millimetre, far under what seven decimals can say.
const edgeWidth = 1e-9

func inside(r orb.Ring, p orb.Point) bool {
	return r.Bound().Contains(p) && planar.RingContains(r, p) && planar.DistanceFrom(orb.LineString(r), p) > edgeWidth
}

func apartOrInHole(p, other orb.Polygon) bool {
	if !meet(p[0], other[0]) {
		return true
	}
	return slices.ContainsFunc(other[1:], func(hole orb.Ring) bool { return lies(p[0], hole) })
}

// edgesCross says whether edges of two rings cross. Rings that only touch do not.
func edgesCross(a, b orb.Ring) bool {
	for i := 0; i+1 < len(a); i++ {
		for k := 0; k+1 < len(b); k++ {
			if apart(a[i], a[i+1], b[k], b[k+1]) {
				continue
			}
			t1, t2, t3, t4 := turn(a[i], a[i+1], b[k]), turn(a[i], a[i+1], b[k+1]), turn(b[k], b[k+1], a[i]), turn(b[k], b[k+1], a[i+1])
			if t1*t2 < 0 && t3*t4 < 0 {
				return true
			}
		}
	}
	return false
}

// checkRings refuses rings that are no rings.
func (o Outline) checkRings() error {
	points := 0
	for _, p := range o.polygons {
		if len(p) == 0 {
			return bad("the outline has no points")
		}
		for _, r := range p {
			points += len(r)
			if points > mostPoints {
				return bad("the outline has more than %d points; draw it coarser", mostPoints)
			}
			if err := checkRing(r); err != nil {
				return err
			}
		}
	}
	if points == 0 {
		return bad("the outline has no points")
	}
	return nil
}

func checkRing(r orb.Ring) error {
	if len(r) == 0 {
		return bad("the outline has no points")
	}
	for i, p := range r {
		if math.IsNaN(p[0]) || math.IsNaN(p[1]) || math.IsInf(p[0], 0) || math.IsInf(p[1], 0) {
			return bad("point %d of the outline is no place", i+1)
		}
		if math.Abs(p[0]) > 360 && math.Abs(p[1]) > 90 {
			return bad("point %d of the outline is at %g, %g, which are no degrees but metres or feet of a map; export the outline in WGS 84 longitude and latitude", i+1, p[0], p[1])
		}
		if p[1] < -90 || p[1] > 90 {
			return bad("point %d of the outline has latitude %g; GeoJSON wants longitude first, then latitude", i+1, p[1])
		}
		if p[0] < -180 || p[0] > 180 {
			return bad("point %d of the outline has longitude %g, which is off the earth", i+1, p[0])
		}
	}
	if len(r) < 4 {
		return bad("a ring of the outline has %d points; a closed one has at least four, the last equal to the first", len(r))
	}
	if r[0] != r[len(r)-1] {
		return bad("a ring of the outline is not closed; its last point must equal its first")
	}
	if i, j, crosses := crossing(r); crosses {
		return bad("the outline crosses itself between points %d and %d; draw it round the edge once", i+1, j+1)
	}
	return nil
}

// crossing finds two edges of the ring that cross or touch other than at their
// common point. Edges whose boxes lie apart are passed over.
func crossing(r orb.Ring) (int, int, bool) {
	n := len(r) - 1
	for i := 0; i < n; i++ {
		for j := i + 1; j < n; j++ {
			neighbours := j == i+1 || (i == 0 && j == n-1)
			if neighbours {
				if folded(r, i, j, n) {
					return i, j, true
				}
				continue
			}
			if apart(r[i], r[i+1], r[j], r[j+1]) {
				continue
			}
			if cross(r[i], r[i+1], r[j], r[j+1]) {
				return i, j, true
			}
		}
	}
	return 0, 0, false
}

// folded says whether two edges that share a point run back over each other.
func folded(r orb.Ring, i, j, n int) bool {
	a, b, c := r[i], r[i+1], r[j+1]
	if i == 0 && j == n-1 && n > 2 {
		a, b, c = r[1], r[0], r[j]
	}
	if turn(a, b, c) != 0 {
		return false
	}
	return (a[0]-b[0])*(c[0]-b[0])+(a[1]-b[1])*(c[1]-b[1]) > 0
}

func apart(a, b, c, d orb.Point) bool {
	return math.Max(a[0], b[0]) < math.Min(c[0], d[0]) || math.Max(c[0], d[0]) < math.Min(a[0], b[0]) ||
		math.Max(a[1], b[1]) < math.Min(c[1], d[1]) || math.Max(c[1], d[1]) < math.Min(a[1], b[1])
}

func turn(a, b, c orb.Point) float64 {
	return (b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0])
}

func cross(a, b, c, d orb.Point) bool {
	t1, t2, t3, t4 := turn(a, b, c), turn(a, b, d), turn(c, d, a), turn(c, d, b)
	if t1 == 0 && t2 == 0 && t3 == 0 && t4 == 0 {
		return true // on one line, and their boxes meet
	}
	return (t1 <= 0) != (t2 < 0) && (t3 <= 0) != (t4 < 0) || (t1 == 0 && within(a, b, c)) || (t2 == 0 && within(a, b, d)) ||
		(t3 == 0 && within(c, d, a)) || (t4 == 0 && within(c, d, b))
}

func within(a, b, p orb.Point) bool {
	return math.Min(a[0], b[0]) <= p[0] && p[0] <= math.Max(a[0], b[0]) && math.Min(a[1], b[1]) <= p[1] && p[1] <= math.Max(a[1], b[1])
}

// checkPlace refuses an outline that cannot belong to the property.
func (o Outline) checkPlace(near *Point) error {
	if near == nil {
		return nil
	}
	c := o.Centre()
	if Distance(c, *near) <= outlineReach {
		return nil
	}
	swapped := Point{Latitude: c.Longitude, Longitude: c.Latitude}
	if swapped.Valid() && Distance(swapped, *near) <= outlineReach {
		return bad("the outline has latitude and longitude swapped; GeoJSON wants longitude first, then latitude")
	}
	return bad("the outline lies %.0f km from the property's map point; one of the two is wrong", Distance(c, *near).Metres()/1000)
}

func (o Outline) turnRight() {
	for _, p := range o.polygons {
		for i, r := range p {
			want := orb.CCW
			if i > 0 {
				want = orb.CW
			}
			if r.Orientation() != want {
				r.Reverse()
			}
		}
	}
}

// Centre is the middle of the outline's box.
func (o Outline) Centre() Point {
	b := o.polygons.Bound()
	return Point{Latitude: (b.Min[1] + b.Max[1]) / 2, Longitude: (b.Min[0] + b.Max[0]) / 2}
}

// Area is the outline's area on the WGS 84 ellipsoid, holes taken off: the
// plane shoelace in a frame that touches the ellipsoid at the outline's
// centre, with the radii of curvature there. For lawns (under a few km) the
// error of the frame lies under a millionth.
func (o Outline) Area() unit.Area {
	const deg = math.Pi / 180
	c := o.Centre()
	e2 := flattening * (2 - flattening)
	s := math.Sin(c.Latitude * deg)
	w := math.Sqrt(1 - e2*s*s)
	north := semiMajor * (1 - e2) / (w * w * w) * deg      // metres a degree of latitude
	east := semiMajor / w * math.Cos(c.Latitude*deg) * deg // metres a degree of longitude
	area := 0.0
	for _, p := range o.polygons {
		for i, r := range p {
			ring := 0.0
			for k := 0; k+1 < len(r); k++ {
				x1, y1 := (r[k][0]-c.Longitude)*east, (r[k][1]-c.Latitude)*north
				x2, y2 := (r[k+1][0]-c.Longitude)*east, (r[k+1][1]-c.Latitude)*north
				ring += x1*y2 - x2*y1
			}
			if ring = math.Abs(ring) / 2; i > 0 {
				ring = -ring
			}
			area += ring
		}
	}
	return unit.Area(area)
}

// GeoJSON writes the outline, seven decimals at most (about a centimetre).
func (o Outline) GeoJSON() ([]byte, error) {
	rounded := o.polygons.Clone()
	for _, p := range rounded {
		for _, r := range p {
			for i := range r {
				r[i] = orb.Point{round7(r[i][0]), round7(r[i][1])}
			}
		}
	}
	var g orb.Geometry = rounded
	if len(rounded) == 1 {
		g = rounded[0]
	}
	return geojson.NewGeometry(g).MarshalJSON()
}

func round7(v float64) float64 { return math.Round(v*1e7) / 1e7 }
