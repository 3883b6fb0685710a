package property

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/turf"
)

// Import is what an office sheet says of customers and their lawns. An empty
// text, a nil pointer or an empty list says nothing, and so never takes away what
// is known already. Place says where a thing stands, in words for people:
// "sheet Lawns, line 12".
type Import struct {
	Customers []ImportCustomer
}

// ImportCustomer is a customer in a sheet. Key is the sheet's own mark; without
// one the customer is recognised by name.
type ImportCustomer struct {
	Place          string
	Key            string
	Name           string
	Email, Phone   string
	BillingAddress string
	Properties     []ImportProperty
}

// ImportProperty is a property in a sheet, recognised by MakeAddressKey. State
// is the company's where the sheet has none.
type ImportProperty struct {
	Place                                         string
	Address, Municipality, County, State, ZIPCode string
	OwnerName                                     string
	Latitude, Longitude                           *float64
	AccessNote, GateCode                          string
	Sensitivities                                 []string
	WaterDistanceFt                               *float64
	AllowedFrom, AllowedTo                        *civil.TimeOfDay
	ClosedWeekdays                                []int
	Jurisdictions                                 []string
	WeatherPlaceID                                string
	Areas                                         []ImportArea
	Plan                                          *ImportPlan
}

// ImportArea is a turf area in a sheet, recognised by its name within the property.
type ImportArea struct {
	Place              string
	Name               string
	Outline            json.RawMessage
	AreaSqFt           *float64
	AreaMethod         string
	AreaMeasuredOn     civil.Date
	Species            turf.Species
	CuttingHeightIn    *float64
	Mower              turf.Mower
	Exposure           turf.Exposure
	SlopePercent       *float64
	Soil               turf.Soil
	Irrigated          *bool
	IrrigationNote     string
	NLbPerThousandYear *float64
	Note               string
}

// ImportPlan is a service plan in a sheet.
type ImportPlan struct {
	Place                   string
	SeasonFrom, SeasonTo    *civil.MonthDay
	LeastDays, GreatestDays *int
	PriceBasis              string
	PriceCents              *int64
	Services                []turf.Work
}

func fill(to *string, from string) {
	if from = strings.TrimSpace(from); from != "" {
		*to = from
	}
}

func fillWord[T ~string](to *T, from T) {
	if from != "" {
		*to = from
	}
}

func fillPointer[T any](to **T, from *T) {
	if from != nil {
		v := *from
		*to = &v
	}
}

func fillValue[T any](to *T, from *T) {
	if from != nil {
		*to = *from
	}
}

func fillList[T any](to *[]T, from []T) {
	if len(from) > 0 {
		*to = slices.Clone(from)
	}
}

// CustomerKey is the key by which the customer is recognised again.
func (c ImportCustomer) CustomerKey() string {
	if k := strings.TrimSpace(c.Key); k != "" {
		return k
	}
	return "name:" + NameKey(c.Name)
}

// NameKey is a name without regard to case and blanks.
func NameKey(name string) string { return strings.ToLower(strings.Join(strings.Fields(name), " ")) }

// Onto returns the customer with what the sheet says filled in.
func (c ImportCustomer) Onto(to Customer) Customer {
	fill(&to.ImportKey, c.CustomerKey())
	fill(&to.Name, c.Name)
	fill(&to.Email, c.Email)
	fill(&to.Phone, c.Phone)
	fill(&to.BillingAddress, c.BillingAddress)
	return to
}

// Differs says whether a sheet's customer without a key of its own must be
// somebody else of the same name: phone and e-mail are both known and both differ.
func (c ImportCustomer) Differs(have Customer) bool {
	other := func(a, b string) bool {
		return strings.TrimSpace(a) != "" && b != "" && !strings.EqualFold(strings.TrimSpace(a), b)
	}
	return strings.TrimSpace(c.Key) == "" && other(c.Email, have.Email) && other(c.Phone, have.Phone)
}

// AddressKey is MakeAddressKey with the company's state where the sheet has none.
func (p ImportProperty) AddressKey(companyState string) string {
	return p.Onto(Property{State: companyState}).Key()
}

