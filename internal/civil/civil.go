// Package civil holds business dates, times of day and the clock.
package civil

import (
	"database/sql/driver"
	"fmt"
	"time"
)

// Date is a calendar day without a zone. The zero value is "no date".
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// On makes a date; an impossible day rolls over as in time.Date.
func On(year int, month time.Month, day int) Date {
	return fromTime(time.Date(year, month, day, 0, 0, 0, 0, time.UTC))
}

// DateOf is the day that the instant falls on in the zone.
func DateOf(t time.Time, zone *time.Location) Date { return fromTime(t.In(zone)) }

func fromTime(t time.Time) Date {
	y, m, d := t.Date()
	return Date{y, m, d}
}

// ParseDate reads YYYY-MM-DD and refuses a day that does not exist.
func ParseDate(s string) (Date, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return Date{}, fmt.Errorf("%q is not a date that exists, written YYYY-MM-DD", s)
	}
	return fromTime(t), nil
}

// MustDate is ParseDate for constants in tests and tables; it panics on a bad date.
func MustDate(s string) Date {
	d, err := ParseDate(s)
	if err != nil {
		panic(err)
	}
	return d
}

// IsZero says whether there is no date.
func (d Date) IsZero() bool { return d == Date{} }

// String writes YYYY-MM-DD, or the empty string for no date.
func (d Date) String() string {
	if d.IsZero() {
		return ""
	}
	return fmt.Sprintf("%04d-%02d-%02d", d.Year, int(d.Month), d.Day)
}

// Words writes the date as a person reads it: "Tue 3 Jun 2026".
func (d Date) Words() string {
	if d.IsZero() {
		return "no date"
	}
	return d.midnightUTC().Format("Mon 2 Jan 2006")
}

func (d Date) midnightUTC() time.Time {
	return time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC)
}

// DayNumber counts days from 1970-01-01; the difference of two is whole days.
func (d Date) DayNumber() int {
	s := d.midnightUTC().Unix()
	if s < 0 && s%86400 != 0 {
		return int(s/86400) - 1
	}
	return int(s / 86400)
}

// FromDayNumber is the inverse of DayNumber.
func FromDayNumber(n int) Date { return fromTime(time.Unix(int64(n)*86400, 0).UTC()) }

// AddDays moves by whole days, over month and year ends.
func (d Date) AddDays(n int) Date { return fromTime(d.midnightUTC().AddDate(0, 0, n)) }

// AddYears moves by years; 29 February becomes 1 March in a common year.
func (d Date) AddYears(n int) Date { return fromTime(d.midnightUTC().AddDate(n, 0, 0)) }

// Since is the number of days from e to d; negative when d is earlier.
func (d Date) Since(e Date) int { return d.DayNumber() - e.DayNumber() }

// Before says whether d is earlier than e.
func (d Date) Before(e Date) bool { return d.DayNumber() < e.DayNumber() }

// After says whether d is later than e.
func (d Date) After(e Date) bool { return d.DayNumber() > e.DayNumber() }

// Compare is -1, 0 or 1.
func (d Date) Compare(e Date) int {
	switch {
	case d.Before(e):
		return -1
	case d.After(e):
		return 1
	}
	return 0
}

// Weekday is the day of the week.
func (d Date) Weekday() time.Weekday { return d.midnightUTC().Weekday() }

// YearDay counts from 1 on 1 January.
func (d Date) YearDay() int { return d.midnightUTC().YearDay() }

// At is the instant of a time of day on that date in the zone. A time that the
// clocks skip in spring is moved on by what they skip, so that it lies after
// the change; of a time that comes twice in autumn it is the first.
func (d Date) At(t TimeOfDay, zone *time.Location) time.Time {
	at := time.Date(d.Year, d.Month, d.Day, int(t)/60, int(t)%60, 0, 0, zone)
	asked := time.Date(d.Year, d.Month, d.Day, int(t)/60, int(t)%60, 0, 0, time.UTC)
	// time.Date leaves open on which side of a change it falls.
	if behind := asked.Sub(wall(at)); behind > 0 {
		return at.Add(behind)
	}
	if first := at.Add(-time.Hour); wall(first).Equal(asked) {
		return first
	}
	return at
}

// wall is what the clock on the wall shows at the instant, as if it stood in UTC.
func wall(t time.Time) time.Time {
	_, offset := t.Zone()
	return t.UTC().Add(time.Duration(offset) * time.Second)
}

// MarshalText writes the ISO form; no date is the empty string.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads the ISO form; the empty string is no date.
func (d *Date) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*d = Date{}
		return nil
	}
	v, err := ParseDate(string(b))
	if err != nil {
		return err
	}
	*d = v
	return nil
}

// Value stores the date; no date is NULL.
func (d Date) Value() (driver.Value, error) {
	if d.IsZero() {
		return nil, nil
	}
	return d.String(), nil
}

