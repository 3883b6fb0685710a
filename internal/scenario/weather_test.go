package scenario

import (
	"math"
	"testing"

	"thirdcut/internal/civil"
)

// Daily normals as printed by the National Weather Service, Baltimore/Washington,
// in climate reports for the Baltimore airport station (period 1991-2020):
// reports of 15 Sep 2023, 25 Sep 2023 and 21 Mar 2026.
func TestNormalsMeetPrintedDailyNormals(t *testing.T) {
	for _, row := range []struct {
		day        string
		maxF, minF float64
	}{
		{"2023-09-14", 81, 60}, {"2023-09-15", 80, 59}, {"2023-09-25", 76, 55}, {"2026-03-21", 56, 35}, {"2026-03-22", 57, 36},
	} {
		n := normalOn(civil.MustDate(row.day))
		if math.Abs(n.maxF-row.maxF) > 2.5 || math.Abs(n.minF-row.minF) > 2.5 {
			t.Errorf("%s: normal %.1f / %.1f F, printed %.0f / %.0f F", row.day, n.maxF, n.minF, row.maxF, row.minF)
		}
	}
}

func TestDrawnWeatherKeepsTheNormals(t *testing.T) {
	days := Weather(Seed, civil.MustDate("1996-01-01"), civil.MustDate("2025-12-31"))
	var max, rain [12]float64
	var n [12]int
	for _, d := range days {
		if d.Min > d.Max {
			t.Fatalf("%s: minimum %.1f over maximum %.1f C", d.Date, d.Min.Celsius(), d.Max.Celsius())
		}
		m := int(d.Date.Month) - 1
		max[m] += d.Max.Fahrenheit()
		rain[m] += d.Precipitation.Inches()
		n[m]++
	}
	for m := range normals {
		if got, want := max[m]/float64(n[m]), normals[m].maxF; math.Abs(got-want) > 2 {
			t.Errorf("month %d: mean maximum %.1f F over thirty years, normal %.1f", m+1, got, want)
		}
		if got, want := rain[m]/30, normals[m].rainIn; math.Abs(got-want) > 0.25*want {
			t.Errorf("month %d: %.2f in a month over thirty years, normal %.2f", m+1, got, want)
		}
	}
}

func TestSameSeedSameWeather(t *testing.T) {
	from, to := civil.MustDate("2026-01-01"), civil.MustDate("2026-12-31")
	a, b, c := Weather(1, from, to), Weather(1, from, to), Weather(2, from, to)
	same := 0
	for i := range a {
		if a[i] != b[i] {
			t.Fatalf("%s differs between two draws of one seed", a[i].Date)
		}
		if a[i] == c[i] {
			same++
		}
	}
	if same > len(a)/10 {
		t.Errorf("%d of %d days are equal under another seed", same, len(a))
	}
}
