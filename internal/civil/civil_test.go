package civil

import (
	"encoding/json"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// FAO-56 annex 2, table 2.5 (number of the day in the year): the first day of
// each month in a common and in a leap year, and the year's last day.
func TestYearDayIsFAOs(t *testing.T) {
	for _, row := range []struct {
		monthDay     string
		common, leap int
	}{
		{"01-01", 1, 1}, {"02-01", 32, 32}, {"03-01", 60, 61}, {"04-01", 91, 92}, {"05-01", 121, 122}, {"06-01", 152, 153},
		{"07-01", 182, 183}, {"08-01", 213, 214}, {"09-01", 244, 245}, {"10-01", 274, 275}, {"11-01", 305, 306}, {"12-01", 335, 336}, {"12-31", 365, 366},
	} {
		if got := MustDate("2025-" + row.monthDay).YearDay(); got != row.common {
			t.Errorf("2025-%s is day %d, want %d", row.monthDay, got, row.common)
		}
		if got := MustDate("2024-" + row.monthDay).YearDay(); got != row.leap {
			t.Errorf("2024-%s is day %d, want %d", row.monthDay, got, row.leap)
		}
	}
}

// Day 0 is the Unix epoch, a Thursday; 2000-03-01 is 11,017 days on: 30 years
// of 365 days, the 7 leap days of 1972 to 1996, then 31 + 29 days of 2000, a
// leap year in the Gregorian calendar, as 1900 is not.
func TestDayNumbers(t *testing.T) {
	for _, row := range []struct {
		date    string
		number  int
		weekday time.Weekday
	}{
		{"1970-01-01", 0, time.Thursday}, {"1969-12-31", -1, time.Wednesday}, {"2000-03-01", 30*365 + 7 + 31 + 29, time.Wednesday},
		{"1900-03-01", -(70*365 + 17) + 31 + 28, time.Thursday}, {"2026-06-03", 20607, time.Wednesday},
	} {
		d := MustDate(row.date)
		if d.DayNumber() != row.number || FromDayNumber(row.number) != d || d.Weekday() != row.weekday {
			t.Errorf("%s: number %d, back %s, %s; want %d, %s", d, d.DayNumber(), FromDayNumber(row.number), d.Weekday(), row.number, row.weekday)
		}
	}
}

func TestDatesThatDoNotExist(t *testing.T) {
	for _, s := range []string{"2026-02-29", "1900-02-29", "2026-04-31", "2026-13-01", "2026-00-10", "2026-6-3", "06/03/2026", "2026-06-03T00:00:00Z", "", " 2026-06-03"} {
		if d, err := ParseDate(s); err == nil {
			t.Errorf("%q was read as %s", s, d)
		}
	}
	if d, err := ParseDate("2000-02-29"); err != nil || d != On(2000, time.February, 29) {
		t.Errorf("29 February 2000: %v %v", d, err)
	}
	if got := MustDate("2024-02-29").AddYears(1); got != MustDate("2025-03-01") {
		t.Errorf("29 February a year on is %s", got)
	}
	if got := MustDate("2026-06-03").Words(); got != "Wed 3 Jun 2026" {
		t.Errorf("words %q", got)
	}
	if (Date{}).String() != "" || (Date{}).Words() != "no date" {
		t.Errorf("no date is written %q, %q", Date{}.String(), Date{}.Words())
	}
}

func TestDateArithmetic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(-80_000, 120_000).Draw(t, "n")
		step := rapid.IntRange(-5_000, 5_000).Draw(t, "step")
		d := FromDayNumber(n)
		e := d.AddDays(step)
		if e.Since(d) != step || d.Before(e) != (step > 0) || d.After(e) != (step < 0) {
			t.Fatalf("%s and %d days is %s, %d apart", d, step, e, e.Since(d))
		}
		if c := d.Compare(e); c != sign(-step) {
			t.Fatalf("%s against %s is %d", d, e, c)
		}
		if back, err := ParseDate(d.String()); err != nil || back != d {
			t.Fatalf("%s read again is %s, %v", d, back, err)
		}
		// The FAO-56 rule for the day of the year (eq. in table 2.5's note).
		m, j := int(d.Month), int(275*float64(d.Month)/9-30+float64(d.Day))-2
		leap := d.Year%4 == 0 && (d.Year%100 != 0 || d.Year%400 == 0)
		if m < 3 {
			j += 2
		}
		if leap && m > 2 {
			j++
		}
		if d.YearDay() != j {
			t.Fatalf("%s is day %d of the year, FAO-56's rule says %d", d, d.YearDay(), j)
		}
	})
}