// Scan reads a PostgreSQL date, which the driver hands over as midnight UTC.
func (d *Date) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*d = Date{}
		return nil
	case time.Time:
		*d = fromTime(v.UTC())
		return nil
	case string:
		return d.UnmarshalText([]byte(v[:min(len(v), 10)]))
	case []byte:
		return d.UnmarshalText(v[:min(len(v), 10)])
	}
	return fmt.Errorf("scan date: %T is no date", src)
}

// TimeOfDay is minutes after midnight, 0 to 1440 (24:00 closes a day).
type TimeOfDay int

// ParseTimeOfDay reads HH:MM, 00:00 to 24:00.
func ParseTimeOfDay(s string) (TimeOfDay, error) {
	if s == "24:00" || s == "24:00:00" {
		return 1440, nil
	}
	for _, layout := range []string{"15:04", "15:04:05"} {
		if t, err := time.Parse(layout, s); err == nil {
			return TimeOfDay(t.Hour()*60 + t.Minute()), nil
		}
	}
	return 0, fmt.Errorf("%q is not a time of day, written HH:MM", s)
}

// TimeOf is the time of day of the instant in the zone, seconds dropped.
func TimeOf(t time.Time, zone *time.Location) TimeOfDay {
	l := t.In(zone)
	return TimeOfDay(l.Hour()*60 + l.Minute())
}

// String writes HH:MM.
func (t TimeOfDay) String() string { return fmt.Sprintf("%02d:%02d", int(t)/60, int(t)%60) }

// MarshalText writes HH:MM.
func (t TimeOfDay) MarshalText() ([]byte, error) { return []byte(t.String()), nil }

// UnmarshalText reads HH:MM.
func (t *TimeOfDay) UnmarshalText(b []byte) (err error) {
	*t, err = ParseTimeOfDay(string(b))
	return err
}

// Value stores HH:MM.
func (t TimeOfDay) Value() (driver.Value, error) { return t.String(), nil }

// Scan reads a PostgreSQL time, which the driver hands over as a time of 1
// January of year 0, and 24:00 as midnight of the day after.
func (t *TimeOfDay) Scan(src any) error {
	switch v := src.(type) {
	case time.Time:
		*t = TimeOfDay((v.Day()-1)*1440 + v.Hour()*60 + v.Minute())
		if *t < 0 || *t > 1440 {
			return fmt.Errorf("scan time of day: %s is an instant, no time of day", v)
		}
		return nil
	case string:
		return t.UnmarshalText([]byte(v))
	case []byte:
		return t.UnmarshalText(v)
	}
	return fmt.Errorf("scan time of day: %T is none", src)
}

// MonthDay is a day of any year, written MM-DD. The zero value is "none", written empty.
type MonthDay struct {
	Month time.Month
	Day   int
}

// ParseMonthDay reads MM-DD; 02-29 exists.
func ParseMonthDay(s string) (MonthDay, error) {
	t, err := time.Parse(time.DateOnly, "2000-"+s)
	if err != nil {
		return MonthDay{}, fmt.Errorf("%q is not a month and day, written MM-DD", s)
	}
	return MonthDay{t.Month(), t.Day()}, nil
}

// String writes MM-DD, or the empty string for none.
func (m MonthDay) String() string {
	if m == (MonthDay{}) {
		return ""
	}
	return fmt.Sprintf("%02d-%02d", int(m.Month), m.Day)
}

// MarshalText writes MM-DD; none is the empty string.
func (m MonthDay) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText reads MM-DD; the empty string is none.
func (m *MonthDay) UnmarshalText(b []byte) (err error) {
	if len(b) == 0 {
		*m = MonthDay{}
		return nil
	}
	*m, err = ParseMonthDay(string(b))
	return err
}

// Value stores MM-DD; the zero value is NULL.
func (m MonthDay) Value() (driver.Value, error) {
	if m == (MonthDay{}) {
		return nil, nil
	}
	return m.String(), nil
}

// Scan reads MM-DD.
func (m *MonthDay) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*m = MonthDay{}
		return nil
	case string:
		return m.UnmarshalText([]byte(v))
	case []byte:
		return m.UnmarshalText(v)
	}
	return fmt.Errorf("scan month and day: %T is none", src)
}

// Within says whether the date lies in the range from..to of its year, both
// ends included; a range whose end is before its start wraps the year end.
func (d Date) Within(from, to MonthDay) bool {
	at, lo, hi := int(d.Month)*100+d.Day, int(from.Month)*100+from.Day, int(to.Month)*100+to.Day
	if lo <= hi {
		return lo <= at && at <= hi
	}
	return at >= lo || at <= hi
}

// Clock tells business time. Now is an instant; Zone is the company's.
type Clock struct {
	Now  func() time.Time
	Zone *time.Location
}

// Today is the business day.
func (c Clock) Today() Date { return DateOf(c.Now(), c.Zone) }
