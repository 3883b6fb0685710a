package recordrule

import (
	"fmt"
	"reflect"
	"slices"
	"strings"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
)

// Parse reads a rule file from any folder; name is for the errors. A file that
// is no JSON, uses an element or condition id that the vocabulary lacks, or
// says something that cannot be judged (an unknown kind, applies_to or unit of
// time) is a bad file: fault.Invalid "rule-file" naming file, line, column and
// id. Keys that this program does not use are kept in Warnings.
func Parse(name string, data []byte) (Rule, error) {
	doc, err := readDocument(name, "rule-file", data)
	if err != nil {
		return Rule{}, err
	}
	if !doc.isObject() {
		return Rule{}, doc.bad("", "a rule file is one JSON object")
	}
	var r Rule
	if err := doc.into(&r); err != nil {
		return Rule{}, err
	}
	if r.Kind == "" {
		r.Kind = RecordRule
	}
	for _, check := range []func(*document) *fault.Error{
		r.checkHead, r.checkElements, r.checkAlternatives, r.checkSpot, r.checkTimes, r.checkFertiliser,
	} {
		if bad := check(doc); bad != nil {
			return Rule{}, bad
		}
	}
	r.Warnings = append(unusedKeys(doc, reflect.TypeOf(r), ""), r.oddWords()...)
	return r, nil
}

// checkFertiliser refuses figures that can be no limit.
func (r *Rule) checkFertiliser(doc *document) *fault.Error {
	l := r.Fertiliser
	if l == nil {
		return nil
	}
	for key, v := range map[string]*float64{
		"n_soluble_per_application_lb_per_1000sqft": l.NSoluble, "n_per_application_lb_per_1000sqft": l.N,
		"n_enhanced_lb_per_1000sqft": l.NEnhanced, "n_enhanced_per_year_lb_per_1000sqft": l.NEnhancedYear,
		"n_per_year_lb_per_1000sqft": l.NYear, "p2o5_per_application_lb_per_1000sqft": l.P2O5,
		"p2o5_per_year_lb_per_1000sqft": l.P2O5Year, "p2o5_starter_lb_per_1000sqft": l.P2O5Starter,
		"water_setback_ft": l.SetbackFt,
	} {
		if v != nil && *v < 0 {
			return doc.bad("/fertiliser_limits/"+key, "%g is under nothing", *v)
		}
	}
	for i, b := range l.Blackout {
		at := fmt.Sprintf("/fertiliser_limits/blackout/%d", i)
		if b.From == (civil.MonthDay{}) || b.To == (civil.MonthDay{}) {
			return doc.bad(at, "a closed season needs from and to, each written MM-DD")
		}
		for _, n := range b.Nutrients {
			if !slices.Contains([]string{"N", "P", "any fertiliser"}, n) {
				return doc.bad(at+"/nutrients", `%q is no nutrient here; use "N", "P" or "any fertiliser"`, n)
			}
		}
	}
	return nil
}

func (r *Rule) checkHead(doc *document) *fault.Error {
	switch {
	case r.Schema > 1:
		return doc.bad("/schema", "the file is in form %d; this program reads form 1", r.Schema)
	case !slices.Contains([]Kind{RecordRule, PostingRule, IncompleteRule}, r.Kind):
		return doc.bad("/kind", "%q is no kind of rule; use %s, %s or %s", r.Kind, RecordRule, PostingRule, IncompleteRule)
	case strings.TrimSpace(r.ID) == "":
		return doc.bad("/id", "the rule has no id")
	case !slices.Contains([]string{AppliesToAll, AppliesToRestricted, AppliesToLawnCare, AppliesToFertiliser}, r.AppliesTo.Value):
		return doc.bad("/applies_to/value", "%q does not say to which products the rule applies; use %s, %s, %s or %s",
			r.AppliesTo.Value, AppliesToAll, AppliesToRestricted, AppliesToLawnCare, AppliesToFertiliser)
	case !r.EffectiveFrom.IsZero() && !r.EffectiveTo.IsZero() && r.EffectiveTo.Before(r.EffectiveFrom):
		return doc.bad("/effective_to", "the rule ends on %s, before it begins on %s", r.EffectiveTo, r.EffectiveFrom)
	}
	return nil
}

func (r *Rule) checkElements(doc *document) *fault.Error {
	for i, e := range r.Elements {
		at := fmt.Sprintf("/elements/%d", i)
		if bad := elementIDs(doc, at+"/id", e.ID); bad != nil {
			return bad
		}
		if bad := elementIDs(doc, at+"/any_of", e.AnyOf...); bad != nil {
			return bad
		}
		for _, c := range e.ConditionalOn {
			if !Words().HasCondition(c) {
				return doc.bad(at+"/conditional_on", "%q is no condition id of the vocabulary", c)
			}
		}
	}
	return nil
}