// Onto returns the property with what the sheet says filled in; areas and plan
// are left as they are.
func (p ImportProperty) Onto(to Property) Property {
	fill(&to.Address, p.Address)
	fill(&to.Municipality, p.Municipality)
	fill(&to.County, p.County)
	fill(&to.State, strings.ToUpper(p.State))
	fill(&to.ZIPCode, p.ZIPCode)
	fill(&to.OwnerName, p.OwnerName)
	fillPointer(&to.Latitude, p.Latitude)
	fillPointer(&to.Longitude, p.Longitude)
	fill(&to.AccessNote, p.AccessNote)
	fill(&to.GateCode, p.GateCode)
	fillList(&to.Sensitivities, p.Sensitivities)
	fillPointer(&to.WaterDistanceFt, p.WaterDistanceFt)
	fillPointer(&to.AllowedFrom, p.AllowedFrom)
	fillPointer(&to.AllowedTo, p.AllowedTo)
	fillList(&to.ClosedWeekdays, p.ClosedWeekdays)
	fillList(&to.Jurisdictions, p.Jurisdictions)
	fill(&to.WeatherPlaceID, p.WeatherPlaceID)
	to.AddressKey = to.Key()
	return to
}

// Onto returns the area with what the sheet says filled in.
func (a ImportArea) Onto(to TurfArea) TurfArea {
	fill(&to.Name, a.Name)
	if len(a.Outline) > 0 {
		to.Outline = a.Outline
	}
	fillValue(&to.AreaSqFt, a.AreaSqFt)
	fill(&to.AreaMethod, a.AreaMethod)
	if !a.AreaMeasuredOn.IsZero() {
		to.AreaMeasuredOn = a.AreaMeasuredOn
	}
	fillWord(&to.Species, a.Species)
	fillValue(&to.CuttingHeightIn, a.CuttingHeightIn)
	fillWord(&to.Mower, a.Mower)
	fillWord(&to.Exposure, a.Exposure)
	fillValue(&to.SlopePercent, a.SlopePercent)
	fillWord(&to.Soil, a.Soil)
	fillValue(&to.Irrigated, a.Irrigated)
	fill(&to.IrrigationNote, a.IrrigationNote)
	fillPointer(&to.NLbPerThousandYear, a.NLbPerThousandYear)
	fill(&to.Note, a.Note)
	return to.WithDefaults()
}

// Onto returns the plan with what the sheet says filled in; a new one is priced
// per visit unless the sheet says otherwise.
func (p ImportPlan) Onto(to ServicePlan) ServicePlan {
	fillValue(&to.SeasonFrom, p.SeasonFrom)
	fillValue(&to.SeasonTo, p.SeasonTo)
	fillPointer(&to.LeastDays, p.LeastDays)
	fillPointer(&to.GreatestDays, p.GreatestDays)
	fill(&to.PriceBasis, p.PriceBasis)
	if to.PriceBasis == "" {
		to.PriceBasis = "per_visit"
	}
	fillPointer(&to.PriceCents, p.PriceCents)
	fillList(&to.Services, p.Services)
	return to
}

// ImportCount counts what became of the things of one kind.
type ImportCount struct {
	Added, Changed, Unchanged int
}

func (c *ImportCount) add(o ImportCount) {
	c.Added += o.Added
	c.Changed += o.Changed
	c.Unchanged += o.Unchanged
}

// ImportPlanned is what an import would write: rows ready to be stored, with ids
// and versions, in Add those that are new and in Change those that differ.
type ImportPlanned struct {
	AddCustomers, ChangeCustomers   []Customer
	AddProperties, ChangeProperties []Property
	AddAreas, ChangeAreas           []TurfArea
	AddPlans                        []ServicePlan
	EndPlans                        []uuid.UUID // running plans that a new one follows
	Refresh                         []uuid.UUID // properties whose due windows may differ

	Customers, Properties, Areas, Plans ImportCount
	Notes                               []string // what a person should look at
}

// Total counts all four kinds together.
func (p ImportPlanned) Total() ImportCount {
	var total ImportCount
	for _, c := range []ImportCount{p.Customers, p.Properties, p.Areas, p.Plans} {
		total.add(c)
	}
	return total
}

// Known is what the company keeps already of the things that an import names.
type Known struct {
	Customers  []Customer // by key or name, and those of Properties
	Properties []Property // by address key or street; with all areas and the running plan
}

