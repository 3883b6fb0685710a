package geo

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thirdcut/internal/fault"
	"thirdcut/internal/unit"
)

// A square laid out on the WGS 84 ellipsoid: one second of latitude at 40 N is
// 30.843 m and of longitude 23.720 m (published tables of the length of a
// degree: 111,034.6 m and 85,393.9 m at 40 N, NGA length-of-degree calculator).
func TestAreaOnTheEllipsoid(t *testing.T) {
	const side = 1.0 / 3600
	ring := fmt.Sprintf(`[[-77,40],[%[1]g,40],[%[1]g,%[2]g],[-77,%[2]g],[-77,40]]`, -77+side, 40+side)
	o, err := ParseOutline([]byte(`{"type":"Polygon","coordinates":[`+ring+`]}`), nil)
	if err != nil {
		t.Fatal(err)
	}
	want := 111034.6 / 3600 * 85393.9 / 3600
	if got := o.Area().SquareMetres(); math.Abs(got-want)/want > 1e-4 {
		t.Errorf("a second square at 40 N is %.3f m2, want %.3f", got, want)
	}
}

// Distances between airports' published points: JFK to LHR is 5,540 km to the
// nearest ten on the sphere; a minute of latitude is a nautical mile, 1,852 m, within half a percent.
func TestDistance(t *testing.T) {
	minute := Distance(Point{40, -77}, Point{40 + 1.0/60, -77})
	if math.Abs(minute.Metres()-1852)/1852 > 0.005 {
		t.Errorf("a minute of latitude is %.1f m", minute.Metres())
	}
	if d := Distance(Point{40.6413, -73.7781}, Point{51.47, -0.4543}).Metres() / 1000; math.Abs(d-5540) > 10 {
		t.Errorf("JFK to LHR is %.0f km", d)
	}
}

const good = `{"type":"Polygon","coordinates":[[[-76.9,39.25],[-76.8995,39.25],[-76.8995,39.2504],[-76.9,39.2504],[-76.9,39.25]]]}`

