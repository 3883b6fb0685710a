package recordrule

import (
	"fmt"
	"slices"
	"time"

	"thirdcut/internal/civil"
)

// Units of time_to_record.
const (
	Hour       = "hour"
	Day        = "day"
	WorkingDay = "working_day"
)

// Calendar is what working days and ends of days are counted by.
type Calendar struct {
	Zone     *time.Location // of the business; nil: UTC
	WorkWeek []int          // ISO weekdays, Monday 1 to Sunday 7; empty: Monday to Friday
	Holidays []civil.Date
}

func (c Calendar) zone() *time.Location {
	if c.Zone == nil {
		return time.UTC
	}
	return c.Zone
}

// Works says whether the day is a working day.
func (c Calendar) Works(d civil.Date) bool {
	iso := (int(d.Weekday())+6)%7 + 1
	if len(c.WorkWeek) == 0 {
		return iso <= 5 && !slices.Contains(c.Holidays, d)
	}
	return slices.Contains(c.WorkWeek, iso) && !slices.Contains(c.Holidays, d)
}

// plus returns the day n working days after d; d itself when n is 0.
func (c Calendar) plus(d civil.Date, n int) civil.Date {
	// A work week that is no week at all would never end; every 7 days hold a
	// working day unless holidays take it, so the holidays bound the search.
	for tries := 7 * (n + len(c.Holidays) + 1); n > 0 && tries > 0; tries-- {
		d = d.AddDays(1)
		if c.Works(d) {
			n--
		}
	}
	return d
}

// When tells the times of one application. Zero times are not known.
type When struct {
	StartedAt  time.Time
	FinishedAt time.Time
	RecordedAt time.Time
	Calendar   Calendar
}

// Due is a time by which something must be done. By is the last instant that
// is still in time; On its day. The zero value is no such time.
type Due struct {
	By       time.Time
	On       civil.Date
	Words    string
	Citation string
	Status   string
}

// Late says whether the instant is after the due time.
func (d Due) Late(at time.Time) bool { return at.After(d.By) }

// IsZero says whether there is no due time.
func (d Due) IsZero() bool { return d.By.IsZero() }

// DueBy returns by when the record of an application made on the day must be
// made; ok is false when the rule sets no time, or the day is not known. Hours
// count as elapsed time from the end of the application, from the start of its
// day when the end is not known (the careful reading). Days end at midnight in
// the calendar's zone; 0 days means on the day of the application.
func DueBy(r Rule, on civil.Date, when When) (due Due, ok bool) {
	t := r.TimeToRecord
	if t == nil || on.IsZero() {
		return Due{}, false
	}
	zone := when.Calendar.zone()
	due = Due{Citation: t.Citation, Status: t.Status}
	switch t.Unit {
	case Hour:
		from := when.FinishedAt
		if from.IsZero() {
			from = on.At(0, zone)
		}
		due.By = from.Add(time.Duration(t.Value) * time.Hour)
		due.On = civil.DateOf(due.By, zone)
		due.Words = fmt.Sprintf("within %d h of the application", t.Value)
	case Day:
		due.On = on.AddDays(t.Value)
		due.By = endOf(due.On, zone)
		due.Words = "within " + count(t.Value, "day")
	case WorkingDay:
		due.On = when.Calendar.plus(on, t.Value)
		due.By = endOf(due.On, zone)
		due.Words = "within " + count(t.Value, "working day")
	}
	if t.Value == 0 && t.Unit != Hour {
		due.Words = "on the day of the application"
	}
	return due, true
}

func count(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// endOf is the last instant of the day in the zone.
func endOf(d civil.Date, zone *time.Location) time.Time {
	return d.AddDays(1).At(0, zone).Add(-time.Nanosecond)
}

// RetainUntil is the day through which a record must be kept.
type RetainUntil struct {
	Through  civil.Date
	Years    int
	Citation string
	Status   string
}

// Retain returns how long the record must be kept, counted from the
// application; years by product class go before the general figure, and of
// several classes that hold the longest counts. ok is false when the rule does
// not say, or the day of the application is not known.
func Retain(r Rule, rec Record) (keep RetainUntil, ok bool) {
	k := r.Retention
	if k == nil || rec.Date.IsZero() {
		return RetainUntil{}, false
	}
	years, byClass := k.Years, false
	for class, y := range k.ByClass {
		if rec.Holds(class) && (!byClass || y > years) {
			years, byClass = y, true
		}
	}
	return RetainUntil{Through: rec.Date.AddYears(years), Years: years, Citation: k.Citation, Status: k.Status}, true
}

// CopyDue is by when the customer gets a copy or statement. Required without a
// day (the zero date) means that the rule sets no day.
type CopyDue struct {
	Required bool
	On       civil.Date
	Text     string
	Citation string
	Status   string
}

// CustomerCopyDue returns what the customer gets of an application made on the
// day; ok is false when the rule asks for none.
func CustomerCopyDue(r Rule, on civil.Date) (due CopyDue, ok bool) {
	c := r.CustomerCopy
	if c == nil {
		return CopyDue{}, false
	}
	due = CopyDue{Required: true, Text: c.Text, Citation: c.Citation, Status: c.Status}
	switch {
	case on.IsZero():
	case c.Unit == Day && c.Value.Number != nil:
		due.On = on.AddDays(int(*c.Value.Number))
	case c.Unit == "immediate" || c.Unit == "at_application" || c.Unit == "at_application_or_contract":
		due.On = on
	}
	return due, true
}

// NoticeBefore returns the instant before which neighbours or customers must
// have been told of an application that starts then; ok is false when the rule
// gives no hours. Whether the duty holds at all may depend on a local law or a
// register: see Notification.Conditional and Text.
func NoticeBefore(r Rule, start time.Time) (by time.Time, ok bool) {
	n := r.Notification
	if n == nil || n.Unit != Hour || n.Value.Number == nil || start.IsZero() {
		return time.Time{}, false
	}
	return start.Add(-time.Duration(*n.Value.Number * float64(time.Hour))), true
}