// mostFields is how many wrong places an import names before it stops.
const mostFields = 50

// importer compares a sheet with what is known, one thing at a time.
type importer struct {
	state      string
	today      civil.Date
	customers  map[string]Customer // by import key
	byID       map[uuid.UUID]Customer
	properties map[string]Property // by address key
	streets    map[string][]Property
	seen       map[string]string // thing: the place where the sheet has it first
	refresh    map[uuid.UUID]bool
	bad        *fault.Error
	out        ImportPlanned
}

// PlanImport compares what a sheet says with what is known and returns what to
// write, without writing it. Things are recognised by customer key, address key
// and area name; a second time nothing is left to write. State is the company's,
// today the business day on which plans change.
//
// One wrong place refuses the whole sheet: fault.Invalid "import" names up to 50.
func PlanImport(sheet Import, known Known, state string, today civil.Date) (ImportPlanned, error) {
	in := &importer{state: state, today: today, customers: map[string]Customer{}, byID: map[uuid.UUID]Customer{},
		properties: map[string]Property{}, streets: map[string][]Property{}, seen: map[string]string{},
		refresh: map[uuid.UUID]bool{},
		bad:     fault.New(fault.Invalid, "import", "nothing was imported, because some places cannot be taken over; correct them and import again")}
	for _, c := range known.Customers {
		in.byID[c.ID] = c
		if c.ImportKey != "" {
			in.customers[c.ImportKey] = c
		}
	}
	for _, p := range known.Properties {
		in.properties[p.AddressKey] = p
		street := StreetKey(p.Address)
		in.streets[street] = append(in.streets[street], p)
	}
	for _, c := range sheet.Customers {
		if len(in.bad.Fields) >= mostFields {
			break
		}
		if err := in.customer(c); err != nil {
			return ImportPlanned{}, err
		}
	}
	if len(in.bad.Fields) > 0 {
		return ImportPlanned{}, in.bad
	}
	return in.out, nil
}

// wrong takes over what a validation found, under the place in the sheet.
func (in *importer) wrong(place string, err error) bool {
	if err == nil {
		return false
	}
	f := fault.As(err)
	if f == nil || len(f.Fields) == 0 {
		in.bad.With(place, "%s", err.Error())
		return true
	}
	for _, field := range f.Fields {
		in.bad.With(place, "%s: %s", strings.TrimPrefix(field.Pointer, "/"), field.Detail)
	}
	return true
}

// first says whether the sheet has the thing for the first time; a second time
// is a wrong place that names both.
func (in *importer) first(thing, place, words string) bool {
	if before, twice := in.seen[thing]; twice {
		in.bad.With(place, "%s is there already in %s; keep one of them", words, before)
		return false
	}
	in.seen[thing] = place
	return true
}

func (in *importer) customer(c ImportCustomer) error {
	key := c.CustomerKey()
	if !in.first("customer "+key, c.Place, fmt.Sprintf("customer %q", c.Name)) {
		return nil
	}
	have, known := in.findCustomer(c, key)
	if known && c.Differs(have) {
		in.bad.With(c.Place, "there is a customer %s with another phone and e-mail; give both customers a key column to tell them apart", have.Name)
		return nil
	}
	after := c.Onto(have)
	if known {
		after.ImportKey = key
	}
	if in.wrong(c.Place, ValidateCustomer(after)) {
		return nil
	}
	switch {
	case !known:
		id, err := uuid.NewV7()
		if err != nil {
			return fmt.Errorf("make id: %w", err)
		}
		after.ID, after.Version = id, 1
		in.out.AddCustomers = append(in.out.AddCustomers, after)
		in.out.Customers.Added++
	case after != have:
		after.Version++
		in.out.ChangeCustomers = append(in.out.ChangeCustomers, after)
		in.out.Customers.Changed++
	default:
		in.out.Customers.Unchanged++
	}
	in.byID[after.ID] = after
	for _, p := range c.Properties {
		if err := in.property(p, after); err != nil {
			return err
		}
	}
	return nil
}

