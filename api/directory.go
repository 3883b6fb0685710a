package api

import (
	"context"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/postgres"
	"thirdcut/internal/product"
	"thirdcut/internal/property"
)

// one is the answer of one thing that can be edited.
type one[T any] struct {
	ETag string `header:"ETag"`
	Body T
}

// page is the answer of a list.
type page[T any] struct {
	Link string `header:"Link" doc:"first and next page (RFC 8288)"`
	Body struct {
		Items []T `json:"items" nullable:"false"`
	}
}

func newPage[T, S any](path string, query url.Values, in Paged, p postgres.Page[S], shape func(S) T) *page[T] {
	out := &page[T]{Link: pageLinks(path, query, in.Limit, p.Next)}
	out.Body.Items = make([]T, 0, len(p.Items))
	for _, item := range p.Items {
		out.Body.Items = append(out.Body.Items, shape(item))
	}
	return out
}

// ByID is the input of what names one thing in its address.
type ByID struct {
	ID uuid.UUID `path:"id"`
}

// now is the company's settings and its business clock.
func (s *Server) now(ctx context.Context) (company.Settings, civil.Clock, error) {
	c, err := s.DB.Company(ctx)
	if err != nil {
		return c, civil.Clock{}, err
	}
	return c, c.Clock(s.DB.Real), nil
}

func (s *Server) directoryOperations() {
	operation(s, http.MethodGet, "/company", "read-company", "The company's settings", account.SeeCompany, s.readCompany)
	operation(s, http.MethodPut, "/company", "edit-company", "Change the company's settings", account.EditCompany, s.editCompany)
	operation(s, http.MethodGet, "/people", "list-people", "People with their licences", account.SeePeople, s.listPeople)
	operation(s, http.MethodGet, "/crews", "list-crews", "Crews with members and machines", account.SeePeople, s.listCrews)
	operation(s, http.MethodGet, "/customers", "list-customers", "Customers by name", account.SeeCustomers, s.listCustomers)
	operation(s, http.MethodPost, "/customers", "add-customer", "Take on a customer", account.EditCustomers, s.addCustomer, answers(http.StatusCreated))
	operation(s, http.MethodGet, "/customers/{id}", "read-customer", "One customer", account.SeeCustomers, s.readCustomer)
	operation(s, http.MethodPut, "/customers/{id}", "edit-customer", "Change a customer", account.EditCustomers, s.editCustomer)
	operation(s, http.MethodGet, "/properties", "list-properties", "Properties by address", account.SeeProperties, s.listProperties)
	operation(s, http.MethodGet, "/properties/{id}", "read-property", "One property with its turf areas and service plan", account.SeeProperties, s.readProperty)
	operation(s, http.MethodPatch, "/properties/{id}", "edit-property", "Change a property: place, access, sensitivities", account.EditProperties, s.editProperty)
	operation(s, http.MethodPatch, "/turf-areas/{id}", "edit-turf-area", "Change a turf area", account.EditProperties, s.editArea)
	operation(s, http.MethodGet, "/products", "list-products", "Products with their label versions", account.SeeProducts, s.listProducts)
	operation(s, http.MethodGet, "/products/{id}", "read-product", "One product with its label versions", account.SeeProducts, s.readProduct)
	operation(s, http.MethodPost, "/products", "add-product", "Add a product", account.EditProducts, s.addProduct, answers(http.StatusCreated))
	operation(s, http.MethodPost, "/products/{id}/labels", "add-label-version", "Enter the limits of a label revision; a second person confirms them", account.EditProducts, s.addLabel, answers(http.StatusCreated))
	operation(s, http.MethodPost, "/labels/{id}/confirm", "confirm-label-version", "Confirm entered limits after comparing them with the label", account.ConfirmLabels, s.confirmLabel)
}

func (s *Server) readCompany(ctx context.Context, _ account.Account, _ *struct{}) (*one[companyJSON], error) {
	c, clock, err := s.now(ctx)
	if err != nil {
		return nil, err
	}
	return &one[companyJSON]{etag(c.Version), newCompanyJSON(c, clock.Today())}, nil
}