func sign(n int) int {
	switch {
	case n < 0:
		return -1
	case n > 0:
		return 1
	}
	return 0
}

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// The clocks of the eastern United States went forward at 02:00 on 8 March
// 2026 and back at 02:00 on 1 November 2026 (15 U.S.C. 260a: second Sunday of
// March, first Sunday of November).
func TestClockChangesAndLateEvenings(t *testing.T) {
	z := zone(t, "America/New_York")
	for _, row := range []struct {
		name    string
		instant string
		day     string
		time    string
	}{
		{"late evening is still today", "2026-06-04T03:30:00Z", "2026-06-03", "23:30"},
		{"last minute before the clocks go forward", "2026-03-08T06:59:00Z", "2026-03-08", "01:59"},
		{"first minute after", "2026-03-08T07:00:00Z", "2026-03-08", "03:00"},
		{"first half past one in November", "2026-11-01T05:30:00Z", "2026-11-01", "01:30"},
		{"second half past one in November", "2026-11-01T06:30:00Z", "2026-11-01", "01:30"},
	} {
		at, err := time.Parse(time.RFC3339, row.instant)
		if err != nil {
			t.Fatal(err)
		}
		if d, tod := DateOf(at, z), TimeOf(at, z); d.String() != row.day || tod.String() != row.time {
			t.Errorf("%s: %s %s, want %s %s", row.name, d, tod, row.day, row.time)
		}
	}
	midnights := func(day string) time.Duration {
		d := MustDate(day)
		return d.At(1440, z).Sub(d.At(0, z))
	}
	if midnights("2026-03-08") != 23*time.Hour || midnights("2026-11-01") != 25*time.Hour || midnights("2026-06-03") != 24*time.Hour {
		t.Errorf("days of %v, %v and %v", midnights("2026-03-08"), midnights("2026-11-01"), midnights("2026-06-03"))
	}
	if got := MustDate("2026-03-08").At(150, z).UTC().Format(time.TimeOnly); got != "07:30:00" {
		t.Errorf("half past two, which 8 March skips, is %s UTC; want the moment after the change", got)
	}
	if got := MustDate("2026-11-01").At(90, z).UTC().Format(time.TimeOnly); got != "05:30:00" {
		t.Errorf("half past one, which 1 November has twice, is %s UTC; want the first", got)
	}
	clock := Clock{Now: func() time.Time { return time.Date(2026, 6, 4, 3, 59, 0, 0, time.UTC) }, Zone: z}
	if clock.Today() != MustDate("2026-06-03") {
		t.Errorf("today is %s", clock.Today())
	}
}

func TestTimesOfDay(t *testing.T) {
	for text, want := range map[string]TimeOfDay{"00:00": 0, "07:05": 425, "23:59": 1439, "24:00": 1440, "24:00:00": 1440, "12:30:59": 750} {
		got, err := ParseTimeOfDay(text)
		if err != nil || got != want {
			t.Errorf("%q is %d (%v), want %d", text, got, err, want)
		}
	}
	for _, text := range []string{"", "24:01", "25:00", "7", "07:60", "noon", "-1:00"} {
		if got, err := ParseTimeOfDay(text); err == nil {
			t.Errorf("%q was read as %s", text, got)
		}
	}
	for minutes := TimeOfDay(0); minutes <= 1440; minutes++ {
		if back, err := ParseTimeOfDay(minutes.String()); err != nil || back != minutes {
			t.Fatalf("%d minutes written %q are read as %d, %v", minutes, minutes.String(), back, err)
		}
	}
}

