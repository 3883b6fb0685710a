package visit

import (
	"fmt"

	"thirdcut/internal/fault"
)

// Validate says what is wrong with a visit that the office places. The error is
// a fault.Invalid coded "visit" that names each place.
func Validate(v Visit) error {
	bad := fault.New(fault.Invalid, "visit", "the visit cannot be kept like this")
	if v.Date.IsZero() {
		bad = bad.With("/date", "the visit has no date; give one")
	}
	if v.Leave < v.Arrive || v.Arrive < 0 || v.Leave > 1440 {
		bad = bad.With("/leave", "the visit must end after it begins, on the same day")
	}
	if len(v.Tasks) == 0 {
		bad = bad.With("/tasks", "there is nothing to do on the visit; name an area and the work")
	}
	for i, t := range v.Tasks {
		at := fmt.Sprintf("/tasks/%d", i)
		if !t.Work.Known() {
			bad = bad.With(at+"/work", "%q is no kind of work", t.Work)
		}
		if t.Minutes < 0 {
			bad = bad.With(at+"/minutes", "work takes no less than 0 minutes")
		}
	}
	if len(bad.Fields) > 0 {
		return bad
	}
	return nil
}
