package recordrule

import (
	"io/fs"
	"path"
	"slices"
	"strings"
	"sync"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
)

// Set is a number of rules, in the order of their ids and then of their first day.
type Set struct{ rules []Rule }

// Load reads every rule file (*.json, names that start with "_" are shared
// tables) of a folder. Two files with one id are versions of one rule and may
// not be in force on the same day. Faults as Parse.
func Load(files fs.FS) (*Set, error) {
	names, err := fs.Glob(files, "*.json")
	if err != nil {
		return nil, err
	}
	var s Set
	for _, name := range names {
		if strings.HasPrefix(path.Base(name), "_") {
			continue
		}
		data, err := fs.ReadFile(files, name)
		if err != nil {
			return nil, fault.New(fault.Invalid, "rule-file", "%s cannot be opened", name).Because(err)
		}
		r, err := Parse(name, data)
		if err != nil {
			return nil, err
		}
		for _, other := range s.rules {
			if other.ID == r.ID && other.overlaps(r) {
				return nil, fault.New(fault.Invalid, "rule-file", "%s: another file holds the rule %q for the same days; give each version its effective_from and effective_to", name, r.ID)
			}
		}
		s.rules = append(s.rules, r)
	}
	slices.SortStableFunc(s.rules, func(a, b Rule) int {
		if c := strings.Compare(a.ID, b.ID); c != 0 {
			return c
		}
		return a.EffectiveFrom.Compare(b.EffectiveFrom)
	})
	return &s, nil
}

func (r Rule) overlaps(o Rule) bool {
	endsBefore := func(a, b Rule) bool {
		return !a.EffectiveTo.IsZero() && !b.EffectiveFrom.IsZero() && a.EffectiveTo.Before(b.EffectiveFrom)
	}
	return !endsBefore(r, o) && !endsBefore(o, r)
}

// Rules returns all rules of the set.
func (s *Set) Rules() []Rule { return slices.Clone(s.rules) }

// FindByID returns the latest version of the rule; ok is false for an unknown id.
func (s *Set) FindByID(id string) (r Rule, ok bool) {
	for _, each := range s.rules {
		if each.ID == id {
			r, ok = each, true
		}
	}
	return r, ok
}

// FindInForce returns the version of the rule that is in force on the day; ok
// is false when there is none.
func (s *Set) FindInForce(id string, d civil.Date) (r Rule, ok bool) {
	for _, each := range s.rules {
		if each.ID == id && each.InForce(d) {
			r, ok = each, true
		}
	}
	return r, ok
}

var standard = sync.OnceValue(func() *Set {
	s, err := Load(Files())
	if err != nil {
		panic("recordrule: an embedded rule cannot be read: " + err.Error())
	}
	return s
})

// Standard returns the set of rules that come with the program.
func Standard() *Set { return standard() }

// All returns the rules that come with the program, by id.
func All() []Rule { return standard().Rules() }

// ByID returns the latest version of a rule that comes with the program. The
// error is fault.NotFound "rule".
func ByID(id string) (Rule, error) {
	r, ok := standard().FindByID(id)
	if !ok {
		ids := make([]string, 0, 20)
		for _, each := range standard().rules {
			ids = append(ids, each.ID)
		}
		return Rule{}, fault.New(fault.NotFound, "rule", "there is no record rule %q; there are %s", id, strings.Join(ids, ", "))
	}
	return r, nil
}

// InForce returns the version in force on the day of a rule that comes with the program.
func InForce(id string, d civil.Date) (Rule, bool) { return standard().FindInForce(id, d) }
