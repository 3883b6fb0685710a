package intake

import (
	"math"
	"os"
	"strings"
	"testing"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/weather"
)

func readW(t *testing.T, text string, o WeatherOptions) WeatherFile {
	t.Helper()
	w, err := ReadWeather([]byte(text), "w.csv", o)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func on(t *testing.T, w WeatherFile, date string) weather.Day {
	t.Helper()
	for _, d := range w.Days {
		if d.Date == civil.MustDate(date) {
			return d
		}
	}
	t.Fatalf("no day %s in %v (problems %v)", date, w.Days, w.Problems)
	return weather.Day{}
}

// The open daily table 2012-2015 (US Government work; npm package
// vega-datasets 3.2.1). Row as printed: Seattle,2012-01-02,10.9,10.6,2.8,4.5,rain.
func TestOpenDailyTable(t *testing.T) {
	data, err := os.ReadFile("../../testdata/weather/seattle-new-york.csv")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := ReadWeather(data, "w.csv", WeatherOptions{}); !fault.HasCode(err, "several-locations") {
		t.Errorf("without a location: %v", err)
	}
	if _, err := ReadWeather(data, "w.csv", WeatherOptions{Location: "Paris"}); !fault.HasCode(err, "no-location") {
		t.Errorf("another location: %v", err)
	}
	w, err := ReadWeather(data, "w.csv", WeatherOptions{Location: "Seattle"})
	if err != nil || len(w.Problems) > 0 {
		t.Fatal(err, w.Problems)
	}
	if len(w.Days) != 1461 {
		t.Errorf("%d days, want 1461", len(w.Days))
	}
	d := on(t, w, "2012-01-02")
	if d.Max.Celsius() != 10.6 || d.Min.Celsius() != 2.8 || math.Abs(d.Precipitation.Millimetres()-10.9) > 1e-9 || d.Wind.MetresPerSecond() != 4.5 {
		t.Errorf("2012-01-02 read as %+v", d)
	}
}

func TestUnitsInHeaders(t *testing.T) {
	w := readW(t, "Date;Temp max (F);temp_min_f;Precipitation in;Wind mph\n2026-07-01;95;68;0.5;10\n2026-07-03;86;64;;\n", WeatherOptions{})
	d := on(t, w, "2026-07-01")
	if math.Abs(d.Max.Celsius()-35) > 1e-9 || math.Abs(d.Min.Celsius()-20) > 1e-9 || math.Abs(d.Precipitation.Millimetres()-12.7) > 1e-9 || math.Abs(d.Wind.MetresPerSecond()-4.4704) > 1e-9 {
		t.Errorf("read as %+v", d)
	}
	if d := on(t, w, "2026-07-03"); d.HasPrecipitation() || d.HasWind() {
		t.Errorf("empty cells became numbers: %+v", d)
	}
	if !strings.Contains(strings.Join(w.Notes, " "), "1 day missing (2026-07-02)") {
		t.Errorf("the gap is not named: %v", w.Notes)
	}
	if _, err := ReadWeather([]byte("date,temp_max,temp_min\n2026-07-01,35,20\n"), "w", WeatherOptions{}); !fault.HasCode(err, "no-unit") {
		t.Errorf("headers without units: %v", err)
	}
}

func TestImpossibleWeatherIsNamed(t *testing.T) {
	w := readW(t, "date,temp_max_c,temp_min_c,precipitation_mm\n2026-07-01,140,20,0\n2026-07-02,20,25,0\n2026-02-30,20,10,0\n2026-07-04,30,20,-1\n2026-07-05,30,20,0\n2026-07-05,30,20,0\n2026-07-06,warm,20,0\n", WeatherOptions{})
	says := map[int]string{2: "140 C as a maximum", 3: "swapped", 4: "does not exist", 5: "-1 mm", 7: "already on line 6", 8: "no number"}
	for line, want := range says {
		found := false
		for _, p := range w.Problems {
			found = found || p.Line == line && strings.Contains(p.Reason, want)
		}
		if !found {
			t.Errorf("line %d: nothing says %q; problems %v", line, want, w.Problems)
		}
	}
}

// The line is in the layout of the GHCN-Daily readme, section III: 269
// characters, day 1 28.3 C, day 3 missing, day 4 failed a quality check.
func TestGHCNDailyDly(t *testing.T) {
	line := func(element string, first string) string {
		return "USC00999999202407" + element + first + strings.Repeat("  250  7", 31)[len(first):]
	}
	max := line("TMAX", "  283  7  272  7-9999     300 X7")
	if len(max) != 269 {
		t.Fatalf("the sample line has %d characters, a full one 269", len(max))
	}
	min := line("TMIN", "  183  7  172  7  160  7  150  7")
	rain := line("PRCP", "    0  7   51  7-9999     -9999   ")
	text := max + "\r\n" + min + "\r\n" + rain + "\r\n"
	w := readW(t, text, WeatherOptions{})
	if d := on(t, w, "2024-07-01"); d.Max.Celsius() != 28.3 || d.Min.Celsius() != 18.3 || d.Precipitation != 0 {
		t.Errorf("1 July read as %+v", d)
	}
	if d := on(t, w, "2024-07-02"); math.Abs(d.Precipitation.Millimetres()-5.1) > 1e-9 {
		t.Errorf("2 July read as %+v", d)
	}
	for _, d := range w.Days {
		if d.Date == civil.MustDate("2024-07-03") || d.Date == civil.MustDate("2024-07-04") {
			t.Errorf("%s has no valid maximum and yet was taken", d.Date)
		}
	}
	m := readW(t, text, WeatherOptions{Morning: true})
	if d := on(t, m, "2024-07-01"); d.Max.Celsius() != 27.2 || d.Min.Celsius() != 18.3 || math.Abs(d.Precipitation.Millimetres()-5.1) > 1e-9 {
		t.Errorf("read in the morning, 1 July has the maximum and rain of the 2nd and its own minimum: %+v", d)
	}
}

func TestGHCNDailyElementRows(t *testing.T) {
	text := "USC00999999,20240701,TMAX,283,,,7,0700\nUSC00999999,20240701,TMIN,183,,,7,0700\nUSC00999999,20240701,PRCP,120,,,7,0700\n" +
		"USC00999999,20240702,TMAX,300,,,7,0700\nUSC00999999,20240702,TMIN,190,,,7,0700\nUSC00999999,20240702,PRCP,0,T,,7,0700\nUSC00999999,20240702,SNOW,0,,,7,\nUSC00999999,20240703,TMAX,999,,I,7,0700\n"
	w := readW(t, text, WeatherOptions{})
	if d := on(t, w, "2024-07-01"); d.Max.Celsius() != 30 || d.Min.Celsius() != 18.3 || d.Precipitation != 0 {
		t.Errorf("1 July read as %+v", d)
	}
	evening := strings.ReplaceAll(text, ",0700", ",1700")
	if d := on(t, readW(t, evening, WeatherOptions{}), "2024-07-01"); d.Max.Celsius() != 28.3 {
		t.Errorf("read in the evening, 1 July read as %+v", d)
	}
	notes := strings.Join(w.Notes, " ")
	if !strings.Contains(notes, "moved to the day before") || !strings.Contains(notes, "quality checks") {
		t.Errorf("notes: %s", notes)
	}
	two := readW(t, text+"USC00888888,20240703,TMAX,280,,,7,\n", WeatherOptions{})
	if len(two.Problems) != 1 || !strings.Contains(two.Problems[0].Reason, "several stations") {
		t.Errorf("two stations: %v", two.Problems)
	}
}

func FuzzReadWeather(f *testing.F) {
	f.Add([]byte("date,temp_max_c,temp_min_c\n2026-07-01,35,20\n"))
	f.Add([]byte("USC00999999,20240701,TMAX,283,,,7,0700\n"))
	f.Add([]byte("USC00999999202407TMAX  283  7"))
	f.Fuzz(func(t *testing.T, b []byte) {
		w, err := ReadWeather(b, "f", WeatherOptions{})
		if err == nil && len(w.Problems) == 0 && len(w.Days) == 0 {
			t.Error("nothing read and nothing said")
		}
	})
}
