package product

import (
	"regexp"
	"slices"
	"strings"
	"time"

	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
)

// Kinds and Forms list what a product can be.
var (
	Kinds = []string{"pesticide", "fertiliser", "both"}
	Forms = []string{"dry", "liquid"}
)

// epaRegNo is the form in which labels print a registration number: company and
// product, or company, product and distributor (40 CFR 156.10(e)). Letters are
// let through so that special local needs registrations and invented examples fit.
var epaRegNo = regexp.MustCompile(`^[0-9A-Z]+-[0-9A-Z]+(-[0-9A-Z]+)?$`)

func orNil(bad *fault.Error) error {
	if len(bad.Fields) == 0 {
		return nil
	}
	return bad
}

// Validate says what is wrong with a product, or nil: fault.Invalid "product"
// with a JSON pointer for each wrong place.
func Validate(p Product) error {
	bad := fault.New(fault.Invalid, "product", "the product cannot be saved as entered; correct the places named")
	if strings.TrimSpace(p.Name) == "" {
		bad.With("/name", "give the name as the label shows it")
	}
	if len([]rune(p.Name)) > 200 {
		bad.With("/name", "is longer than 200 characters; shorten it")
	}
	if !slices.Contains(Kinds, p.Kind) {
		bad.With("/kind", "%q is none of %s", p.Kind, strings.Join(Kinds, ", "))
	}
	if !slices.Contains(Forms, p.Form) {
		bad.With("/form", "%q is none of %s", p.Form, strings.Join(Forms, ", "))
	}
	if p.Pesticide() {
		checkPesticide(bad, p)
	} else if p.RestrictedUse {
		bad.With("/restricted_use", "only a pesticide can be of restricted use; correct the kind, or this")
	}
	checkAnalysis(bad, p)
	return orNil(bad)
}

func checkPesticide(bad *fault.Error, p Product) {
	if strings.TrimSpace(p.ActiveIngredient) == "" {
		bad.With("/active_ingredient", "give the active ingredient from the label; records must name it")
	}
	switch {
	case p.EPARegNo == "" && p.RestrictedUse:
		bad.With("/epa_reg_no", "give the registration number from the label; every restricted use product has one")
	case p.EPARegNo != "" && !epaRegNo.MatchString(strings.ToUpper(p.EPARegNo)):
		bad.With("/epa_reg_no", "%q is no registration number; write it as on the label, two or three groups with hyphens", p.EPARegNo)
	}
}

func checkAnalysis(bad *fault.Error, p Product) {
	shares := []struct {
		pointer string
		percent *float64
	}{
		{"/concentration_percent", p.ConcentrationPercent}, {"/n_percent", p.NPercent}, {"/p2o5_percent", p.P2O5Percent},
		{"/k2o_percent", p.K2OPercent}, {"/n_slow_percent", p.NSlowPercent}, {"/fe_percent", p.FePercent},
	}
	for _, s := range shares {
		if s.percent != nil && !(*s.percent >= 0 && *s.percent <= 100) {
			bad.With(s.pointer, "%g is no percentage; enter 0 to 100", *s.percent)
		}
	}
	total := 0.0
	for _, s := range []*float64{p.NPercent, p.P2O5Percent, p.K2OPercent, p.FePercent} {
		if s != nil {
			total += *s
		}
	}
	if total > 100 {
		bad.With("/n_percent", "nitrogen, phosphate, potash and iron together are %g percent; correct them from the bag", total)
	}
	if p.NSlowPercent != nil && *p.NSlowPercent > 0 && (p.NPercent == nil || *p.NPercent == 0) {
		bad.With("/n_slow_percent", "is the share of the nitrogen that is slow release, but there is no nitrogen")
	}
}

// ValidateLabel says what is wrong with a label version of the product, or nil:
// fault.Invalid "label-version" with a JSON pointer for each wrong place.
func ValidateLabel(p Product, v LabelVersion) error {
	bad := fault.New(fault.Invalid, "label-version", "the label's limits cannot be saved as entered; correct the places named")
	if strings.TrimSpace(v.Revision) == "" {
		bad.With("/revision", "give the label's own revision mark, or its date")
	}
	if strings.TrimSpace(v.Pattern) == "" {
		bad.With("/pattern", "say in words which use on turf these limits are for")
	}
	if v.InForceFrom.IsZero() {
		bad.With("/in_force_from", "give the day from which these limits hold")
	}
	if limits := fault.As(v.Limits.ValidateFor(label.Form(p.Form))); limits != nil {
		for _, f := range limits.Fields {
			bad.With("/limits"+f.Pointer, "%s", f.Detail)
		}
	}
	if p.Pesticide() && strings.TrimSpace(v.Limits.ReentryText) == "" {
		bad.With("/limits/reentry_text", "write what the label says about when people may come back, such as: until dry")
	}
	return orNil(bad)
}

// licensed says whether the person may answer for the product's label: anybody
// for a plain fertiliser, a holder of a pesticide licence in force otherwise.
func licensed(p Product, person crew.Person, state string, today civil.Date) bool {
	if !person.LeftOn.IsZero() && !today.Before(person.LeftOn) {
		return false
	}
	if !p.Pesticide() {
		return true
	}
	_, ok := person.FindLicense(crew.Pesticide, state, today)
	return ok
}

// Confirm returns the version as confirmed by the person, who has compared the
// entered limits with the label. For a pesticide the person needs a pesticide
// licence of the state in force today, and must be another than the one who
// entered it, unless nobody else of the staff could confirm it; such a version
// is then Solo. Faults: Conflict "label-confirmed", Rule "license-needed",
// Rule "second-person".
func Confirm(p Product, v LabelVersion, by crew.Person, staff []crew.Person, state string, today civil.Date, at time.Time) (LabelVersion, error) {
	if v.Confirmed() {
		return v, fault.New(fault.Conflict, "label-confirmed", "revision %s of the label is confirmed already; enter a new revision to change it", v.Revision)
	}
	if !licensed(p, by, state, today) {
		return v, fault.New(fault.Rule, "license-needed",
			"%s has no pesticide licence of %s in force on %s; a licensed person must compare the entry with the label", by.Name, state, today)
	}
	if by.ID == v.EnteredBy {
		for _, other := range staff {
			if other.ID != by.ID && licensed(p, other, state, today) {
				return v, fault.New(fault.Rule, "second-person",
					"%s entered these limits, so another person must compare them with the label; %s can", by.Name, other.Name)
			}
		}
	}
	v.ConfirmedBy, v.ConfirmedAt = by.ID, at
	return v, nil
}