func TestOutlinesThatAreNone(t *testing.T) {
	near := &Point{39.25, -76.9}
	for _, row := range []struct{ name, json, says string }{
		{"no JSON", `outline`, "JSON"},
		{"no type", `{}`, "no type"},
		{"a line", `{"type":"LineString","coordinates":[[-76.9,39.25],[-76.8,39.25]]}`, "LineString"},
		{"no points", `{"type":"Polygon","coordinates":[]}`, "no points"},
		{"empty ring", `{"type":"Polygon","coordinates":[[]]}`, "no points"},
		{"open ring", `{"type":"Polygon","coordinates":[[[-76.9,39.25],[-76.8995,39.25],[-76.8995,39.2504],[-76.9,39.2504]]]}`, "not closed"},
		{"two points", `{"type":"Polygon","coordinates":[[[-76.9,39.25],[-76.8,39.25],[-76.9,39.25]]]}`, "at least four"},
		{"bow tie", `{"type":"Polygon","coordinates":[[[-76.9,39.25],[-76.8995,39.2504],[-76.8995,39.25],[-76.9,39.2504],[-76.9,39.25]]]}`, "crosses itself"},
		{"there and back", `{"type":"Polygon","coordinates":[[[-76.9,39.25],[-76.89,39.25],[-76.895,39.25],[-76.9,39.25]]]}`, "crosses itself"},
		{"swapped axes", `{"type":"Polygon","coordinates":[[[39.25,-76.9],[39.25,-76.8995],[39.2504,-76.8995],[39.2504,-76.9],[39.25,-76.9]]]}`, "swapped"},
		{"latitude off the earth", `{"type":"Polygon","coordinates":[[[39.25,-176.9],[39.25,-176.8],[39.26,-176.8],[39.25,-176.9]]]}`, "longitude first"},
		{"a map's metres", `{"type":"Polygon","coordinates":[[[428000,182000],[428050,182000],[428050,182050],[428000,182000]]]}`, "WGS 84"},
		{"hole outside", strings.Replace(good, "]]]}", "]],[[-76.8898,39.2501],[-76.8898,39.2502],[-76.8897,39.2502],[-76.8898,39.2501]]]}", 1), "inside it"},
		{"hole across the edge", strings.Replace(good, "]]]}", "]],[[-76.8996,39.2501],[-76.8994,39.2501],[-76.8994,39.2502],[-76.8996,39.2501]]]}", 1), "inside it"},
		{"two holes in one", strings.Replace(good, "]]]}", "]],[[-76.8998,39.2501],[-76.8998,39.2503],[-76.8996,39.2503],[-76.8998,39.2501]],[[-76.8998,39.25015],[-76.8998,39.25025],[-76.8997,39.2502],[-76.8998,39.25015]]]}", 1), "holes"},
		{"two parts in one", `{"type":"MultiPolygon","coordinates":[[[[-76.9,39.25],[-76.8995,39.25],[-76.8995,39.2504],[-76.9,39.25]]],[[[-76.8996,39.2501],[-76.8993,39.2501],[-76.8993,39.2503],[-76.8996,39.2501]]]]}`, "count twice"},
		{"one part twice", `{"type":"MultiPolygon","coordinates":[[[[-76.9,39.25],[-76.8995,39.25],[-76.8995,39.2504],[-76.9,39.25]]],[[[-76.9,39.25],[-76.8995,39.25],[-76.8995,39.2504],[-76.9,39.25]]]]}`, "count twice"},
		{"two outlines", `{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},"geometry":` + good + `},{"type":"Feature","properties":{},"geometry":` + good + `}]}`, "the one Feature"},
		{"feature of nothing", `{"type":"Feature","properties":{},"geometry":null}`, "without a readable geometry"},
		{"elsewhere", strings.ReplaceAll(good, "39.25", "41.25"), "one of the two is wrong"},
	} {
		_, err := ParseOutline([]byte(row.json), near)
		if !fault.HasCode(err, "bad-outline") || !strings.Contains(err.Error(), row.says) {
			t.Errorf("%s: %v, want it to say %q", row.name, err, row.says)
		}
	}
}

func TestWrongWindingIsWrittenRight(t *testing.T) {
	reversed := `{"type":"Feature","properties":{},"geometry":{"type":"Polygon","coordinates":[[[-76.9,39.25],[-76.9,39.2504],[-76.8995,39.2504],[-76.8995,39.25],[-76.9,39.25]]]}}`
	a, err := ParseOutline([]byte(good), nil)
	if err != nil {
		t.Fatal(err)
	}
	b, err := ParseOutline([]byte(reversed), nil)
	if err != nil {
		t.Fatal(err)
	}
	ja, _ := a.GeoJSON()
	jb, _ := b.GeoJSON()
	again, err := ParseOutline(jb, nil)
	if err != nil {
		t.Fatal(err)
	}
	if again.polygons[0][0].Orientation() != a.polygons[0][0].Orientation() || len(ja) != len(jb) {
		t.Errorf("reversed outline was written as %s", jb)
	}
	if d := math.Abs(a.Area().SquareMetres() - b.Area().SquareMetres()); d > 1e-6 {
		t.Errorf("winding changes the area by %g m2", d)
	}
}

func TestHolesAreTakenOff(t *testing.T) {
	hole := strings.Replace(good, "]]]}", "]],[[-76.8998,39.2501],[-76.8998,39.2502],[-76.8997,39.2502],[-76.8997,39.2501],[-76.8998,39.2501]]]}", 1)
	whole, err := ParseOutline([]byte(good), nil)
	if err != nil {
		t.Fatal(err)
	}
	holed, err := ParseOutline([]byte(hole), nil)
	if err != nil {
		t.Fatal(err)
	}
	want := 1 - (0.0001*0.0001)/(0.0005*0.0004)
	if got := float64(holed.Area() / whole.Area()); math.Abs(got-want) > 1e-6 {
		t.Errorf("the outline with a hole is %.4f of the whole, want %.4f", got, want)
	}
}

