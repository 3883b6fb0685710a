package recordrule

import (
	"slices"

	"thirdcut/internal/fault"
)

// Judges says whether the rule may be used to judge records. An incomplete rule
// may not: fault.Rule "incomplete-rule".
func (r Rule) Judges() error {
	if r.Kind == IncompleteRule {
		return fault.New(fault.Rule, "incomplete-rule",
			"the list of elements of %s (%s) is incomplete, so it cannot show what a record lacks; complete the file from %s first", r.ID, r.Jurisdiction, r.Citation)
	}
	return nil
}

// Applies says whether the rule asks for a record of this application: it is in
// force on the day, and its applies_to takes in the product. A rule that holds
// no record list (signs and fertiliser limits only) applies to no record.
func (r Rule) Applies(rec Record) bool {
	if r.Kind != RecordRule || !r.InForce(rec.Date) {
		return false
	}
	switch r.AppliesTo.Value {
	case AppliesToAll:
		return rec.Pesticide
	case AppliesToRestricted:
		return rec.Pesticide && rec.Holds("restricted_use")
	case AppliesToLawnCare:
		return rec.Pesticide || rec.Fertiliser
	case AppliesToFertiliser:
		return rec.Fertiliser
	}
	return false
}

// Missing returns the ids that the rule requires and the record lacks, sorted,
// never nil when the rule applies. applies is false when it does not, and for
// an incomplete rule (see Judges).
func Missing(r Rule, rec Record) (ids []string, applies bool) {
	if !r.Applies(rec) {
		return nil, false
	}
	ids = []string{}
	for _, id := range r.unmet(rec) {
		if !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	return ids, true
}

// unmet returns the ids in the order of the rule; one may stand there twice.
func (r Rule) unmet(rec Record) []string {
	var ids []string
	if r.spotHolds(rec) {
		for _, id := range r.SpotRule.Elements {
			if !rec.filled(id) {
				ids = append(ids, id)
			}
		}
		return ids
	}
	for _, e := range r.Elements {
		if e.counts(rec) && !e.met(rec) {
			ids = append(ids, e.ID)
		}
	}
	for _, a := range r.Alternatives {
		if !slices.ContainsFunc(a.OneOf, func(list []string) bool { return allFilled(rec, list) }) {
			ids = append(ids, a.ID)
		}
	}
	return ids
}

// spotHolds says whether the short list for spot work takes the place of the
// full one. Where the rule sets an area, it must be known and be under it.
func (r Rule) spotHolds(rec Record) bool {
	s := r.SpotRule
	if s == nil || len(s.Elements) == 0 || !rec.Spot {
		return false
	}
	if s.AreaLimitAcre == nil {
		return true
	}
	return rec.SameDayAreaAcre != nil && *rec.SameDayAreaAcre < *s.AreaLimitAcre
}

// counts says whether all conditions of the element hold.
func (e Element) counts(rec Record) bool {
	for _, c := range e.ConditionalOn {
		if !rec.Holds(c) {
			return false
		}
	}
	return true
}

func (e Element) met(rec Record) bool {
	return rec.filled(e.ID) || slices.ContainsFunc(e.AnyOf, rec.filled)
}

func allFilled(rec Record, ids []string) bool {
	for _, id := range ids {
		if !rec.filled(id) {
			return false
		}
	}
	return true
}

// GapsOf judges each record by the rule: record id to missing ids, nil where
// the rule does not apply. Faults: Rule "incomplete-rule" (see Judges), and
// Invalid "record-date" for a record without a date that can be read, when the
// rule is in force only between dates.
func GapsOf(r Rule, records []Record) (map[string][]string, error) {
	if err := r.Judges(); err != nil {
		return nil, err
	}
	gaps := make(map[string][]string, len(records))
	for _, rec := range records {
		if rec.Date.IsZero() && present(rec.Fields["date"]) && !(r.EffectiveFrom.IsZero() && r.EffectiveTo.IsZero()) {
			return nil, fault.New(fault.Invalid, "record-date",
				"the date of record %s cannot be read, and %s is in force only between dates; write it YYYY-MM-DD", rec.ID, r.ID)
		}
		gaps[rec.ID], _ = Missing(r, rec)
	}
	return gaps, nil
}

// Gap is one element that a record lacks, with what the rule says of it.
type Gap struct {
	Rule        string
	Element     string // element id, or the id of an alternative
	Requirement string
	Meaning     string // of the vocabulary; empty for an alternative
	Unit        string
	Citation    string
	Status      string
	Due         Due // zero when the rule sets no time
}

// Report is what one rule says of one record.
type Report struct {
	Rule        string
	Applies     bool
	Gaps        []Gap // by element id
	Due         Due   // by when the record must be made; zero when the rule sets no time
	Late        bool  // it was made after that
	RetainUntil RetainUntil
	Copy        CopyDue
	Sign        Sign
}

// Gaps returns what the record lacks, with due dates, by element id; applies is
// false when the rule does not apply. The error is that of Judges.
func Gaps(r Rule, rec Record, when When) (gaps []Gap, applies bool, err error) {
	if err := r.Judges(); err != nil {
		return nil, false, err
	}
	ids, applies := Missing(r, rec)
	if !applies {
		return nil, false, nil
	}
	due, _ := DueBy(r, rec.Date, when)
	for _, id := range ids {
		gaps = append(gaps, r.gap(id, rec, due))
	}
	return gaps, true, nil
}

func (r Rule) gap(id string, rec Record, due Due) Gap {
	word := Words().Elements[id]
	g := Gap{Rule: r.ID, Element: id, Meaning: word.Meaning, Unit: word.Unit, Requirement: word.Meaning, Due: due, Citation: r.Citation}
	if r.spotHolds(rec) {
		g.Citation, g.Status = r.SpotRule.Citation, r.SpotRule.Status
		return g
	}
	for _, e := range r.Elements {
		if e.ID == id && e.counts(rec) {
			g.Requirement, g.Citation, g.Status = e.Requirement, e.Citation, e.Status
			return g
		}
	}
	for _, a := range r.Alternatives {
		if a.ID == id {
			g.Requirement, g.Citation, g.Status = a.Requirement, a.Citation, a.Status
		}
	}
	return g
}

// Evaluate returns all that the rule says of the record. The error is that of Judges.
func Evaluate(r Rule, rec Record, when When) (Report, error) {
	report := Report{Rule: r.ID}
	var err error
	if report.Gaps, report.Applies, err = Gaps(r, rec, when); err != nil || !report.Applies {
		return report, err
	}
	due, timed := DueBy(r, rec.Date, when)
	report.Due = due
	report.Late = timed && !when.RecordedAt.IsZero() && due.Late(when.RecordedAt)
	report.RetainUntil, _ = Retain(r, rec)
	report.Copy, _ = CustomerCopyDue(r, rec.Date)
	report.Sign, _ = SignFor(r, rec.Date, when)
	return report, nil
}
