package geo

import (
	"fmt"
	"math"
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
		{"there and back", `{"type":"Polygon","coordinates":[[[-76.9,39.25],[-76.89,39.25],[-76.9,39.25],[-76.9,39.25]]]}`, "crosses itself"},
		{"swapped axes", `{"type":"Polygon","coordinates":[[[39.25,-76.9],[39.25,-76.8995],[39.2504,-76.8995],[39.2504,-76.9],[39.25,-76.9]]]}`, "swapped"},
		{"latitude off the earth", `{"type":"Polygon","coordinates":[[[39.25,-176.9],[39.25,-176.8],[39.26,-176.8],[39.25,-176.9]]]}`, "longitude first"},
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

func TestRectanglesKeepTheirArea(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lat := rapid.Float64Range(-60, 60).Draw(t, "lat")
		lon := rapid.Float64Range(-179, 179).Draw(t, "lon")
		w := rapid.Float64Range(0.00005, 0.002).Draw(t, "w")
		h := rapid.Float64Range(0.00005, 0.002).Draw(t, "h")
		js := fmt.Sprintf(`{"type":"Polygon","coordinates":[[[%[1]g,%[2]g],[%[3]g,%[2]g],[%[3]g,%[4]g],[%[1]g,%[4]g],[%[1]g,%[2]g]]]}`, lon, lat, lon+w, lat+h)
		o, err := ParseOutline([]byte(js), nil)
		if err != nil {
			t.Fatal(err)
		}
		sides := Distance(Point{lat + h/2, lon}, Point{lat + h/2, lon + w}).Metres() * Distance(Point{lat, lon}, Point{lat + h, lon}).Metres()
		if got := o.Area().SquareMetres(); math.Abs(got-sides)/sides > 0.012 {
			t.Fatalf("area %.2f m2, sides multiply to %.2f", got, sides)
		}
	})
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
	})
}