// TestPublishedAreas checks the polygon rows of testdata/calc/area.json, which
// a program that swaps latitude and longitude misses by far.
func TestPublishedAreas(t *testing.T) {
	data, err := os.ReadFile("../../testdata/calc/area.json")
	if err != nil {
		t.Fatal(err)
	}
	var rows []struct {
		ID, Function string
		Inputs       struct {
			Polygon struct{ Value json.RawMessage }
		}
		Expected  struct{ Value float64 }
		Tolerance struct{ Value float64 }
	}
	if err := json.Unmarshal(data, &rows); err != nil {
		t.Fatal(err)
	}
	checked := 0
	for _, row := range rows {
		if row.Function != "polygon_area" {
			continue
		}
		checked++
		o, err := ParseOutline(row.Inputs.Polygon.Value, nil)
		if err != nil {
			t.Errorf("%s: %v", row.ID, err)
			continue
		}
		if got := o.Area().SquareFeet(); math.Abs(got/row.Expected.Value-1) > row.Tolerance.Value {
			t.Errorf("%s: %.0f sq ft, want %.0f", row.ID, got, row.Expected.Value)
		}
	}
	if checked != 2 {
		t.Errorf("%d polygon rows in the table, want 2", checked)
	}
}

// zoneArea is the exact area between two parallels and two meridians on the
// ellipsoid (Snyder, Map Projections: A Working Manual, USGS PP 1395, eq. 3-12,
// the authalic q; area = a^2/2 * dLon * dq).
func zoneArea(lat1, lat2, width float64) float64 {
	const deg = math.Pi / 180
	e2 := flattening * (2 - flattening)
	e := math.Sqrt(e2)
	q := func(lat float64) float64 {
		s := math.Sin(lat * deg)
		return (1 - e2) * (s/(1-e2*s*s) + math.Atanh(e*s)/e)
	}
	return semiMajor * semiMajor / 2 * width * deg * (q(lat2) - q(lat1))
}

func TestAreaIsTheEllipsoids(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lat := rapid.Float64Range(-65, 65).Draw(t, "lat")
		lon := rapid.Float64Range(-179, 179).Draw(t, "lon")
		w := rapid.Float64Range(0.0001, 0.005).Draw(t, "w") // to half a kilometre
		h := rapid.Float64Range(0.0001, 0.005).Draw(t, "h")
		js := fmt.Sprintf(`{"type":"Polygon","coordinates":[[[%[1]v,%[2]v],[%[3]v,%[2]v],[%[3]v,%[4]v],[%[1]v,%[4]v],[%[1]v,%[2]v]]]}`, lon, lat, lon+w, lat+h)
		o, err := ParseOutline([]byte(js), nil)
		if err != nil {
			t.Fatal(err)
		}
		want := zoneArea(lat, lat+h, w)
		if got := o.Area().SquareMetres(); math.Abs(got/want-1) > 1e-6 {
			t.Fatalf("area %.4f m2, on the ellipsoid it is %.4f", got, want)
		}
	})
}

