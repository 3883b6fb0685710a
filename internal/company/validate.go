package company

import (
	"regexp"
	"slices"
	"strings"

	"thirdcut/internal/fault"
)

var twoLetters = regexp.MustCompile(`^[A-Z]{2}$`)

// Validate says what is wrong with the settings, or nil. The fault is
// fault.Invalid "company" with a JSON pointer for each wrong place.
func Validate(s Settings) error {
	bad := fault.New(fault.Invalid, "company", "the company's settings cannot be saved as they are; correct the places named")
	if strings.TrimSpace(s.Name) == "" {
		bad.With("/name", "give the company's name, as it stands on records and notices")
	}
	if s.Zone == nil {
		bad.With("/time_zone", "give the time zone by its tz database name, such as America/New_York")
	}
	if !twoLetters.MatchString(s.State) {
		bad.With("/state", "give the state by its two capital letters, such as MD")
	}
	if len(s.WorkWeek) == 0 {
		bad.With("/work_week", "name at least one day on which the company works")
	}
	for i, day := range s.WorkWeek {
		if day < 1 || day > 7 {
			bad.With("/work_week", "%d is no weekday; Monday is 1 and Sunday is 7", day)
		} else if slices.Contains(s.WorkWeek[:i], day) {
			bad.With("/work_week", "weekday %d is named twice", day)
		}
	}
	for i, day := range s.Holidays {
		if day.IsZero() {
			bad.With("/holidays", "a holiday without a date cannot be kept; write it YYYY-MM-DD")
		} else if slices.Contains(s.Holidays[:i], day) {
			bad.With("/holidays", "%s is named twice", day)
		}
	}
	if len(bad.Fields) == 0 {
		return nil
	}
	return bad
}

// SameDays says whether two settings give the same due windows: same zone,
// state, rules, working days and weather.
func (s Settings) SameDays(o Settings) bool {
	return s.Zone.String() == o.Zone.String() && s.State == o.State && s.WeatherPlaceID == o.WeatherPlaceID &&
		slices.Equal(s.WorkWeek, o.WorkWeek) && slices.Equal(s.Holidays, o.Holidays) &&
		slices.Equal(s.Jurisdictions, o.Jurisdictions) && s.ClockAt.Equal(o.ClockAt)
}