// The PostgreSQL driver hands a time over as a time of 1 January of year 0 and
// 24:00 as midnight of the day after; text and bytes come from other ways in.
func TestScanWhatTheDatabaseHandsOver(t *testing.T) {
	var tod TimeOfDay
	for _, row := range []struct {
		src  any
		want TimeOfDay
	}{
		{time.Date(0, 1, 1, 7, 5, 0, 0, time.UTC), 425}, {time.Date(0, 1, 1, 0, 0, 0, 0, time.UTC), 0},
		{time.Date(0, 1, 2, 0, 0, 0, 0, time.UTC), 1440}, {"24:00:00", 1440}, {[]byte("07:05:00"), 425},
	} {
		if err := tod.Scan(row.src); err != nil || tod != row.want {
			t.Errorf("time of day from %v is %s (%v), want %s", row.src, tod, err, row.want)
		}
	}
	var d Date
	// Midnight UTC is the day itself, also for a company west of Greenwich.
	for _, src := range []any{time.Date(2026, 6, 3, 0, 0, 0, 0, time.UTC), "2026-06-03", []byte("2026-06-03T00:00:00Z")} {
		if err := d.Scan(src); err != nil || d != MustDate("2026-06-03") {
			t.Errorf("date from %v is %s, %v", src, d, err)
		}
	}
	if err := d.Scan(nil); err != nil || !d.IsZero() {
		t.Errorf("no date is %s, %v", d, err)
	}
	if err := d.Scan(7); err == nil {
		t.Error("a number was scanned as a date")
	}
	var m MonthDay
	if err := m.Scan([]byte("04-15")); err != nil || m != (MonthDay{time.April, 15}) {
		t.Errorf("month and day %s, %v", m, err)
	}
	if err := m.Scan(nil); err != nil || m != (MonthDay{}) {
		t.Errorf("no month and day is %s, %v", m, err)
	}
	for _, v := range []interface{ Scan(any) error }{&tod, &m} {
		if err := v.Scan(3.5); err == nil {
			t.Errorf("%T took a number", v)
		}
	}
	if v, err := (Date{}).Value(); v != nil || err != nil {
		t.Errorf("no date is stored as %v, %v", v, err)
	}
	if v, err := (MonthDay{}).Value(); v != nil || err != nil {
		t.Errorf("no month and day is stored as %v, %v", v, err)
	}
	if v, err := MustDate("2026-06-03").Value(); v != "2026-06-03" || err != nil {
		t.Errorf("a date is stored as %v, %v", v, err)
	}
}

func TestTextFormsAreReadAgain(t *testing.T) {
	type all struct {
		D Date
		T TimeOfDay
		M MonthDay
	}
	for _, want := range []all{{}, {MustDate("2026-06-03"), 425, MonthDay{time.February, 29}}, {T: 1440}} {
		b, err := json.Marshal(want)
		if err != nil {
			t.Fatal(err)
		}
		var got all
		if err := json.Unmarshal(b, &got); err != nil || got != want {
			t.Errorf("%s read again is %+v, %v", b, got, err)
		}
	}
}

func TestSeasonsMayWrapTheYear(t *testing.T) {
	md := func(s string) MonthDay {
		m, err := ParseMonthDay(s)
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	for _, row := range []struct {
		date, from, to string
		want           bool
	}{
		{"2026-04-01", "04-01", "11-15", true}, {"2026-03-31", "04-01", "11-15", false}, {"2026-11-15", "04-01", "11-15", true}, {"2026-11-16", "04-01", "11-15", false},
		{"2026-12-31", "11-16", "02-28", true}, {"2026-01-01", "11-16", "02-28", true}, {"2028-02-29", "11-16", "02-28", false}, {"2026-11-15", "11-16", "02-28", false},
		{"2026-06-03", "06-03", "06-03", true}, {"2028-02-29", "02-29", "03-01", true},
	} {
		if got := MustDate(row.date).Within(md(row.from), md(row.to)); got != row.want {
			t.Errorf("%s in %s to %s: %v", row.date, row.from, row.to, got)
		}
	}
	for _, s := range []string{"02-30", "4-1", "13-01", "00-00", "", "Apr 1"} {
		if m, err := ParseMonthDay(s); err == nil {
			t.Errorf("%q was read as %s", s, m)
		}
	}
}