func TestRepeatedPointsAndAltitudesAreTaken(t *testing.T) {
	plain, err := ParseOutline([]byte(good), nil)
	if err != nil {
		t.Fatal(err)
	}
	for name, js := range map[string]string{
		"double click": strings.Replace(good, "[-76.8995,39.25],", "[-76.8995,39.25],[-76.8995,39.25],", 1),
		"altitudes":    strings.ReplaceAll(good, "39.25]", "39.25,112.5]"),
		"collection":   `{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"name":"Front"},"geometry":` + good + `}]}`,
	} {
		o, err := ParseOutline([]byte(js), &Point{39.25, -76.9})
		if err != nil || math.Abs(float64(o.Area()/plain.Area())-1) > 1e-12 {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestPartsAddUp(t *testing.T) {
	two := `{"type":"MultiPolygon","coordinates":[[[[-76.9,39.25],[-76.8995,39.25],[-76.8995,39.2504],[-76.9,39.2504],[-76.9,39.25]]],[[[-76.899,39.25],[-76.8985,39.25],[-76.8985,39.2504],[-76.899,39.2504],[-76.899,39.25]]]]}`
	o, err := ParseOutline([]byte(two), nil)
	if err != nil {
		t.Fatal(err)
	}
	one, err := ParseOutline([]byte(good), nil)
	if err != nil {
		t.Fatal(err)
	}
	if got := float64(o.Area() / one.Area()); math.Abs(got-2) > 1e-9 {
		t.Errorf("two equal parts are %.6f of one", got)
	}
	js, err := o.GeoJSON()
	if err != nil || !strings.HasPrefix(string(js), `{"type":"MultiPolygon"`) {
		t.Errorf("written as %s, %v", js, err)
	}
	// An island in a hole is a part like any other.
	island := strings.Replace(good, "]]]}", "]],[[-76.8999,39.2501],[-76.8999,39.2503],[-76.8996,39.2503],[-76.8996,39.2501],[-76.8999,39.2501]]],[[[-76.8998,39.25015],[-76.8997,39.25015],[-76.8997,39.25025],[-76.8998,39.25015]]]]}", 1)
	island = strings.Replace(strings.Replace(island, "Polygon", "MultiPolygon", 1), `"coordinates":[`, `"coordinates":[[`, 1)
	if _, err := ParseOutline([]byte(island), nil); err != nil {
		t.Errorf("an island in a hole: %v", err)
	}
	// Neighbours that share a fence touch and do not overlap.
	fence := strings.ReplaceAll(strings.ReplaceAll(two, "-76.899,", "-76.8995,"), "-76.8985,", "-76.899,")
	if _, err := ParseOutline([]byte(fence), nil); err != nil {
		t.Errorf("parts that share an edge: %v", err)
	}
}

func TestPointsOffTheEarth(t *testing.T) {
	for _, p := range []Point{{91, 0}, {-90.1, 0}, {0, 180.5}, {0, -181}, {math.NaN(), 0}, {0, math.NaN()}, {math.Inf(1), 0}} {
		if p.Valid() {
			t.Errorf("%v is called valid", p)
		}
	}
	for _, p := range []Point{{90, 180}, {-90, -180}, {39.25, -76.9}} {
		if !p.Valid() {
			t.Errorf("%v is called invalid", p)
		}
	}
}

// A ring of 5,000 points, the most that is taken, is checked without delay
// that a person at a screen would notice.
func BenchmarkParseOutlineOf5000Points(b *testing.B) {
	var ring []string
	for i := range 4_999 {
		a := 2 * math.Pi * float64(i) / 4_999
		ring = append(ring, fmt.Sprintf("[%.7f,%.7f]", -76.9+0.002*math.Cos(a), 39.25+0.002*math.Sin(a)))
	}
	js := []byte(`{"type":"Polygon","coordinates":[[` + strings.Join(append(ring, ring[0]), ",") + `]]}`)
	for b.Loop() {
		if _, err := ParseOutline(js, nil); err != nil {
			b.Fatal(err)
		}
	}
}

func FuzzParseOutline(f *testing.F) {
	f.Add([]byte(good))
	f.Add([]byte(`{"type":"FeatureCollection","features":[]}`))
	f.Add([]byte(`{"type":"MultiPolygon","coordinates":[[[[0,0]]]]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		o, err := ParseOutline(b, &Point{39.25, -76.9})
		if err != nil {
			return
		}
		if a := o.Area(); math.IsNaN(float64(a)) || a < 0 {
			t.Errorf("area %v of %q", a/unit.SquareMetre, b)
		}
		if _, err := o.GeoJSON(); err != nil {
			t.Errorf("%q cannot be written: %v", b, err)
		}
	})
}