type editOf[T any] struct {
	FieldMatch
	Body T
}

type editByID[T any] struct {
	ByID
	FieldMatch
	Body T
}

func (s *Server) editCompany(ctx context.Context, _ account.Account, in *editOf[companyJSON]) (*one[companyJSON], error) {
	version, err := matchVersion(in.IfMatch)
	if err != nil {
		return nil, err
	}
	c, err := s.DB.SaveCompany(ctx, version, in.Body.change)
	if err != nil {
		return nil, err
	}
	return &one[companyJSON]{etag(c.Version), newCompanyJSON(c, c.Clock(s.DB.Real).Today())}, nil
}

// change writes what may be edited over the settings.
func (j companyJSON) change(c *company.Settings) error {
	zone, err := loadZone(j.TimeZone)
	if err != nil {
		return err
	}
	c.Name, c.Address, c.Phone, c.BusinessLicense = j.Name, j.Address, j.Phone, j.BusinessLicense
	c.Zone, c.State, c.WorkWeek, c.Jurisdictions, c.WeatherPlaceID = zone, j.State, j.WorkWeek, j.Jurisdictions, j.WeatherPlaceID
	c.Holidays = nil
	for i, text := range j.Holidays {
		d, err := parseDate("/holidays/"+itoa(i), text)
		if err != nil {
			return err
		}
		c.Holidays = append(c.Holidays, d)
	}
	return nil
}

