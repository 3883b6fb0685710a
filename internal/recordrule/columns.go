package recordrule

// Column is one column of an export of records under a rule.
type Column struct {
	ID            string // element id
	Type          string // as in Word
	Meaning       string
	Unit          string
	Requirement   string
	Citation      string
	Status        string
	ConditionalOn []string // the conditions under which the rule asks for it; empty: always
	Alternative   string   // id of the alternative or element that this is one way to meet; else empty
}

// Columns lists the elements of the rule in its order, each once: an element,
// then the other ids that may stand for it, then those of the alternatives.
func Columns(r Rule) []Column {
	var columns []Column
	seen := map[string]bool{}
	add := func(id, requirement, citation, status, alternative string, on []string) {
		if seen[id] {
			return
		}
		seen[id] = true
		w := Words().Elements[id]
		columns = append(columns, Column{ID: id, Type: w.Type, Meaning: w.Meaning, Unit: w.Unit, Requirement: requirement,
			Citation: citation, Status: status, ConditionalOn: on, Alternative: alternative})
	}
	for _, e := range r.Elements {
		add(e.ID, e.Requirement, e.Citation, e.Status, "", e.ConditionalOn)
		for _, id := range e.AnyOf {
			if !r.asksFor(id) {
				add(id, e.Requirement, e.Citation, e.Status, e.ID, e.ConditionalOn)
			}
		}
	}
	for _, a := range r.Alternatives {
		for _, list := range a.OneOf {
			for _, id := range list {
				add(id, a.Requirement, a.Citation, a.Status, a.ID, nil)
			}
		}
	}
	return columns
}

// asksFor says whether the id is an element of the rule in its own right.
func (r Rule) asksFor(id string) bool {
	for _, e := range r.Elements {
		if e.ID == id {
			return true
		}
	}
	return false
}
