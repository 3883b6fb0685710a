package property

import (
	"encoding/json"
	"slices"
	"testing"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/turf"
)

func ptr[T any](v T) *T { return &v }

// pointers returns where a fault points, in order; nil for no fault.
func pointers(t *testing.T, err error) []string {
	t.Helper()
	if err == nil {
		return nil
	}
	f := fault.As(err)
	if f == nil || f.Kind != fault.Invalid {
		t.Fatalf("%v is not a fault.Invalid", err)
	}
	var at []string
	for _, field := range f.Fields {
		at = append(at, field.Pointer)
	}
	return at
}

func goodArea() TurfArea {
	return TurfArea{Name: "Front", AreaSqFt: 5200, CuttingHeightIn: 3}.WithDefaults()
}

func TestValidateTurfArea(t *testing.T) {
	cases := []struct {
		name   string
		change func(*TurfArea)
		want   []string
	}{
		{"as it is", func(*TurfArea) {}, nil},
		{"negative area", func(a *TurfArea) { a.AreaSqFt = -1 }, []string{"/area_sqft"}},
		{"no area", func(a *TurfArea) { a.AreaSqFt = 0 }, []string{"/area_sqft"}},
		{"height at the limit", func(a *TurfArea) { a.CuttingHeightIn = 8 }, nil},
		{"height just over", func(a *TurfArea) { a.CuttingHeightIn = 8.01 }, []string{"/cutting_height_in"}},
		{"height in millimetres", func(a *TurfArea) { a.CuttingHeightIn = 76 }, []string{"/cutting_height_in"}},
		{"no height", func(a *TurfArea) { a.CuttingHeightIn = 0 }, []string{"/cutting_height_in"}},
		{"species not in the list", func(a *TurfArea) { a.Species = "moss" }, []string{"/species"}},
		{"unknown species", func(a *TurfArea) { a.Species = turf.UnknownSpecies }, nil},
		{"soil, exposure, mower not in lists", func(a *TurfArea) { a.Soil, a.Exposure, a.Mower = "mud", "dark", "scythe" },
			[]string{"/soil", "/exposure", "/mower"}},
		{"slope over", func(a *TurfArea) { a.SlopePercent = 101 }, []string{"/slope_percent"}},
		{"nitrogen over", func(a *TurfArea) { a.NLbPerThousandYear = ptr(10.5) }, []string{"/n_lb_per_1000sqft_year"}},
		{"no name", func(a *TurfArea) { a.Name = "  " }, []string{"/name"}},
		{"said to be from an outline", func(a *TurfArea) { a.AreaMethod = "outline" }, []string{"/outline"}},
		{"a closed outline", func(a *TurfArea) {
			a.Outline = json.RawMessage(`{"type":"Polygon","coordinates":[[[-76,39],[-76.1,39],[-76.1,39.1],[-76,39]]]}`)
		}, nil},
		{"an outline that crosses itself", func(a *TurfArea) {
			a.Outline = json.RawMessage(`{"type":"Polygon","coordinates":[[[-76,39],[-76.001,39.001],[-76,39.001],[-76.001,39],[-76,39]]]}`)
		}, []string{"/outline"}},
		{"an open outline", func(a *TurfArea) {
			a.Outline = json.RawMessage(`{"type":"Polygon","coordinates":[[[-76,39],[-76.1,39],[-76.1,39.1],[-76,39.2]]]}`)
		}, []string{"/outline"}},
		{"a point as outline", func(a *TurfArea) { a.Outline = json.RawMessage(`{"type":"Point","coordinates":[-76,39]}`) }, []string{"/outline"}},
		{"no JSON", func(a *TurfArea) { a.Outline = json.RawMessage(`{`) }, []string{"/outline"}},
	}
	for _, c := range cases {
		a := goodArea()
		c.change(&a)
		if got := pointers(t, ValidateTurfArea(a)); !slices.Equal(got, c.want) {
			t.Errorf("%s: points at %v, want %v", c.name, got, c.want)
		}
	}
}