func elementIDs(doc *document, pointer string, ids ...string) *fault.Error {
	for _, id := range ids {
		if !Words().HasElement(id) {
			return doc.bad(pointer, "%q is no element id of the vocabulary", id)
		}
	}
	return nil
}

func (r *Rule) checkAlternatives(doc *document) *fault.Error {
	for i, a := range r.Alternatives {
		at := fmt.Sprintf("/alternatives/%d", i)
		if strings.TrimSpace(a.ID) == "" {
			return doc.bad(at, "the alternative has no id under which it could be reported")
		}
		if len(a.OneOf) == 0 {
			return doc.bad(at, "the alternative %q lists nothing in one_of", a.ID)
		}
		for j, list := range a.OneOf {
			place := fmt.Sprintf("%s/one_of/%d", at, j)
			if len(list) == 0 {
				return doc.bad(place, "an empty list of %q would always be met", a.ID)
			}
			if bad := elementIDs(doc, place, list...); bad != nil {
				return bad
			}
		}
	}
	return nil
}

func (r *Rule) checkSpot(doc *document) *fault.Error {
	if r.SpotRule == nil {
		return nil
	}
	return elementIDs(doc, "/spot_rule/elements", r.SpotRule.Elements...)
}

func (r *Rule) checkTimes(doc *document) *fault.Error {
	if t := r.TimeToRecord; t != nil {
		if !slices.Contains([]string{Hour, Day, WorkingDay}, t.Unit) {
			return doc.bad("/time_to_record/unit", "%q is no unit of time here; use %s, %s or %s", t.Unit, Hour, Day, WorkingDay)
		}
		if t.Value < 0 || t.Value > maxTimeToRecord {
			return doc.bad("/time_to_record/value", "%d is outside 0 to %d", t.Value, maxTimeToRecord)
		}
	}
	if k := r.Retention; k != nil {
		if k.Years < 0 || k.Years > maxYears {
			return doc.bad("/retention_years/value", "%d is outside 0 to %d years", k.Years, maxYears)
		}
		for class, years := range k.ByClass {
			if !Words().HasCondition(class) {
				return doc.bad("/retention_years/by_class", "%q is no condition id of the vocabulary", class)
			}
			if years < 0 || years > maxYears {
				return doc.bad("/retention_years/by_class", "%d is outside 0 to %d years", years, maxYears)
			}
		}
	}
	return nil
}

// Ends past which a figure in a file is a slip of the pen, not a rule.
const (
	maxTimeToRecord = 10000
	maxYears        = 100
)

// oddWords names words of closed lists that this program does not know but can do without.
func (r *Rule) oddWords() []string {
	var odd []string
	status := func(pointer, s string) {
		if s != "" && Words().Statuses[s] == "" {
			odd = append(odd, fmt.Sprintf("%s: %q is no known status", pointer, s))
		}
	}
	status("/applies_to/status", r.AppliesTo.Status)
	for i, e := range r.Elements {
		status(fmt.Sprintf("/elements/%d/status", i), e.Status)
	}
	if p := r.Posting; p != nil && p.Placed != "" && !slices.Contains(placings, p.Placed) {
		odd = append(odd, fmt.Sprintf("/posting/placed: %q is no known time of placing", p.Placed))
	}
	if r.Kind == RecordRule && len(r.Elements) == 0 {
		odd = append(odd, "/elements: the rule asks for nothing")
	}
	return odd
}

// unusedKeys lists the keys of the file that no field of the type reads.
func unusedKeys(doc *document, t reflect.Type, pointer string) []string {
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	var unused []string
	switch {
	case t.Kind() == reflect.Slice && t.Elem().Kind() == reflect.Struct:
		for i := 0; ; i++ {
			child := fmt.Sprintf("%s/%d", pointer, i)
			if _, there := doc.places()[child]; !there {
				return unused
			}
			unused = append(unused, unusedKeys(doc, t.Elem(), child)...)
		}
	case t.Kind() != reflect.Struct || t.PkgPath() != reflect.TypeOf(Rule{}).PkgPath() || t == reflect.TypeOf(Value{}):
		return nil
	}
	known := map[string]reflect.Type{}
	for i := range t.NumField() {
		name, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
		known[name] = t.Field(i).Type
	}
	for place := range doc.places() {
		rest, inside := strings.CutPrefix(place, pointer+"/")
		if !inside || strings.Contains(rest, "/") {
			continue
		}
		if field, ok := known[rest]; ok {
			unused = append(unused, unusedKeys(doc, field, place)...)
		} else {
			unused = append(unused, place+": this program does not use the key")
		}
	}
	slices.Sort(unused)
	return unused
}
