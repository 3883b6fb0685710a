package mowing

import (
	"fmt"

	"thirdcut/internal/fault"
	"thirdcut/internal/unit"
)

// stepDownStress is the water stress Ks under which grass is not stepped down. Ours.
const stepDownStress = 0.5

// mostSteps caps a step-down series: a longer one is no offer to a customer. Ours.
const mostSteps = 8

// Step is one cut of a step-down series.
type Step struct {
	Before, After unit.Length
}

// Series is a step-down: cuts with regrowth between them.
type Series struct {
	Steps   []Step
	Wait    int         // days between cuts
	Reaches bool        // the last cut is at the target
	Stalls  unit.Length // where cuts and regrowth balance, when it never reaches the target; else 0
}

// StepWait is how many days to wait between the cuts of a step-down: 4 from
// 1.5 in up, 2 below. Source: common practice.
func StepWait(target unit.Length) int {
	if target < 1.5*unit.Inch {
		return 2
	}
	return 4
}

// StepDown brings grass from standing to target without a cut that takes more
// than one third, the grass growing at rate for wait days between cuts. It
// reaches the target only when 2 x rate x wait is no more than the target;
// else it stalls at 2 x rate x wait. The series is never longer than eight cuts.
//
// Errors: fault.Rule "bad-height" when a height is not above 0 or standing is
// over 24 in; fault.Invalid "bad-wait" when wait is under 1.
// Source: arithmetic of the one-third rule.
func StepDown(standing, target unit.Length, rate unit.Growth, wait int) (Series, error) {
	if !positive(standing) || standing > HighestReading {
		return Series{}, badHeight("standing height", standing)
	}
	if !positive(target) {
		return Series{}, badHeight("cutting height", target)
	}
	if wait < 1 {
		return Series{}, fault.New(fault.Invalid, "bad-wait", "Cuts cannot be %d days apart; wait at least 1 day.", wait)
	}
	if !(rate > 0) || rate > 1 { // a metre a day is no grass; NaN is no rate
		rate = 0
	}
	s := Series{Wait: wait}
	stall := LowestHeight(rate, float64(wait))
	for len(s.Steps) < mostSteps {
		after := max(target, LowestCut(standing))
		s.Steps = append(s.Steps, Step{standing, after})
		if unit.AtMost(after, target) {
			s.Reaches = true
			return s, nil
		}
		next := after + rate.InDays(float64(wait))
		if unit.AtLeast(next, standing) { // it grows back what was taken
			break
		}
		standing = next
	}
	if !unit.AtMost(stall, target) {
		s.Stalls = stall
	}
	return s, nil
}

// Words offers the series to a person.
func (s Series) Words() string {
	switch {
	case len(s.Steps) == 0:
		return ""
	case s.Reaches && len(s.Steps) == 1:
		return fmt.Sprintf("one cut to %s in takes no more than a third", inches(s.Steps[0].After))
	case s.Reaches:
		return fmt.Sprintf("step down in %d cuts %d days apart: %s", len(s.Steps), s.Wait, s.heights())
	case s.Stalls > 0:
		return fmt.Sprintf("stepping down with %d days between cuts stalls at %s in: keep it taller, cut more often, or wait for next spring's first cut",
			s.Wait, inches(s.Stalls))
	}
	return fmt.Sprintf("stepping down takes more than %d cuts %d days apart: keep it taller or cut more often", mostSteps, s.Wait)
}

func (s Series) heights() string {
	out := ""
	for i, c := range s.Steps {
		if i > 0 {
			out += ", "
		}
		out += inches(c.After)
	}
	return out + " in"
}
