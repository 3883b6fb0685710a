package intake

import (
	"encoding/json"
	"fmt"
	"slices"
	"sort"
	"strings"
	"unicode"

	"thirdcut/internal/fault"
)

// column is one thing that a sheet of lawns may say, with the headers under
// which offices say it.
type column struct {
	name    string
	headers []string
}

// lawnColumns are the columns of a sheet of lawns. The first header is ours.
var lawnColumns = []column{
	{"customer_key", []string{"customer number", "customer no", "customer id", "account number", "account", "client id"}},
	{"customer", []string{"customer", "customer name", "client", "client name", "name", "bill to"}},
	{"first_name", []string{"first name", "firstname", "given name"}},
	{"last_name", []string{"last name", "lastname", "surname", "family name"}},
	{"email", []string{"email", "e-mail", "email address", "customer email"}},
	{"phone", []string{"phone", "telephone", "phone number", "mobile", "cell"}},
	{"billing_address", []string{"billing address", "bill address", "mailing address", "invoice address"}},
	{"address", []string{"address", "property address", "service address", "street", "street address", "site address", "site", "property"}},
	{"municipality", []string{"municipality", "city", "town", "place"}},
	{"county", []string{"county"}},
	{"state", []string{"state", "st"}},
	{"zip", []string{"zip", "zip code", "postal code", "postcode"}},
	{"owner", []string{"owner", "property owner", "tenant", "owner or tenant"}},
	{"latitude", []string{"latitude", "lat", "y"}},
	{"longitude", []string{"longitude", "long", "lon", "lng", "x"}},
	{"access_note", []string{"access note", "access", "access notes", "notes", "note", "gate note"}},
	{"gate_code", []string{"gate code", "gate", "code"}},
	{"sensitivities", []string{"sensitivities", "sensitivity", "hazards", "watch out", "pets"}},
	{"area_name", []string{"area name", "turf area name", "lawn area name", "lawn name", "section", "part"}},
	{"area", []string{"area", "size", "lawn size", "turf size", "lawn area", "sq ft", "sqft", "square feet", "acres"}},
	{"area_method", []string{"area method", "measured by", "how measured"}},
	{"area_measured_on", []string{"area measured on", "measured on", "date measured"}},
	{"species", []string{"species", "grass", "grass type", "turf", "turf type", "turfgrass"}},
	{"cutting_height", []string{"cutting height", "height of cut", "hoc", "mowing height", "cut height", "height"}},
	{"mower", []string{"mower", "mower type"}},
	{"exposure", []string{"exposure", "sun", "light", "shade"}},
	{"slope", []string{"slope percent", "slope", "grade"}},
	{"soil", []string{"soil", "soil type", "soil texture"}},
	{"irrigated", []string{"irrigated", "irrigation", "sprinklers", "sprinkler"}},
	{"n_year", []string{"n lb/1000 sq ft per year", "n lb per 1000 sq ft per year", "nitrogen", "n per year", "n lb/1000", "lb n"}},
	{"outline", []string{"outline", "geojson", "polygon", "shape"}},
	{"services", []string{"services", "service", "program", "programme", "work"}},
	{"season_from", []string{"season from", "season start", "start"}},
	{"season_to", []string{"season to", "season end", "end"}},
	{"least_days", []string{"least days", "min days", "minimum days", "least days between cuts"}},
	{"greatest_days", []string{"greatest days", "max days", "maximum days", "every days", "greatest days between cuts", "frequency days"}},
	{"price", []string{"price per visit", "price", "price per cut", "rate"}},
}

// neededColumns must be there for a sheet to mean anything.
var neededColumns = []string{"customer", "address"}

// Mapping names a sheet's own headers: our column to their header.
type Mapping map[string]string

