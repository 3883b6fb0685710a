package intake

import (
	"fmt"
	"slices"
	"sort"
	"strings"

	"thirdcut/internal/fault"
	"thirdcut/internal/property"
)

// Lawns is what a sheet of lawns says. When Problems has anything, Import is
// empty: a file is taken whole or not at all.
type Lawns struct {
	Import    property.Import
	Rows      int
	NotPlaced []string // addresses without a map point, with their line; kept all the same
	Notes     []string // what was settled in reading, in words
	Problems  []Problem
	More      int // problems beyond the list
}

// ReadLawns reads a CSV or XLSX sheet, one row a turf area; rows of one address
// are areas of one property, and rows of one customer are put together. Titles
// above the headers are passed over. Faults are for the file as a whole (too
// large, unreadable, no such column); wrong cells are listed in Problems, each
// with its line, column and reason.
func ReadLawns(data []byte, name string, mapping Mapping) (Lawns, error) {
	t, above, err := readTable(data, name, scoreLawnHeader(mapping))
	if err != nil {
		return Lawns{}, err
	}
	header := t.rows[0]
	at, left, err := matchColumns(header.cells, mapping)
	if err != nil {
		return Lawns{}, err
	}
	r := &lawnReader{table: t, at: at, header: header.cells, byCustomer: map[string]int{}, byAddress: map[string]propertyAt{},
		byStreet: map[string][]propertyAt{}, seen: map[string]int{}, notesAt: map[string]int{}}
	r.sayWhatIsLeft(above, left)
	for _, row := range t.rows[1:] {
		r.read(row)
	}
	if r.out.Rows == 0 && len(r.out.Problems) == 0 {
		return Lawns{}, fault.New(fault.Invalid, "empty-file", "%s has headers and no rows under them", name)
	}
	r.finish()
	return r.out, nil
}

// propertyAt is a property's place in the tree.
type propertyAt struct{ customer, property int }

// lawnReader reads one sheet, row by row.
type lawnReader struct {
	table      table
	at         map[string]int // our column to its place
	header     []string
	row        tableRow
	wrongAt    map[string]bool // columns of this row that are wrong
	out        Lawns
	byCustomer map[string]int          // customer key to its place
	byAddress  map[string]propertyAt   // address key
	byStreet   map[string][]propertyAt // street alone
	seen       map[string]int          // whole rows, to tell doubles
	notes      []lineNote
	notesAt    map[string]int
}

// lineNote is something settled alike on several lines.
type lineNote struct {
	words string
	lines []int
}

func (r *lawnReader) sayWhatIsLeft(above []tableRow, left []string) {
	if len(r.table.others) > 0 {
		r.say("read the sheet %s; not read: %s", r.table.sheet, strings.Join(r.table.others, ", "))
	}
	for _, row := range above {
		r.say("line %d stands above the headers and was passed over: %s", row.line, shorten(strings.Join(row.cells, " ")))
	}
	if len(left) > 0 {
		r.say("left alone, since it is none of our columns: %s", strings.Join(left, ", "))
	}
}

// say notes something about the file.
func (r *lawnReader) say(format string, args ...any) {
	r.out.Notes = append(r.out.Notes, fmt.Sprintf(format, args...))
}

// note notes something about the row; the same words are said once, with their lines.
func (r *lawnReader) note(format string, args ...any) {
	words := fmt.Sprintf(format, args...)
	i, ok := r.notesAt[words]
	if !ok {
		i = len(r.notes)
		r.notesAt[words] = i
		r.notes = append(r.notes, lineNote{words: words})
	}
	r.notes[i].lines = append(r.notes[i].lines, r.row.line)
}

const linesNamed = 10 // of one note

func (r *lawnReader) finish() {
	for _, n := range r.notes {
		if len(r.out.Notes) >= mostProblems {
			r.say("and %d notes more", len(r.notes)-mostProblems)
			break
		}
		r.out.Notes = append(r.out.Notes, lineList(n.lines)+": "+n.words)
	}
	for _, c := range r.out.Import.Customers {
		for _, p := range c.Properties {
			if p.Latitude == nil {
				r.out.NotPlaced = append(r.out.NotPlaced, fmt.Sprintf("%s (%s)", p.Address, p.Place))
			}
		}
	}
	if len(r.out.Problems) > 0 {
		r.out.Import = property.Import{}
	}
	sort.SliceStable(r.out.Problems, func(i, k int) bool { return r.out.Problems[i].Line < r.out.Problems[k].Line })
}