func (s *Server) listPeople(ctx context.Context, _ account.Account, in *Paged) (*page[personJSON], error) {
	_, clock, err := s.now(ctx)
	if err != nil {
		return nil, err
	}
	p, err := s.DB.PeoplePage(ctx, postgres.PageQuery{After: in.After, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	return newPage("/people", url.Values{}, *in, p, func(p crew.Person) personJSON { return newPersonJSON(p, clock.Today()) }), nil
}

type crewList struct {
	Body struct {
		Items []crewJSON `json:"items" nullable:"false"`
	}
}

func (s *Server) listCrews(ctx context.Context, _ account.Account, _ *struct{}) (*crewList, error) {
	crews, err := s.DB.Crews(ctx)
	if err != nil {
		return nil, err
	}
	out := &crewList{}
	out.Body.Items = []crewJSON{}
	for _, c := range crews {
		out.Body.Items = append(out.Body.Items, newCrewJSON(c))
	}
	return out, nil
}

// Searched is the input of a list that can be searched.
type Searched struct {
	Paged
	Search string `query:"q" maxLength:"200" doc:"words to find"`
}

func (q Searched) values() url.Values {
	v := url.Values{}
	if q.Search != "" {
		v.Set("q", q.Search)
	}
	return v
}

func (s *Server) listCustomers(ctx context.Context, _ account.Account, in *Searched) (*page[customerJSON], error) {
	p, err := s.DB.CustomersPage(ctx, postgres.PageQuery{Search: in.Search, After: in.After, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	return newPage("/customers", in.values(), in.Paged, p, newCustomerJSON), nil
}

func (s *Server) readCustomer(ctx context.Context, _ account.Account, in *ByID) (*one[customerJSON], error) {
	c, err := s.DB.Customer(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	return &one[customerJSON]{etag(c.Version), newCustomerJSON(c)}, nil
}

func (s *Server) addCustomer(ctx context.Context, _ account.Account, in *struct{ Body customerJSON }) (*one[customerJSON], error) {
	c := property.Customer{ID: in.Body.ID}
	in.Body.write(&c)
	c, err := s.DB.AddCustomer(ctx, c)
	if err != nil {
		return nil, err
	}
	return &one[customerJSON]{etag(c.Version), newCustomerJSON(c)}, nil
}

func (s *Server) editCustomer(ctx context.Context, _ account.Account, in *editByID[customerJSON]) (*one[customerJSON], error) {
	version, err := matchVersion(in.IfMatch)
	if err != nil {
		return nil, err
	}
	c, err := s.DB.SaveCustomer(ctx, in.ID, version, func(c *property.Customer) error { in.Body.write(c); return nil })
	if err != nil {
		return nil, err
	}
	return &one[customerJSON]{etag(c.Version), newCustomerJSON(c)}, nil
}

func (j customerJSON) write(c *property.Customer) {
	c.Name, c.Email, c.Phone, c.BillingAddress = strings.TrimSpace(j.Name), j.Email, j.Phone, j.BillingAddress
}

type propertyQuery struct {
	Searched
	County    string `query:"county" maxLength:"100"`
	NotPlaced bool   `query:"not_placed" doc:"only those without a map point"`
}

func (s *Server) listProperties(ctx context.Context, who account.Account, in *propertyQuery) (*page[propertyJSON], error) {
	query := in.values()
	if in.County != "" {
		query.Set("county", in.County)
	}
	if in.NotPlaced {
		query.Set("not_placed", "true")
	}
	p, err := s.DB.PropertiesPage(ctx, postgres.PropertyQuery{County: in.County, NotPlaced: in.NotPlaced,
		PageQuery: postgres.PageQuery{Search: in.Search, After: in.After, Limit: in.Limit}})
	if err != nil {
		return nil, err
	}
	return newPage("/properties", query, in.Paged, p, func(l postgres.PropertyLine) propertyJSON { return newPropertyJSON(l.Property, who) }), nil
}

func (s *Server) readProperty(ctx context.Context, who account.Account, in *ByID) (*one[propertyJSON], error) {
	p, err := s.DB.Property(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	return &one[propertyJSON]{etag(p.Version), newPropertyJSON(p, who)}, nil
}

// propertyPatch holds what is to change; what is absent stays.
type propertyPatch struct {
	Latitude      *float64  `json:"latitude,omitempty" minimum:"-90" maximum:"90"`
	Longitude     *float64  `json:"longitude,omitempty" minimum:"-180" maximum:"180"`
	AccessNote    *string   `json:"access_note,omitempty" maxLength:"2000"`
	GateCode      *string   `json:"gate_code,omitempty" maxLength:"100"`
	Sensitivities *[]string `json:"sensitivities,omitempty"`
	County        *string   `json:"county,omitempty" maxLength:"100"`
	Municipality  *string   `json:"municipality,omitempty" maxLength:"100"`
}

func (s *Server) editProperty(ctx context.Context, who account.Account, in *editByID[propertyPatch]) (*one[propertyJSON], error) {
	version, err := matchVersion(in.IfMatch)
	if err != nil {
		return nil, err
	}
	p, err := s.DB.SaveProperty(ctx, in.ID, version, func(p *property.Property) error {
		b := in.Body
		if b.Latitude != nil {
			p.Latitude = b.Latitude
		}
		if b.Longitude != nil {
			p.Longitude = b.Longitude
		}
		set(&p.AccessNote, b.AccessNote)
		set(&p.GateCode, b.GateCode)
		set(&p.Sensitivities, b.Sensitivities)
		set(&p.County, b.County)
		set(&p.Municipality, b.Municipality)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &one[propertyJSON]{etag(p.Version), newPropertyJSON(p, who)}, nil
}

// set writes a value that was sent.
func set[T any](to *T, from *T) {
	if from != nil {
		*to = *from
	}
}

func (s *Server) editArea(ctx context.Context, _ account.Account, in *editByID[areaJSON]) (*one[areaJSON], error) {
	version, err := matchVersion(in.IfMatch)
	if err != nil {
		return nil, err
	}
	measured, err := parseDateOrNone("/area_measured_on", in.Body.AreaMeasuredOn)
	if err != nil {
		return nil, err
	}
	a, err := s.DB.SaveTurfArea(ctx, in.ID, version, func(a *property.TurfArea) error {
		b := in.Body
		a.Name, a.Outline, a.AreaSqFt, a.AreaMethod, a.AreaMeasuredOn = b.Name, b.Outline, b.AreaSqFt, b.AreaMethod, measured
		a.Species, a.CuttingHeightIn, a.Mower, a.Exposure = b.Species, b.CuttingHeightIn, b.Mower, b.Exposure
		a.SlopePercent, a.Soil, a.Irrigated, a.NLbPerThousandYear = b.SlopePercent, b.Soil, b.Irrigated, b.NLbPerThousandYear
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &one[areaJSON]{etag(a.Version), newAreaJSON(a)}, nil
}

func (s *Server) listProducts(ctx context.Context, _ account.Account, in *Searched) (*page[productJSON], error) {
	p, err := s.DB.ProductsPage(ctx, postgres.PageQuery{Search: in.Search, After: in.After, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	return newPage("/products", in.values(), in.Paged, p, newProductJSON), nil
}

func (s *Server) readProduct(ctx context.Context, _ account.Account, in *ByID) (*one[productJSON], error) {
	p, err := s.DB.Product(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	return &one[productJSON]{etag(p.Version), newProductJSON(p)}, nil
}

func (s *Server) addProduct(ctx context.Context, _ account.Account, in *struct{ Body productJSON }) (*one[productJSON], error) {
	b := in.Body
	p, err := s.DB.AddProduct(ctx, product.Product{ID: b.ID, Name: strings.TrimSpace(b.Name), Kind: b.Kind, Form: b.Form, EPARegNo: b.EPARegNo,
		ActiveIngredient: b.ActiveIngredient, ConcentrationPercent: b.ConcentrationPercent, RestrictedUse: b.RestrictedUse, NPercent: b.NPercent})
	if err != nil {
		return nil, err
	}
	return &one[productJSON]{etag(p.Version), newProductJSON(p)}, nil
}

func (s *Server) addLabel(ctx context.Context, who account.Account, in *struct {
	ByID
	Body labelVersionJSON
}) (*one[labelVersionJSON], error) {
	from, err := parseDate("/in_force_from", in.Body.InForceFrom)
	if err != nil {
		return nil, err
	}
	limits := in.Body.Limits
	limits.Revision, limits.Pattern = in.Body.Revision, in.Body.Pattern
	v, err := s.DB.AddLabelVersion(ctx, product.LabelVersion{ID: in.Body.ID, ProductID: in.ID, Revision: in.Body.Revision,
		Pattern: in.Body.Pattern, InForceFrom: from, Limits: limits, EnteredBy: who.PersonID})
	if err != nil {
		return nil, err
	}
	return &one[labelVersionJSON]{Body: newLabelJSON(v)}, nil
}

func (s *Server) confirmLabel(ctx context.Context, who account.Account, in *ByID) (*one[labelVersionJSON], error) {
	v, err := s.DB.ConfirmLabelVersion(ctx, in.ID, who.PersonID)
	if err != nil {
		return nil, err
	}
	return &one[labelVersionJSON]{Body: newLabelJSON(v)}, nil
}

func newLabelJSON(v product.LabelVersion) labelVersionJSON {
	return labelVersionJSON{ID: v.ID, Revision: v.Revision, Pattern: v.Pattern, InForceFrom: v.InForceFrom.String(),
		Limits: v.Limits, Confirmed: v.Confirmed(), Solo: v.Solo()}
}

// parseDate reads a date of the input; the fault names its place.
func parseDate(pointer, text string) (civil.Date, error) {
	d, err := civil.ParseDate(text)
	if err != nil {
		return d, fault.New(fault.Invalid, "bad-date", "a date in the input does not exist").With(pointer, "%v", err)
	}
	return d, nil
}

// parseDateOrNone reads a date that may be empty.
func parseDateOrNone(pointer, text string) (civil.Date, error) {
	if text == "" {
		return civil.Date{}, nil
	}
	return parseDate(pointer, text)
}

func itoa(i int) string { return strconv.Itoa(i) }

func loadZone(name string) (*time.Location, error) {
	zone, err := time.LoadLocation(name)
	if err != nil || name == "" || name == "Local" {
		return nil, fault.New(fault.Invalid, "bad-zone", "the time zone is not known").With("/time_zone", "%q is no IANA time zone such as America/New_York", name)
	}
	return zone, nil
}
