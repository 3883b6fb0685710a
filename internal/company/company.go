// Package company holds the settings of the one company that an installation serves.
package company

import (
	"slices"
	"time"

	"thirdcut/internal/civil"
)

// Settings is what the company says of itself.
type Settings struct {
	Name            string
	Address         string
	Phone           string
	BusinessLicense string // number under which the company may apply pesticides
	Zone            *time.Location
	State           string // two letters
	WorkWeek        []int  // ISO weekdays, Monday 1 to Sunday 7
	Holidays        []civil.Date
	Jurisdictions   []string  // ids of record rules that bind the company
	WeatherPlaceID  string    // the weather place for properties that name none
	ClockAt         time.Time // business time frozen here; zero: real time
	Version         int
}

// WorksOn says whether the company works on that day.
func (s Settings) WorksOn(d civil.Date) bool {
	return slices.Contains(s.WorkWeek, ISOWeekday(d)) && !slices.Contains(s.Holidays, d)
}

// Clock is business time: the real clock, or the frozen moment where one is set.
func (s Settings) Clock(real func() time.Time) civil.Clock {
	if s.ClockAt.IsZero() {
		return civil.Clock{Now: real, Zone: s.Zone}
	}
	at := s.ClockAt
	return civil.Clock{Now: func() time.Time { return at }, Zone: s.Zone}
}

// ISOWeekday counts Monday 1 to Sunday 7.
func ISOWeekday(d civil.Date) int {
	if w := int(d.Weekday()); w > 0 {
		return w
	}
	return 7
}