// lineList says "line 4", "lines 4, 5 and 9" or "lines 4, 5, … and 20 more".
func lineList(lines []int) string {
	if len(lines) == 1 {
		return fmt.Sprintf("line %d", lines[0])
	}
	var named []string
	for _, l := range lines[:min(len(lines), linesNamed)] {
		named = append(named, fmt.Sprint(l))
	}
	if more := len(lines) - linesNamed; more > 0 {
		return fmt.Sprintf("lines %s and %d more", strings.Join(named, ", "), more)
	}
	last := len(named) - 1
	return fmt.Sprintf("lines %s and %s", strings.Join(named[:last], ", "), named[last])
}

func (r *lawnReader) cell(name string) string {
	i, ok := r.at[name]
	if !ok || i >= len(r.row.cells) {
		return ""
	}
	return r.row.cells[i]
}

// unitOf is the unit that the column's header names, plain; empty for none.
func (r *lawnReader) unitOf(name string) string {
	i, ok := r.at[name]
	if !ok {
		return ""
	}
	if _, u := splitUnit(r.header[i]); u != "" {
		return u
	}
	if u := plain(r.header[i]); headerUnits[u] {
		return u // the header is the unit alone: "Sq Ft", "Acres"
	}
	return ""
}

// wrong lists the cell as one that cannot be taken; the first reason is enough.
func (r *lawnReader) wrong(name, format string, args ...any) {
	if r.wrongAt[name] {
		return
	}
	r.wrongAt[name] = true
	if len(r.out.Problems) >= mostProblems {
		r.out.More++
		return
	}
	p := Problem{Sheet: r.table.sheet, Line: r.row.line, Reason: fmt.Sprintf(format, args...)}
	if i, ok := r.at[name]; ok {
		p.Column = columnLetter(i) + " " + r.header[i]
		p.Value = shorten(r.cell(name))
	}
	r.out.Problems = append(r.out.Problems, p)
}

// shorten keeps a long text short enough to be shown in a line.
func shorten(text string) string {
	if r := []rune(text); len(r) > longestValue {
		return string(r[:longestValue]) + "…"
	}
	return text
}

func (r *lawnReader) place() string {
	if r.table.sheet != "" {
		return fmt.Sprintf("sheet %s, line %d", r.table.sheet, r.row.line)
	}
	return fmt.Sprintf("line %d", r.row.line)
}

// failedFormulas are what a workbook keeps where its own formula failed.
var failedFormulas = []string{"#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NAME?", "#NUM!", "#NULL!", "#SPILL!", "#CALC!"}

func (r *lawnReader) read(row tableRow) {
	r.row, r.wrongAt = row, map[string]bool{}
	r.out.Rows++
	if slices.Equal(row.cells, r.table.rows[0].cells) {
		r.note("the headers stand here once more; passed over")
		return
	}
	whole := strings.Join(row.cells, "\x1f")
	if before, ok := r.seen[whole]; ok {
		r.say("line %d says the same as line %d and was passed over", row.line, before)
		return
	}
	r.seen[whole] = row.line
	for name := range r.at {
		if c := r.cell(name); strings.HasPrefix(c, "#") && slices.Contains(failedFormulas, c) {
			r.wrong(name, "the sheet's own formula failed here; correct it, or write the value")
		}
	}
	customer, prop, area := r.customer(), r.property(), r.area()
	prop.Plan = r.plan()
	r.outline(prop, &area)
	// A row with a wrong cell is put into the tree too, which nobody uses then,
	// so that what contradicts it is named in the same round.
	if customer.Name != "" && prop.Address != "" {
		r.join(customer, prop, area)
	}
}

// join puts the row into the tree of customers, properties and areas.
func (r *lawnReader) join(c property.ImportCustomer, p property.ImportProperty, a property.ImportArea) {
	where, known := r.findProperty(p)
	c.Key = r.keyOf(c, where, known)
	if known && r.out.Import.Customers[where.customer].CustomerKey() != c.CustomerKey() {
		have := r.out.Import.Customers[where.customer]
		r.wrong("address", "this address belongs to %s on %s and to %s here; one address has one customer, so correct one of the two",
			have.Name, have.Properties[where.property].Place, c.Name)
		return
	}
	ci, ok := r.joinCustomer(c)
	if !ok {
		return
	}
	customer := &r.out.Import.Customers[ci]
	if !known {
		where = propertyAt{ci, len(customer.Properties)}
		p.Areas = []property.ImportArea{a}
		customer.Properties = append(customer.Properties, p)
		r.remember(p, where)
		return
	}
	have := &customer.Properties[where.property]
	r.joinProperty(have, p)
	r.joinPlan(have, p.Plan)
	for _, other := range have.Areas {
		if property.NameKey(other.Name) == property.NameKey(a.Name) {
			r.wrong("area_name", "the turf area %q of this address stands already on %s with other values; give one of the two another area name, or take one out", a.Name, other.Place)
			return
		}
	}
	have.Areas = append(have.Areas, a)
	r.remember(*have, where)
}

