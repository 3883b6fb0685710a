package crew

import (
	"slices"
	"testing"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/turf"
)

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

func TestValidatePerson(t *testing.T) {
	license := License{Kind: Pesticide, State: "MD", Number: "X-1", ValidFrom: civil.MustDate("2026-01-01"), ValidTo: civil.MustDate("2026-12-31")}
	cases := []struct {
		name   string
		change func(*Person)
		want   []string
	}{
		{"as it is", func(*Person) {}, nil},
		{"no name", func(p *Person) { p.Name = "" }, []string{"/name"}},
		{"dates reversed", func(p *Person) { p.Licenses[0].ValidTo = civil.MustDate("2025-12-31") }, []string{"/licenses/0/valid_to"}},
		{"one day", func(p *Person) { p.Licenses[0].ValidTo = p.Licenses[0].ValidFrom }, nil},
		{"no end", func(p *Person) { p.Licenses[0].ValidTo = civil.Date{} }, []string{"/licenses/0/valid_to"}},
		{"odd kind, long state, no number", func(p *Person) {
			p.Licenses[0].Kind, p.Licenses[0].State, p.Licenses[0].Number = "driving", "Maryland", " "
		},
			[]string{"/licenses/0/kind", "/licenses/0/state", "/licenses/0/number"}},
		{"twice", func(p *Person) { p.Licenses = append(p.Licenses, p.Licenses[0]) }, []string{"/licenses/1/number"}},
	}
	for _, c := range cases {
		p := Person{Name: "Ada Marsh", Licenses: []License{license}}
		c.change(&p)
		if got := pointers(t, ValidatePerson(p)); !slices.Equal(got, c.want) {
			t.Errorf("%s: points at %v, want %v", c.name, got, c.want)
		}
	}
}

func TestValidateCrew(t *testing.T) {
	lead := Member{Person: Person{ID: uuid.New()}, Lead: true}
	cases := []struct {
		name   string
		change func(*Crew)
		want   []string
	}{
		{"as it is", func(*Crew) {}, nil},
		{"until midnight", func(c *Crew) { c.ShiftTo = 1440 }, nil},
		{"shift reversed", func(c *Crew) { c.ShiftFrom = 1000 }, []string{"/shift_to"}},
		{"no depot", func(c *Crew) { c.Depot.ID = uuid.Nil }, []string{"/depot_id"}},
		{"no days", func(c *Crew) { c.WorkDays = nil }, []string{"/work_days"}},
		{"a day twice", func(c *Crew) { c.WorkDays = []int{1, 1} }, []string{"/work_days"}},
		{"odd ability", func(c *Crew) { c.Abilities = []turf.Work{"paint"} }, []string{"/abilities"}},
		{"a member twice, two leads", func(c *Crew) { c.Members = append(c.Members, lead) }, []string{"/members/1", "/members"}},
	}
	for _, c := range cases {
		crew := Crew{Name: "North 1", Depot: Depot{ID: uuid.New()}, ShiftFrom: 420, ShiftTo: 960, WorkDays: []int{1, 2, 3}, Members: []Member{lead}}
		c.change(&crew)
		if got := pointers(t, ValidateCrew(crew)); !slices.Equal(got, c.want) {
			t.Errorf("%s: points at %v, want %v", c.name, got, c.want)
		}
	}
}

func TestValidateMachineAndDepot(t *testing.T) {
	cases := []struct {
		name string
		m    Machine
		want []string
	}{
		{"a rotary", Machine{Name: "R1", Kind: "rotary", WidthIn: 48, HeightMinIn: 1.5, HeightMaxIn: 5}, nil},
		{"a sprayer needs no heights", Machine{Name: "S1", Kind: "sprayer", TankGal: 100}, nil},
		{"heights reversed", Machine{Name: "R1", Kind: "rotary", WidthIn: 48, HeightMinIn: 5, HeightMaxIn: 1.5}, []string{"/height_min_in"}},
		{"a mower without sizes", Machine{Name: "R1", Kind: "reel"}, []string{"/height_min_in", "/width_in"}},
		{"negative tank, no name", Machine{Kind: "sprayer", TankGal: -1}, []string{"/name", "/tank_gal"}},
		{"odd kind", Machine{Name: "X", Kind: "goat"}, []string{"/kind"}},
	}
	for _, c := range cases {
		if got := pointers(t, ValidateMachine(c.m)); !slices.Equal(got, c.want) {
			t.Errorf("%s: points at %v, want %v", c.name, got, c.want)
		}
	}
	if err := ValidateDepot(Depot{Name: "North", Latitude: 39.2, Longitude: -76.8}); err != nil {
		t.Error(err)
	}
	if got := pointers(t, ValidateDepot(Depot{Name: "North", Latitude: -76.8, Longitude: 39.2})); !slices.Equal(got, []string{"/latitude"}) {
		t.Errorf("a swapped depot points at %v", got)
	}
	if got := pointers(t, ValidateDepot(Depot{Name: "North"})); !slices.Equal(got, []string{"/latitude"}) {
		t.Errorf("a depot nowhere points at %v", got)
	}
}