// findCustomer looks for the customer by key, then by name at one of the
// addresses: a customer entered by hand has no key yet.
func (in *importer) findCustomer(c ImportCustomer, key string) (Customer, bool) {
	if have, ok := in.customers[key]; ok {
		return have, true
	}
	for _, p := range c.Properties {
		named := func(have Customer) bool { return have.ImportKey == "" && NameKey(have.Name) == NameKey(c.Name) }
		if at, ok := in.findProperty(p, named); ok && named(in.byID[at.CustomerID]) {
			return in.byID[at.CustomerID], true
		}
	}
	return Customer{}, false
}

// findProperty looks by address key; where only one of sheet and books names the
// town or ZIP code, by street and state among the properties of the right
// customer, when that is one alone.
func (in *importer) findProperty(p ImportProperty, right func(Customer) bool) (Property, bool) {
	if have, ok := in.properties[p.AddressKey(in.state)]; ok {
		return have, true
	}
	var found []Property
	for _, have := range in.streets[StreetKey(p.Address)] {
		if right(in.byID[have.CustomerID]) && in.fillsTown(p, have) {
			found = append(found, have)
		}
	}
	if len(found) != 1 {
		return Property{}, false
	}
	return found[0], true
}

// fillsTown says whether the sheet adds town or ZIP code to a property of the
// same street and state, without contradicting what is known.
func (in *importer) fillsTown(p ImportProperty, have Property) bool {
	same := func(a, b string) bool { return a == "" || b == "" || NameKey(a) == NameKey(b) }
	with := p.Onto(Property{State: in.state})
	return with.State == have.State && same(with.ZIPCode, have.ZIPCode) && same(with.Municipality, have.Municipality)
}

func (in *importer) property(p ImportProperty, owner Customer) error {
	have, known := in.findProperty(p, func(c Customer) bool { return c.ID == owner.ID })
	before := have
	if !known {
		have.State = in.state
	}
	after := p.Onto(have)
	if !in.first("property "+after.AddressKey, p.Place, "the property "+after.Address) {
		return nil
	}
	if other, taken := in.properties[after.AddressKey]; taken && other.ID != before.ID {
		in.bad.With(p.Place, "with that town and ZIP code %s is the same as another property; retire one of the two first", after.Address)
		return nil
	}
	after.CustomerID = owner.ID
	if in.wrong(p.Place, ValidateProperty(after)) {
		return nil
	}
	if !known {
		id, err := uuid.NewV7()
		if err != nil {
			return fmt.Errorf("make id: %w", err)
		}
		after.ID, after.Version = id, 1
		in.out.AddProperties = append(in.out.AddProperties, after)
		in.out.Properties.Added++
		in.touch(after.ID)
	} else {
		in.changeProperty(p, before, after)
	}
	for _, a := range p.Areas {
		if err := in.area(a, after); err != nil {
			return err
		}
	}
	if p.Plan != nil {
		return in.plan(*p.Plan, after)
	}
	return nil
}

func (in *importer) changeProperty(p ImportProperty, before, after Property) {
	if !before.RetiredOn.IsZero() {
		in.note("%s: %s is retired since %s and stays so; bring it back on its page", p.Place, before.Address, before.RetiredOn)
	}
	if before.CustomerID != after.CustomerID {
		in.note("%s: %s goes over from %s to %s", p.Place, before.Address, in.byID[before.CustomerID].Name, in.byID[after.CustomerID].Name)
	}
	if before.same(after) {
		in.out.Properties.Unchanged++
		return
	}
	after.Version++
	in.out.ChangeProperties = append(in.out.ChangeProperties, after)
	in.out.Properties.Changed++
	if !before.SameWindows(after) {
		in.touch(after.ID)
	}
}

// same says whether two states of a property are stored alike.
func (p Property) same(q Property) bool {
	return p.CustomerID == q.CustomerID && p.Address == q.Address && p.AddressKey == q.AddressKey && p.ZIPCode == q.ZIPCode &&
		p.OwnerName == q.OwnerName && p.AccessNote == q.AccessNote && p.GateCode == q.GateCode &&
		sameNumber(p.AllowedFrom, q.AllowedFrom) && sameNumber(p.AllowedTo, q.AllowedTo) && p.SameWindows(q)
}

func (in *importer) note(format string, args ...any) {
	in.out.Notes = append(in.out.Notes, fmt.Sprintf(format, args...))
}

