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
	{"area_name", []string{"area name", "turf area", "lawn area name", "section", "part"}},
	{"area", []string{"area", "size", "lawn size", "turf size", "area sq ft", "sq ft", "sqft", "square feet", "lawn sq ft", "turf sq ft"}},
	{"area_method", []string{"area method", "measured by", "how measured"}},
	{"area_measured_on", []string{"area measured on", "measured on", "date measured"}},
	{"species", []string{"species", "grass", "grass type", "turf", "turf type", "turfgrass"}},
	{"cutting_height", []string{"cutting height", "height of cut", "hoc", "mowing height", "cut height", "height"}},
	{"mower", []string{"mower", "mower type"}},
	{"exposure", []string{"exposure", "sun", "light", "shade"}},
	{"slope", []string{"slope percent", "slope", "slope %", "grade"}},
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

// matchColumns finds the place of each of our columns among a sheet's headers.
// What is neither ours nor near it is returned as left alone.
func matchColumns(header []string, m Mapping) (at map[string]int, left []string, err error) {
	at = map[string]int{}
	used := map[int]string{}
	take := func(name string, i int) error {
		if other, ok := used[i]; ok && other != name {
			return fault.New(fault.Invalid, "ambiguous-columns", "the header %q in column %s would be both %s and %s; say which with a mapping file", header[i], columnLetter(i), other, name)
		}
		if before, ok := at[name]; ok && before != i {
			return fault.New(fault.Invalid, "ambiguous-columns", "the headers %q (column %s) and %q (column %s) both mean %s; say which with a mapping file",
				header[before], columnLetter(before), header[i], columnLetter(i), name)
		}
		at[name], used[i] = i, name
		return nil
	}
	mapped := make([]string, 0, len(m))
	for ours := range m {
		mapped = append(mapped, ours)
	}
	sort.Strings(mapped)
	for _, ours := range mapped {
		i := slices.IndexFunc(header, func(h string) bool { return plain(h) == plain(m[ours]) })
		if i < 0 {
			return nil, nil, fault.New(fault.Invalid, "bad-mapping", "the mapping wants %s from a header %q, and the sheet has none such; it has %s", ours, m[ours], strings.Join(header, ", "))
		}
		if err := take(ours, i); err != nil {
			return nil, nil, err
		}
	}
	for _, near := range []func(a, b string) bool{func(a, b string) bool { return a == b }, almost} {
		for i, h := range header {
			if _, ok := used[i]; ok || h == "" {
				continue
			}
			for _, c := range lawnColumns {
				if _, byMap := m[c.name]; byMap {
					continue
				}
				if _, have := at[c.name]; have && !slices.ContainsFunc(c.headers, func(k string) bool { return plain(k) == plain(h) }) {
					continue // a near miss never competes with a plain hit
				}
				if slices.ContainsFunc(c.headers, func(k string) bool { return near(plain(k), plain(h)) }) {
					if err := take(c.name, i); err != nil {
						return nil, nil, err
					}
				}
			}
		}
	}
	for i, h := range header {
		if _, ok := used[i]; !ok && h != "" {
			left = append(left, fmt.Sprintf("%s (column %s)", h, columnLetter(i)))
		}
	}
	for _, n := range neededColumns {
		if _, ok := at[n]; !ok {
			return nil, nil, fault.New(fault.Invalid, "missing-column", "the sheet has no column for the %s; name it %q, or say which it is with a mapping file. Its headers are: %s", n, n, strings.Join(header, ", "))
		}
	}
	return at, left, nil
}

// plain makes headers comparable: lower case, letters and digits, words apart by a blank.
func plain(h string) string {
	words := strings.FieldsFunc(strings.ToLower(h), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '%' })
	return strings.Join(words, " ")
}

// almost says whether two longer headers differ by one slip of the finger, or
// one is the other with its unit behind it.
func almost(ours, theirs string) bool {
	if len(ours) >= 3 && strings.HasPrefix(theirs, ours+" ") && unitWords[strings.TrimPrefix(theirs, ours+" ")] {
		return true
	}
	return len(ours) >= 6 && len(theirs) >= 6 && oneSlip(ours, theirs)
}

var unitWords = map[string]bool{"in": true, "inches": true, "sq ft": true, "sqft": true, "sf": true, "ac": true, "acres": true, "mm": true, "%": true, "days": true, "usd": true}

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