func TestValidateProperty(t *testing.T) {
	good := Property{Address: "12 Oak St", State: "MD", ZIPCode: "21000", Latitude: ptr(39.2), Longitude: ptr(-76.8)}
	cases := []struct {
		name   string
		change func(*Property)
		want   []string
	}{
		{"as it is", func(*Property) {}, nil},
		{"not placed yet", func(p *Property) { p.Latitude, p.Longitude = nil, nil }, nil},
		{"half a place", func(p *Property) { p.Latitude = nil }, []string{"/latitude"}},
		{"swapped", func(p *Property) { *p.Latitude, *p.Longitude = -76.8, 39.2 }, []string{"/latitude"}},
		{"swapped, out of range", func(p *Property) { *p.Latitude, *p.Longitude = -120.5, 37.2 }, []string{"/latitude"}},
		{"east for west", func(p *Property) { *p.Longitude = 76.8 }, []string{"/longitude"}},
		{"no latitude at all", func(p *Property) { *p.Latitude, *p.Longitude = 139, 139 }, []string{"/latitude"}},
		{"state in words", func(p *Property) { p.State = "Maryland" }, []string{"/state"}},
		{"ZIP of four digits", func(p *Property) { p.ZIPCode = "2100" }, []string{"/zip_code"}},
		{"hours reversed", func(p *Property) { p.AllowedFrom, p.AllowedTo = ptr(civil.TimeOfDay(600)), ptr(civil.TimeOfDay(540)) }, []string{"/allowed_to"}},
		{"weekday 8 and one twice", func(p *Property) { p.ClosedWeekdays = []int{8, 2, 2} }, []string{"/closed_weekdays", "/closed_weekdays"}},
		{"closed always", func(p *Property) { p.ClosedWeekdays = []int{1, 2, 3, 4, 5, 6, 7} }, []string{"/closed_weekdays"}},
		{"water nearer than nothing", func(p *Property) { p.WaterDistanceFt = ptr(-1.0) }, []string{"/water_distance_ft"}},
	}
	for _, c := range cases {
		p := good
		p.Latitude, p.Longitude = ptr(*good.Latitude), ptr(*good.Longitude)
		c.change(&p)
		if got := pointers(t, ValidateProperty(p)); !slices.Equal(got, c.want) {
			t.Errorf("%s: points at %v, want %v", c.name, got, c.want)
		}
	}
}

func TestPlacesOfTheStates(t *testing.T) {
	for name, at := range map[string][2]float64{"Maryland": {39, -76.8}, "Hawaii": {21.3, -157.8}, "Alaska": {64.8, -147.7},
		"Attu": {52.9, 172.9}, "Puerto Rico": {18.2, -66.5}, "Guam": {13.4, 144.8}, "American Samoa": {-14.3, -170.7}} {
		bad := fault.New(fault.Invalid, "x", "x")
		if CheckPlace(bad, at[0], at[1]); len(bad.Fields) > 0 {
			t.Errorf("%s: %v", name, bad)
		}
	}
}

func TestValidateServicePlan(t *testing.T) {
	good := ServicePlan{SeasonFrom: civil.MonthDay{Month: 3, Day: 15}, SeasonTo: civil.MonthDay{Month: 11, Day: 30},
		LeastDays: ptr(5), GreatestDays: ptr(14), PriceBasis: "per_visit", Services: []turf.Work{turf.Mow}}
	cases := []struct {
		name   string
		change func(*ServicePlan)
		want   []string
	}{
		{"as it is", func(*ServicePlan) {}, nil},
		{"least above greatest", func(s *ServicePlan) { s.LeastDays = ptr(15) }, []string{"/least_days"}},
		{"least at greatest", func(s *ServicePlan) { s.LeastDays = ptr(14) }, nil},
		{"no days", func(s *ServicePlan) { s.LeastDays, s.GreatestDays = nil, nil }, nil},
		{"zero days", func(s *ServicePlan) { s.LeastDays = ptr(0) }, []string{"/least_days"}},
		{"no services", func(s *ServicePlan) { s.Services = nil }, []string{"/services"}},
		{"a service twice and an odd one", func(s *ServicePlan) { s.Services = []turf.Work{"mow", "mow", "paint"} }, []string{"/services", "/services"}},
		{"negative price", func(s *ServicePlan) { s.PriceCents = ptr(int64(-1)) }, []string{"/price_cents"}},
		{"no season", func(s *ServicePlan) { s.SeasonFrom, s.SeasonTo = civil.MonthDay{}, civil.MonthDay{} }, []string{"/season_from", "/season_to"}},
		{"price for nothing known", func(s *ServicePlan) { s.PriceBasis = "per_blade" }, []string{"/price_basis"}},
	}
	for _, c := range cases {
		s := good
		c.change(&s)
		if got := pointers(t, ValidateServicePlan(s)); !slices.Equal(got, c.want) {
			t.Errorf("%s: points at %v, want %v", c.name, got, c.want)
		}
	}
}

