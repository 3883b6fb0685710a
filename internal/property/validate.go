package property

import (
	"encoding/json"
	"math"
	"regexp"
	"slices"
	"strings"

	"thirdcut/internal/fault"
	"thirdcut/internal/geo"
	"thirdcut/internal/turf"
)

// What a person may enter for one turf area. They guard against a wrong unit
// (acres as square feet, millimetres as inches), not against odd lawns.
const (
	GreatestHeightIn = 8.0         // cutting height: no mower cuts higher
	GreatestAreaSqFt = 50_000_000. // about 1,150 acres
	GreatestNitrogen = 10.0        // lb N/1000 sq ft a year
	GreatestDays     = 120         // between two cuts
	longestText      = 4000        // characters of a note
	longestName      = 200
)

var (
	twoLetters = regexp.MustCompile(`^[A-Z]{2}$`)
	zipCode    = regexp.MustCompile(`^[0-9]{5}(-[0-9]{4})?$`)

	// AreaMethods lists how an area can have been found.
	AreaMethods = []string{"outline", "wheel", "tape", "plan", "estimate", "given"}
	// PriceBases lists what a price is for.
	PriceBases = []string{"per_visit", "per_season"}
)

func orNil(bad *fault.Error) error {
	if len(bad.Fields) == 0 {
		return nil
	}
	return bad
}

func checkText(bad *fault.Error, pointer, text string, longest int) {
	if len([]rune(text)) > longest {
		bad.With(pointer, "is longer than %d characters; shorten it", longest)
	}
}

// ValidateCustomer says what is wrong with a customer, or nil: fault.Invalid
// "customer" with a JSON pointer for each wrong place.
func ValidateCustomer(c Customer) error {
	bad := fault.New(fault.Invalid, "customer", "the customer cannot be saved as entered; correct the places named")
	if strings.TrimSpace(c.Name) == "" {
		bad.With("/name", "give the customer's name")
	}
	checkText(bad, "/name", c.Name, longestName)
	if c.Email != "" && !plausibleEmail(c.Email) {
		bad.With("/email", "%q is no e-mail address; write it as name@place.example, or leave it empty", c.Email)
	}
	checkText(bad, "/phone", c.Phone, longestName)
	checkText(bad, "/billing_address", c.BillingAddress, longestText)
	return orNil(bad)
}

func plausibleEmail(s string) bool {
	at := strings.LastIndexByte(s, '@')
	return at > 0 && at < len(s)-1 && !strings.ContainsAny(s, " \t\r\n<>,;") && len(s) <= 254
}

// ValidateProperty says what is wrong with a property, without its areas and
// plan, or nil: fault.Invalid "property" with a JSON pointer for each wrong place.
func ValidateProperty(p Property) error {
	bad := fault.New(fault.Invalid, "property", "the property cannot be saved as entered; correct the places named")
	if strings.TrimSpace(p.Address) == "" {
		bad.With("/address", "give the street address")
	}
	checkText(bad, "/address", p.Address, longestName)
	if !twoLetters.MatchString(p.State) {
		bad.With("/state", "give the state by its two capital letters, such as MD")
	}
	if p.ZIPCode != "" && !zipCode.MatchString(p.ZIPCode) {
		bad.With("/zip_code", "%q is no ZIP code; write five digits, or five, a hyphen and four", p.ZIPCode)
	}
	switch {
	case (p.Latitude == nil) != (p.Longitude == nil):
		bad.With("/latitude", "give latitude and longitude together, or neither")
	case p.Placed():
		CheckPlace(bad, *p.Latitude, *p.Longitude)
	}
	if p.WaterDistanceFt != nil && !(*p.WaterDistanceFt >= 0 && *p.WaterDistanceFt <= 1e6) {
		bad.With("/water_distance_ft", "is a distance in feet, zero or more")
	}
	if p.AllowedFrom != nil && p.AllowedTo != nil && *p.AllowedFrom >= *p.AllowedTo {
		bad.With("/allowed_to", "the allowed hours end at %s, which is not after they begin at %s", p.AllowedTo, p.AllowedFrom)
	}
	checkWeekdays(bad, p.ClosedWeekdays)
	checkText(bad, "/access_note", p.AccessNote, longestText)
	checkText(bad, "/gate_code", p.GateCode, longestName)
	checkText(bad, "/owner_name", p.OwnerName, longestName)
	return orNil(bad)
}

func checkWeekdays(bad *fault.Error, days []int) {
	for i, day := range days {
		if day < 1 || day > 7 {
			bad.With("/closed_weekdays", "%d is no weekday; Monday is 1 and Sunday is 7", day)
		} else if slices.Contains(days[:i], day) {
			bad.With("/closed_weekdays", "weekday %d is named twice", day)
		}
	}
	if len(days) == 7 {
		bad.With("/closed_weekdays", "with all seven days closed nobody could ever come; leave one open, or retire the property")
	}
}