// ParseMapping reads a mapping file: a JSON object such as
// {"cutting_height": "HOC inches"}. An unknown column of ours is refused.
func ParseMapping(b []byte) (Mapping, error) {
	var m Mapping
	if err := json.Unmarshal(b, &m); err != nil {
		return nil, fault.New(fault.Invalid, "bad-mapping", `the mapping is no JSON object of texts such as {"cutting_height": "HOC inches"}`).Because(err)
	}
	for ours := range m {
		if !slices.ContainsFunc(lawnColumns, func(c column) bool { return c.name == ours }) {
			return nil, fault.New(fault.Invalid, "bad-mapping", "the mapping names a column %q, which is none of ours; ours are %s", ours, strings.Join(columnNames(), ", "))
		}
	}
	return m, nil
}

func columnNames() []string {
	names := make([]string, len(lawnColumns))
	for i, c := range lawnColumns {
		names[i] = c.name
	}
	return names
}

// columnOf are our columns by each header, made comparable.
var columnOf = func() map[string]string {
	byHeader := map[string]string{}
	for _, c := range lawnColumns {
		byHeader[plain(c.name)] = c.name
		for _, h := range c.headers {
			byHeader[plain(h)] = c.name
		}
	}
	return byHeader
}()

// named is the column that a header names exactly, its unit aside; empty for none.
func named(header string) string {
	if c, ok := columnOf[plain(header)]; ok {
		return c
	}
	name, _ := splitUnit(header)
	return columnOf[name]
}

// nearly are the columns that a header of some length names but for one slip of
// the finger.
func nearly(header string) []string {
	name, _ := splitUnit(header)
	if len(name) < 6 {
		return nil
	}
	var found []string
	for _, c := range lawnColumns {
		if slices.ContainsFunc(c.headers, func(k string) bool { return len(k) >= 6 && oneSlip(plain(k), name) }) {
			found = append(found, c.name)
		}
	}
	return found
}

// scoreLawnHeader counts the cells that name a column of ours.
func scoreLawnHeader(m Mapping) headerScore {
	theirs := map[string]bool{}
	for _, h := range m {
		theirs[plain(h)] = true
	}
	return func(cells []string) int {
		n := 0
		for _, c := range cells {
			if c != "" && (theirs[plain(c)] || named(c) != "" || len(nearly(c)) > 0) {
				n++
			}
		}
		return n
	}
}

// matcher gathers which header is which column.
type matcher struct {
	header []string
	at     map[string]int // column to place
	used   map[int]string // place to column
}

func (m *matcher) take(name string, i int) error {
	if before, ok := m.at[name]; ok {
		return fault.New(fault.Invalid, "ambiguous-columns", "the headers %q (column %s) and %q (column %s) both mean %s; rename one, or say which with a mapping file",
			m.header[before], columnLetter(before), m.header[i], columnLetter(i), name)
	}
	m.at[name], m.used[i] = i, name
	return nil
}

// matchColumns finds the place of each of our columns among a sheet's headers:
// by the mapping, else by an exact name, else by a name with one slip. What is
// none of ours is returned as left alone.
func matchColumns(header []string, mapping Mapping) (at map[string]int, left []string, err error) {
	m := &matcher{header: header, at: map[string]int{}, used: map[int]string{}}
	for _, step := range []func(Mapping) error{m.byMapping, m.byName, m.bySlip} {
		if err := step(mapping); err != nil {
			return nil, nil, err
		}
	}
	for i, h := range header {
		if _, ok := m.used[i]; !ok && h != "" {
			left = append(left, fmt.Sprintf("%s (column %s)", h, columnLetter(i)))
		}
	}
	_, last := m.at["last_name"]
	for _, n := range neededColumns {
		if _, ok := m.at[n]; !ok && !(n == "customer" && last) {
			return nil, nil, fault.New(fault.Invalid, "missing-column", "the sheet has no column for the %s; name it %q, or say which it is with a mapping file. Its headers are: %s", n, n, shown(header))
		}
	}
	return m.at, left, nil
}

// shown lists headers in a sentence of bearable length.
func shown(header []string) string {
	text := strings.Join(header, ", ")
	if r := []rune(text); len(r) > 600 {
		return string(r[:600]) + " …"
	}
	return text
}