func TestOutlineLiesAtItsProperty(t *testing.T) {
	p := Property{Latitude: ptr(39.0), Longitude: ptr(-76.0)}
	a := TurfArea{Outline: json.RawMessage(`{"type":"Polygon","coordinates":[[[-76,39],[-76,39.001],[-76.001,39.001],[-76,39]]]}`)}
	placed, err := p.Outlined(a)
	if err != nil {
		t.Fatal(err)
	}
	again, err := p.Outlined(placed)
	if err != nil || !sameJSON(again.Outline, placed.Outline) {
		t.Errorf("stored %s, stored again %s, %v", placed.Outline, again.Outline, err)
	}
	for name, outline := range map[string]string{
		"far away": `{"type":"Polygon","coordinates":[[[-80,39],[-80,39.001],[-80.001,39.001],[-80,39]]]}`,
		"swapped":  `{"type":"Polygon","coordinates":[[[39,-76],[39.001,-76],[39.001,-76.001],[39,-76]]]}`,
	} {
		if got := pointers(t, errOf(p.Outlined(TurfArea{Outline: json.RawMessage(outline)}))); !slices.Equal(got, []string{"/outline"}) {
			t.Errorf("%s: points at %v", name, got)
		}
	}
}

func errOf(_ TurfArea, err error) error { return err }

func TestValidateCustomer(t *testing.T) {
	if err := ValidateCustomer(Customer{Name: "Ada Marsh", Email: "ada@mail.example"}); err != nil {
		t.Error(err)
	}
	if got := pointers(t, ValidateCustomer(Customer{Name: " ", Email: "ada at mail"})); !slices.Equal(got, []string{"/name", "/email"}) {
		t.Errorf("points at %v", got)
	}
}

func TestOneAddressManyWays(t *testing.T) {
	same := [][]string{
		{"12 North Oak Street", "12 N. Oak St", "12  n oak st.", "12 N OAK STREET"},
		{"7 O'Dell Court, Apt 3", "7 Odell Ct #3", "7 ODELL COURT UNIT 3", "7 O’Dell Ct., Apt #3"},
		{"100 Mill Creek Pkwy", "100 Mill Creek Parkway"},
	}
	for _, group := range same {
		want := MakeAddressKey(group[0], "Fernwick", "MD", "21000")
		for _, a := range group[1:] {
			if got := MakeAddressKey(a, "Fernwick", "MD", "21000-1234"); got != want {
				t.Errorf("%q has the key %q, %q has %q", a, got, group[0], want)
			}
		}
	}
	different := []string{
		MakeAddressKey("12 Oak St", "Fernwick", "MD", "21000"), MakeAddressKey("12 Oak Ct", "Fernwick", "MD", "21000"),
		MakeAddressKey("12 Oak St", "Fernwick", "MD", "21001"), MakeAddressKey("12 Oak St", "Fernwick", "VA", "21000"),
		MakeAddressKey("12 Oak St", "Fernwick", "MD", ""), MakeAddressKey("12-14 Oak St", "Fernwick", "MD", "21000"),
	}
	for i, a := range different {
		if slices.Contains(different[:i], a) {
			t.Errorf("two addresses share the key %q", a)
		}
	}
}