// CheckPlace adds to bad what is wrong with a map point in degrees, north and
// east positive. A point far from where the states lie whose mirror image lies
// there was most likely entered the wrong way round, and is refused.
func CheckPlace(bad *fault.Error, latitude, longitude float64) {
	switch {
	case math.IsNaN(latitude+longitude) || math.IsInf(latitude, 0) || math.IsInf(longitude, 0):
		bad.With("/latitude", "latitude and longitude must be numbers of degrees")
	case amongStates(latitude, longitude):
	case amongStates(longitude, latitude):
		bad.With("/latitude", "latitude %g and longitude %g look swapped; enter %g, %g", latitude, longitude, longitude, latitude)
	case amongStates(latitude, -longitude):
		bad.With("/longitude", "longitude %g lies east; west of Greenwich it is negative, so enter %g", longitude, -longitude)
	case math.Abs(latitude) > 90:
		bad.With("/latitude", "%g is no latitude; it lies between -90 and 90 degrees", latitude)
	case math.Abs(longitude) > 180:
		bad.With("/longitude", "%g is no longitude; it lies between -180 and 180 degrees", longitude)
	}
}

// amongStates is a wide box around the states and territories of the United
// States, those across the date line included.
func amongStates(latitude, longitude float64) bool {
	north := latitude >= 13 && latitude <= 72 && (longitude >= -180 && longitude <= -60 || longitude >= 144 && longitude <= 180)
	return north || latitude >= -15 && latitude <= -10 && longitude >= -172 && longitude <= -168
}

// WithDefaults fills what may be left open: unknown species and soil, full sun,
// a size given without saying how it was found.
func (a TurfArea) WithDefaults() TurfArea {
	if a.Species == "" {
		a.Species = turf.UnknownSpecies
	}
	if a.Soil == "" {
		a.Soil = turf.UnknownSoil
	}
	if a.Exposure == "" {
		a.Exposure = turf.Sun
	}
	if a.AreaMethod == "" {
		a.AreaMethod = "given"
	}
	return a
}

// ValidateTurfArea says what is wrong with a turf area, or nil: fault.Invalid
// "turf-area" with a JSON pointer for each wrong place.
func ValidateTurfArea(a TurfArea) error {
	bad := fault.New(fault.Invalid, "turf-area", "the turf area cannot be saved as entered; correct the places named")
	if strings.TrimSpace(a.Name) == "" {
		bad.With("/name", "give the area a name that crews know it by, such as Front")
	}
	checkText(bad, "/name", a.Name, longestName)
	if !(a.AreaSqFt > 0 && a.AreaSqFt <= GreatestAreaSqFt) {
		bad.With("/area_sqft", "%g sq ft is no size of a lawn; enter square feet above zero", a.AreaSqFt)
	}
	if !slices.Contains(AreaMethods, a.AreaMethod) {
		bad.With("/area_method", "%q is none of %s", a.AreaMethod, strings.Join(AreaMethods, ", "))
	}
	if !(a.CuttingHeightIn > 0 && a.CuttingHeightIn <= GreatestHeightIn) {
		bad.With("/cutting_height_in", "%g in is no cutting height; enter inches above zero and at most %g", a.CuttingHeightIn, GreatestHeightIn)
	}
	checkLists(bad, a)
	if !(a.SlopePercent >= 0 && a.SlopePercent <= 100) {
		bad.With("/slope_percent", "%g percent is no slope that can be mown; enter 0 to 100", a.SlopePercent)
	}
	if n := a.NLbPerThousandYear; n != nil && !(*n >= 0 && *n <= GreatestNitrogen) {
		bad.With("/n_lb_per_1000sqft_year", "%g is not a year's nitrogen; enter pounds per 1000 sq ft, 0 to %g", *n, GreatestNitrogen)
	}
	if len(a.Outline) > 0 {
		checkOutline(bad, a.Outline)
	}
	if a.AreaMethod == "outline" && len(a.Outline) == 0 {
		bad.With("/outline", "the size is said to come from the outline, but there is none")
	}
	checkText(bad, "/note", a.Note, longestText)
	checkText(bad, "/irrigation_note", a.IrrigationNote, longestText)
	return orNil(bad)
}

func checkLists(bad *fault.Error, a TurfArea) {
	if !a.Species.Known() {
		bad.With("/species", "%q is no species that the program knows; choose one of the list, or unknown", a.Species)
	}
	if !a.Soil.Known() {
		bad.With("/soil", "%q is no soil texture that the program knows; choose one of the list, or unknown", a.Soil)
	}
	if !a.Exposure.Known() {
		bad.With("/exposure", "%q is no exposure; choose sun, part_shade or shade", a.Exposure)
	}
	if a.Mower != "" && !a.Mower.Known() {
		bad.With("/mower", "%q is no mower; choose reel or rotary, or leave it empty", a.Mower)
	}
}