func (m *matcher) byMapping(mapping Mapping) error {
	ours := make([]string, 0, len(mapping))
	for name := range mapping {
		ours = append(ours, name)
	}
	sort.Strings(ours)
	for _, name := range ours {
		theirs := mapping[name]
		i := slices.IndexFunc(m.header, func(h string) bool { return h != "" && plain(h) == plain(theirs) })
		if i < 0 {
			return fault.New(fault.Invalid, "bad-mapping", "the mapping wants %s from a header %q, and the sheet has none such; it has %s", name, theirs, shown(m.header))
		}
		if other, ok := m.used[i]; ok {
			return fault.New(fault.Invalid, "bad-mapping", "the mapping takes both %s and %s from the header %q; a column is one of the two", other, name, theirs)
		}
		if err := m.take(name, i); err != nil {
			return err
		}
	}
	return nil
}

func (m *matcher) byName(mapping Mapping) error {
	for i, h := range m.header {
		name := named(h)
		if _, mapped := mapping[name]; name == "" || mapped || m.used[i] != "" {
			continue
		}
		if err := m.take(name, i); err != nil {
			return err
		}
	}
	return nil
}

func (m *matcher) bySlip(Mapping) error {
	for i, h := range m.header {
		if m.used[i] != "" {
			continue
		}
		// A near miss never competes with a plain hit.
		near := slices.DeleteFunc(nearly(h), func(name string) bool { _, have := m.at[name]; return have })
		if len(near) > 1 {
			return fault.New(fault.Invalid, "ambiguous-columns", "the header %q (column %s) may mean %s; rename it, or say which with a mapping file", h, columnLetter(i), strings.Join(near, " or "))
		}
		if len(near) == 1 {
			if err := m.take(near[0], i); err != nil {
				return err
			}
		}
	}
	return nil
}

// plain makes headers comparable: lower case, letters and digits, words apart by a blank.
func plain(h string) string {
	h = strings.ReplaceAll(strings.ToLower(h), "²", "2")
	words := strings.FieldsFunc(h, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '%' })
	return strings.Join(words, " ")
}

// headerUnits are units that may stand behind a header's name, in plain words.
var headerUnits = map[string]bool{"in": true, "inch": true, "inches": true, "mm": true, "cm": true,
	"sq ft": true, "sqft": true, "ft2": true, "sf": true, "square feet": true, "1000 sq ft": true, "1 000 sq ft": true, "k sq ft": true, "ksf": true,
	"ac": true, "acre": true, "acres": true, "m2": true, "sq m": true, "sqm": true, "sq yd": true, "ha": true,
	"%": true, "percent": true, "days": true, "usd": true, "dollars": true, "deg": true, "degrees": true, "lb": true, "mm dd": true}

// splitUnit parts a header such as "Area (sq ft)" or "HOC mm" into its name and
// its unit, both plain; the unit is empty where none is named.
func splitUnit(header string) (name, unit string) {
	words := strings.Fields(plain(header))
	for n := min(4, len(words)-1); n > 0; n-- {
		if u := strings.Join(words[len(words)-n:], " "); headerUnits[u] {
			return strings.TrimSuffix(strings.Join(words[:len(words)-n], " "), " in"), u // "Lawn size in acres"
		}
	}
	return strings.Join(words, " "), ""
}

// oneSlip says whether one letter was added, dropped or changed, or two were swapped.
func oneSlip(a, b string) bool {
	x, y := []rune(a), []rune(b)
	if len(x) > len(y) {
		x, y = y, x
	}
	i := 0
	for i < len(x) && x[i] == y[i] {
		i++
	}
	switch len(y) - len(x) {
	case 0:
		if i == len(x) {
			return true
		}
		rest := func(n int) bool { return string(x[i+n:]) == string(y[i+n:]) }
		return rest(1) || (i+1 < len(x) && x[i] == y[i+1] && x[i+1] == y[i] && rest(2))
	case 1:
		return string(x[i:]) == string(y[i+1:])
	}
	return false
}
