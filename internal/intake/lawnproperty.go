package intake

import (
	"regexp"
	"slices"
	"strings"

	"thirdcut/internal/fault"
	"thirdcut/internal/geo"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

func (r *lawnReader) customer() property.ImportCustomer {
	c := property.ImportCustomer{Place: r.place(), Key: r.cell("customer_key"), Name: r.cell("customer"), Email: r.cell("email"),
		Phone: r.cell("phone"), BillingAddress: r.cell("billing_address")}
	named := "customer"
	if c.Name == "" {
		c.Name = strings.TrimSpace(r.cell("first_name") + " " + r.cell("last_name"))
		if _, ok := r.at["customer"]; !ok {
			named = "last_name"
		}
	}
	if c.Name == "" {
		r.wrong(named, "the customer has no name; write who pays")
		return c
	}
	r.check(property.ValidateCustomer(c.Onto(property.Customer{})), map[string]string{"name": named})
	return c
}

// check lists what a validation found under the column that says it. Places
// that the sheet does not name, such as what the company fills in, are left to
// the taking over.
func (r *lawnReader) check(err error, columns map[string]string) {
	f := fault.As(err)
	if f == nil {
		return
	}
	for _, field := range f.Fields {
		name := strings.TrimPrefix(field.Pointer, "/")
		if column, ok := columns[name]; ok {
			name = column
		}
		if r.cell(name) != "" {
			r.wrong(name, "%s", field.Detail)
		}
	}
}

var stateForm = regexp.MustCompile(`^[A-Za-z]{2}$`)

func (r *lawnReader) property() property.ImportProperty {
	p := property.ImportProperty{Place: r.place(), Address: r.cell("address"), Municipality: r.cell("municipality"), County: r.cell("county"),
		State: strings.ToUpper(r.cell("state")), ZIPCode: r.zip(), OwnerName: r.cell("owner"), AccessNote: r.cell("access_note"), GateCode: r.cell("gate_code")}
	if p.Address == "" {
		r.wrong("address", "the property has no address; write its street address")
	}
	if p.State != "" && !stateForm.MatchString(p.State) {
		r.wrong("state", "a state is two letters, such as MD")
	}
	p.Latitude, p.Longitude = r.mapPoint()
	for _, s := range strings.FieldsFunc(r.cell("sensitivities"), func(c rune) bool { return c == ';' || c == ',' }) {
		if s = strings.ToLower(strings.TrimSpace(s)); s != "" && s != "no" && s != "none" && !slices.Contains(p.Sensitivities, s) {
			p.Sensitivities = append(p.Sensitivities, s)
		}
	}
	r.check(property.ValidateProperty(p.Onto(property.Property{})), map[string]string{"zip_code": "zip", "owner_name": "owner"})
	return p
}

var shortZIP = regexp.MustCompile(`^[0-9]{3,4}(-[0-9]{4})?$`)

// zip gives a ZIP code the leading zeros back that spreadsheets take away.
func (r *lawnReader) zip() string {
	z := r.cell("zip")
	if shortZIP.MatchString(z) {
		five, _, _ := strings.Cut(z, "-")
		return strings.Repeat("0", 5-len(five)) + z
	}
	return z
}

func (r *lawnReader) mapPoint() (lat, lon *float64) {
	la, lo := r.cell("latitude"), r.cell("longitude")
	if la == "" && lo == "" {
		return nil, nil
	}
	if la == "" || lo == "" {
		missing := "latitude"
		if la != "" {
			missing = "longitude"
		}
		r.wrong(missing, "a map point needs both latitude and longitude; give both or neither")
		return nil, nil
	}
	a, okA := degrees(la, "N", "S")
	b, okB := degrees(lo, "E", "W")
	if !okA {
		r.wrong("latitude", "a latitude is a number of degrees such as 39.25; minutes and seconds are parts of it here")
	}
	if !okB {
		r.wrong("longitude", "a longitude is a number of degrees such as -76.90; minutes and seconds are parts of it here")
	}
	if !okA || !okB {
		return nil, nil
	}
	if a == 0 && b == 0 {
		r.wrong("latitude", "0, 0 lies in the sea; leave both cells empty where the point is not known")
		return nil, nil
	}
	bad := fault.New(fault.Invalid, "place", "")
	property.CheckPlace(bad, a, b)
	for _, f := range bad.Fields {
		r.wrong(strings.TrimPrefix(f.Pointer, "/"), "%s", f.Detail)
	}
	if len(bad.Fields) > 0 {
		return nil, nil
	}
	return &a, &b
}

// degrees reads 39.25, 39.25° or 39.25 N; the negative letter turns the sign.
func degrees(text, positive, negative string) (float64, bool) {
	text = strings.ToUpper(strings.TrimSpace(strings.ReplaceAll(text, "°", " ")))
	sign := 1.0
	if t := strings.TrimSuffix(text, negative); t != text {
		text, sign = t, -1
	} else {
		text = strings.TrimSuffix(text, positive)
	}
	v, ok := number(text)
	if sign < 0 && v < 0 {
		return 0, false
	}
	return sign * v, ok
}

// number reads a bare number; commas part thousands, nothing else stands behind it.
func number(text string) (float64, bool) {
	e, err := unit.ParseEntered(text)
	if err != nil || e.Unit != "" {
		return 0, false
	}
	v, err := e.Number()
	return v, err == nil
}

// onePlace is how far apart the map points of two rows of one address may lie.
const onePlace = 150 * unit.Metre

// joinProperty fills in what earlier rows of the address left open, and names
// what they say otherwise.
func (r *lawnReader) joinProperty(have *property.ImportProperty, p property.ImportProperty) {
	for _, f := range []struct {
		column, what string
		have         *string
		to           string
	}{
		{"municipality", "municipality", &have.Municipality, p.Municipality}, {"county", "county", &have.County, p.County}, {"state", "state", &have.State, p.State},
		{"zip", "ZIP code", &have.ZIPCode, p.ZIPCode}, {"owner", "owner", &have.OwnerName, p.OwnerName}, {"gate_code", "gate code", &have.GateCode, p.GateCode},
	} {
		if *f.have == "" {
			*f.have = f.to
		} else if f.to != "" && property.NameKey(*f.have) != property.NameKey(f.to) {
			r.wrong(f.column, "the %s of this address is %q on %s; correct one of the two", f.what, *f.have, have.Place)
		}
	}
	// Notes are often about one area; they are kept one behind the other.
	if have.AccessNote == "" {
		have.AccessNote = p.AccessNote
	} else if p.AccessNote != "" && !strings.Contains(have.AccessNote, p.AccessNote) {
		have.AccessNote += "; " + p.AccessNote
	}
	for _, s := range p.Sensitivities {
		if !slices.Contains(have.Sensitivities, s) {
			have.Sensitivities = append(have.Sensitivities, s)
		}
	}
	switch {
	case p.Latitude == nil:
	case have.Latitude == nil:
		have.Latitude, have.Longitude = p.Latitude, p.Longitude
	case geo.Distance(point(*have), point(p)) > onePlace:
		r.wrong("latitude", "the map point lies %.0f m from that of the same address on %s; correct one of the two", geo.Distance(point(*have), point(p)).Metres(), have.Place)
	}
}

// point is the property's map point, which it must have.
func point(p property.ImportProperty) geo.Point {
	return geo.Point{Latitude: *p.Latitude, Longitude: *p.Longitude}
}

// joinPlan fills in what earlier rows left open of the property's one plan.
func (r *lawnReader) joinPlan(have *property.ImportProperty, p *property.ImportPlan) {
	if p == nil {
		return
	}
	if have.Plan == nil {
		have.Plan = p
		return
	}
	h := have.Plan
	differs := func(column, what string) {
		r.wrong(column, "the %s of this address differs from that on %s; a property has one plan, so write it once or alike", what, h.Place)
	}
	if !fillIn(&h.SeasonFrom, p.SeasonFrom) {
		differs("season_from", "season")
	}
	if !fillIn(&h.SeasonTo, p.SeasonTo) {
		differs("season_to", "season")
	}
	if !fillIn(&h.LeastDays, p.LeastDays) {
		differs("least_days", "number of days between cuts")
	}
	if !fillIn(&h.GreatestDays, p.GreatestDays) {
		differs("greatest_days", "number of days between cuts")
	}
	if !fillIn(&h.PriceCents, p.PriceCents) {
		differs("price", "price")
	}
	if h.PriceBasis == "" {
		h.PriceBasis = p.PriceBasis
	}
	if len(h.Services) == 0 {
		h.Services = p.Services
	} else if slices.ContainsFunc(p.Services, func(w turf.Work) bool { return !slices.Contains(h.Services, w) }) {
		differs("services", "list of services")
	}
}

// fillIn sets what is open; false when both are there and differ.
func fillIn[T comparable](have **T, to *T) bool {
	if *have == nil {
		*have = to
	}
	return to == nil || **have == *to
}