func checkOutline(bad *fault.Error, outline json.RawMessage) {
	if _, err := geo.ParseOutline(outline, nil); err != nil {
		bad.With("/outline", "%s", err.Error())
	}
}

// Outlined returns the area with its outline as it is stored: a Polygon or
// MultiPolygon of whole rings, each turned the right way. The outline must lie
// at the property, where that is on the map. An area without an outline is
// returned as it is. fault.Invalid "turf-area" points at the outline.
func (p Property) Outlined(a TurfArea) (TurfArea, error) {
	if len(a.Outline) == 0 {
		return a, nil
	}
	var near *geo.Point
	if p.Placed() {
		near = &geo.Point{Latitude: *p.Latitude, Longitude: *p.Longitude}
	}
	refuse := func(err error) error {
		return fault.New(fault.Invalid, "turf-area", "the turf area cannot be saved as entered; correct the places named").
			With("/outline", "%s", err.Error()).Because(err)
	}
	outline, err := geo.ParseOutline(a.Outline, near)
	if err != nil {
		return a, refuse(err)
	}
	if a.Outline, err = outline.GeoJSON(); err != nil {
		return a, refuse(err)
	}
	return a, nil
}

// ValidateServicePlan says what is wrong with a service plan, or nil:
// fault.Invalid "service-plan" with a JSON pointer for each wrong place.
func ValidateServicePlan(s ServicePlan) error {
	bad := fault.New(fault.Invalid, "service-plan", "the service plan cannot be saved as entered; correct the places named")
	if s.SeasonFrom.Month == 0 {
		bad.With("/season_from", "give the first day of the season as MM-DD")
	}
	if s.SeasonTo.Month == 0 {
		bad.With("/season_to", "give the last day of the season as MM-DD")
	}
	checkDays(bad, "/least_days", s.LeastDays)
	checkDays(bad, "/greatest_days", s.GreatestDays)
	if s.LeastDays != nil && s.GreatestDays != nil && *s.LeastDays > *s.GreatestDays {
		bad.With("/least_days", "at least %d days between cuts is more than at most %d; swap them or correct one", *s.LeastDays, *s.GreatestDays)
	}
	if !slices.Contains(PriceBases, s.PriceBasis) {
		bad.With("/price_basis", "%q is none of %s", s.PriceBasis, strings.Join(PriceBases, ", "))
	}
	if s.PriceCents != nil && (*s.PriceCents < 0 || *s.PriceCents > 100_000_000_00) {
		bad.With("/price_cents", "is a price in cents, zero or more")
	}
	if len(s.Services) == 0 {
		bad.With("/services", "name at least one kind of work that is agreed to")
	}
	for i, w := range s.Services {
		if !w.Known() {
			bad.With("/services", "%q is no kind of work that the program knows", w)
		} else if slices.Contains(s.Services[:i], w) {
			bad.With("/services", "%q is named twice", w)
		}
	}
	return orNil(bad)
}

func checkDays(bad *fault.Error, pointer string, days *int) {
	if days != nil && (*days < 1 || *days > GreatestDays) {
		bad.With(pointer, "%d days between cuts is not possible here; enter 1 to %d, or leave it to growth", *days, GreatestDays)
	}
}

// SameWindows says whether a change from a to b leaves the area's due windows as they are.
func (a TurfArea) SameWindows(b TurfArea) bool {
	return a.AreaSqFt == b.AreaSqFt && a.Species == b.Species && a.CuttingHeightIn == b.CuttingHeightIn &&
		a.Mower == b.Mower && a.Exposure == b.Exposure && a.SlopePercent == b.SlopePercent && a.Soil == b.Soil &&
		a.Irrigated == b.Irrigated && sameNumber(a.NLbPerThousandYear, b.NLbPerThousandYear) && a.RetiredOn == b.RetiredOn
}

// SameWindows says whether a change from p to q leaves the property's due
// windows as they are: its place, weather, rules and closed days.
func (p Property) SameWindows(q Property) bool {
	return p.State == q.State && p.County == q.County && p.Municipality == q.Municipality &&
		sameNumber(p.Latitude, q.Latitude) && sameNumber(p.Longitude, q.Longitude) &&
		sameNumber(p.WaterDistanceFt, q.WaterDistanceFt) && p.WeatherPlaceID == q.WeatherPlaceID &&
		slices.Equal(p.ClosedWeekdays, q.ClosedWeekdays) && slices.Equal(p.Jurisdictions, q.Jurisdictions) &&
		slices.Equal(p.Sensitivities, q.Sensitivities) && p.RetiredOn == q.RetiredOn
}

func sameNumber[N comparable](a, b *N) bool {
	return a == b || a != nil && b != nil && *a == *b
}