// keyOf is the customer's number, or what stands for it where one of two people
// of the same name must be told from the other: their e-mail and phone are both
// known and both differ. The first of a name is known by the name alone, so that
// a sheet to which another is added later still means the same customer.
func (r *lawnReader) keyOf(c property.ImportCustomer, where propertyAt, known bool) string {
	if c.Key != "" {
		return c.Key
	}
	if known {
		have := r.out.Import.Customers[where.customer]
		if property.NameKey(have.Name) == property.NameKey(c.Name) && !differ(c, have) {
			return have.Key
		}
	}
	first, ok := r.byCustomer[c.CustomerKey()]
	if !ok || !differ(c, r.out.Import.Customers[first]) {
		return ""
	}
	r.note("%s is another customer than the one of that name on %s, by e-mail and phone; a column with customer numbers is surer", c.Name, r.out.Import.Customers[first].Place)
	return c.CustomerKey() + " " + strings.ToLower(c.Email)
}

// differ says whether two customers of one name must be two people.
func differ(c, have property.ImportCustomer) bool {
	return c.Differs(property.Customer{Email: have.Email, Phone: have.Phone})
}

func (r *lawnReader) remember(p property.ImportProperty, where propertyAt) {
	r.byAddress[property.MakeAddressKey(p.Address, p.Municipality, p.State, p.ZIPCode)] = where
	street := property.StreetKey(p.Address)
	if !slices.Contains(r.byStreet[street], where) {
		r.byStreet[street] = append(r.byStreet[street], where)
	}
}

// findProperty finds the property of an earlier row: by its address key, or by
// its street where one of the two rows leaves town, state or ZIP code open and
// only one property fits.
func (r *lawnReader) findProperty(p property.ImportProperty) (propertyAt, bool) {
	if where, ok := r.byAddress[property.MakeAddressKey(p.Address, p.Municipality, p.State, p.ZIPCode)]; ok {
		return where, true
	}
	same := func(a, b string) bool { return a == "" || b == "" || property.NameKey(a) == property.NameKey(b) }
	var fits []propertyAt
	for _, where := range r.byStreet[property.StreetKey(p.Address)] {
		have := r.out.Import.Customers[where.customer].Properties[where.property]
		if same(have.State, p.State) && same(have.ZIPCode, p.ZIPCode) && same(have.Municipality, p.Municipality) {
			fits = append(fits, where)
		}
	}
	if len(fits) != 1 {
		return propertyAt{}, false
	}
	return fits[0], true
}

// joinCustomer finds or adds the customer, filling in what earlier rows left open.
func (r *lawnReader) joinCustomer(c property.ImportCustomer) (int, bool) {
	ci, ok := r.byCustomer[c.CustomerKey()]
	if !ok {
		ci = len(r.out.Import.Customers)
		r.byCustomer[c.CustomerKey()] = ci
		r.out.Import.Customers = append(r.out.Import.Customers, c)
		return ci, true
	}
	have := &r.out.Import.Customers[ci]
	if property.NameKey(have.Name) != property.NameKey(c.Name) {
		r.wrong("customer", "customer number %s is %s on %s and %s here; correct one of the two", c.Key, have.Name, have.Place, c.Name)
		return 0, false
	}
	for _, f := range []struct {
		what     string
		have, to *string
	}{{"e-mail", &have.Email, &c.Email}, {"phone", &have.Phone, &c.Phone}, {"billing address", &have.BillingAddress, &c.BillingAddress}} {
		if *f.have == "" {
			*f.have = *f.to
		} else if *f.to != "" && property.NameKey(*f.have) != property.NameKey(*f.to) {
			r.note("the %s of %s differs from that on %s, which is kept", f.what, c.Name, have.Place)
		}
	}
	return ci, true
}