// touch asks for the property's due windows once.
func (in *importer) touch(id uuid.UUID) {
	if !in.refresh[id] {
		in.refresh[id] = true
		in.out.Refresh = append(in.out.Refresh, id)
	}
}

func (in *importer) area(a ImportArea, p Property) error {
	name := strings.TrimSpace(a.Name)
	if !in.first("area "+p.AddressKey+"\x00"+NameKey(name), a.Place, fmt.Sprintf("area %q of %s", name, p.Address)) {
		return nil
	}
	i := slices.IndexFunc(p.Areas, func(have TurfArea) bool { return NameKey(have.Name) == NameKey(name) })
	var before TurfArea
	if i >= 0 {
		before = p.Areas[i]
		a.Name = before.Name // as it is written already
	}
	after := a.Onto(before)
	after.PropertyID = p.ID
	if len(a.Outline) > 0 {
		var err error
		if after, err = p.Outlined(after); in.wrong(a.Place, err) {
			return nil
		}
	}
	if in.wrong(a.Place, ValidateTurfArea(after)) {
		return nil
	}
	if i < 0 {
		id, err := uuid.NewV7()
		if err != nil {
			return fmt.Errorf("make id: %w", err)
		}
		after.ID, after.Version = id, 1
		in.out.AddAreas = append(in.out.AddAreas, after)
		in.out.Areas.Added++
		in.touch(p.ID)
		return nil
	}
	in.changeArea(a, before, after)
	return nil
}

func (in *importer) changeArea(a ImportArea, before, after TurfArea) {
	if !before.RetiredOn.IsZero() {
		in.note("%s: area %s is retired since %s and stays so; bring it back on its page", a.Place, before.Name, before.RetiredOn)
	}
	if before.same(after) {
		in.out.Areas.Unchanged++
		return
	}
	after.Version++
	in.out.ChangeAreas = append(in.out.ChangeAreas, after)
	in.out.Areas.Changed++
	if !before.SameWindows(after) {
		in.touch(after.PropertyID)
	}
}

// same says whether two states of an area are stored alike.
func (a TurfArea) same(b TurfArea) bool {
	return a.SameWindows(b) && a.Name == b.Name && sameJSON(a.Outline, b.Outline) && a.AreaMethod == b.AreaMethod &&
		a.AreaMeasuredOn == b.AreaMeasuredOn && a.IrrigationNote == b.IrrigationNote && a.Note == b.Note
}

// sameJSON compares two documents without regard to blanks and the order of members.
func sameJSON(a, b json.RawMessage) bool {
	if string(a) == string(b) {
		return true
	}
	var x, y any
	if json.Unmarshal(a, &x) != nil || json.Unmarshal(b, &y) != nil {
		return false
	}
	ax, errA := json.Marshal(x)
	by, errB := json.Marshal(y)
	return errA == nil && errB == nil && string(ax) == string(by)
}

func (in *importer) plan(plan ImportPlan, p Property) error {
	var before ServicePlan
	if p.Plan != nil {
		before = *p.Plan
	}
	after := plan.Onto(before)
	after.PropertyID = p.ID
	if in.wrong(plan.Place, ValidateServicePlan(after)) {
		return nil
	}
	if p.Plan != nil && before.same(after) {
		in.out.Plans.Unchanged++
		return nil
	}
	id, err := uuid.NewV7()
	if err != nil {
		return fmt.Errorf("make id: %w", err)
	}
	after.ID, after.Version, after.AgreedOn, after.EndedOn = id, before.Version+1, in.today, civil.Date{}
	in.out.AddPlans = append(in.out.AddPlans, after)
	in.touch(p.ID)
	if p.Plan == nil {
		in.out.Plans.Added++
		return nil
	}
	in.out.EndPlans = append(in.out.EndPlans, before.ID)
	in.out.Plans.Changed++
	return nil
}

// same says whether two plans agree to the same.
func (s ServicePlan) same(t ServicePlan) bool {
	return s.SeasonFrom == t.SeasonFrom && s.SeasonTo == t.SeasonTo && sameNumber(s.LeastDays, t.LeastDays) &&
		sameNumber(s.GreatestDays, t.GreatestDays) && s.PriceBasis == t.PriceBasis &&
		sameNumber(s.PriceCents, t.PriceCents) && slices.Equal(s.Services, t.Services)
}
