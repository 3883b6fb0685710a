package export

import (
	"fmt"
	"strings"
	"time"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/recordrule"
)

// headers are the column headings of the elements that rules ask for, in few
// words; the vocabulary's full meaning would fill half a page. A test holds the
// list complete. Amounts, areas and readings stand in the unit that a person
// entered, with the unit in the cell, so their headings name none.
var headers = map[string]string{
	"product_name":                    "Product",
	"epa_reg_no":                      "EPA registration no.",
	"active_ingredient":               "Active ingredient",
	"active_ingredient_concentration": "Active ingredient in the material applied (%)",
	"formulation_type":                "Formulation",
	"amount_applied":                  "Total product applied (as entered)",
	"rate":                            "Rate (product per area)",
	"mix_rate":                        "Mix rate (product per volume of mix)",
	"diluent_amount":                  "Water or carrier (as entered)",
	"diluted_volume":                  "Finished mix applied",
	"volume_per_unit":                 "Finished mix per area",
	"site_address":                    "Site address",
	"zip_code":                        "ZIP code",
	"county":                          "County",
	"municipality":                    "Municipality",
	"site_location":                   "Location of the site",
	"area_treated":                    "Area treated (as entered)",
	"units_treated":                   "Units treated (count or ft)",
	"site_type":                       "Site or plants treated",
	"target_pest":                     "Target pest or purpose",
	"date":                            "Date",
	"start_time":                      "Began (local time)",
	"end_time":                        "Ended (local time)",
	"application_time":                "Time of day (local)",
	"wind_speed":                      "Wind speed (mph unless written)",
	"wind_direction":                  "Wind from",
	"air_temp":                        "Air temperature (deg F unless written)",
	"weather_other":                   "Other weather",
	"applicator_name":                 "Applied by",
	"applicator_license":              "Licence of who applied",
	"supervisor_name":                 "Responsible licence holder",
	"supervisor_license":              "Licence of the responsible holder",
	"assistant_names":                 "Others who took part",
	"trainee_name":                    "Person in training",
	"training_record_ref":             "Training record",
	"customer_name":                   "Customer",
	"customer_address":                "Customer address",
	"customer_phone":                  "Customer phone",
	"property_owner":                  "Owner or tenant of the property",
	"authorised_by":                   "Authorised by",
	"business_name":                   "Applying company",
	"business_address":                "Company address",
	"business_license":                "Company licence",
	"equipment":                       "Equipment",
	"method":                          "Method",
	"rei":                             "Re-entry statement of the label",
	"reentry_datetime":                "Re-entry allowed from (local time)",
	"incident_note":                   "Incident and what was done",
	"disposal_note":                   "Disposal",
	"label_required_note":             "Further notes the label asks for",
	"spray_permit_no":                 "Spray permit no.",
	"aircraft_no":                     "Aircraft registration",
	"device_count":                    "Devices used (count)",
	"sequence_no":                     "Place in the tank load's order",
	"label_copy_ref":                  "Label copy or revision",
	"posted":                          "Sign posted",
	"customer_notice_given":           "Notice given to the customer",
}

// widths in characters of the columns that need more than their type's.
var widths = map[string]float64{
	"product_name": 26, "site_address": 34, "site_location": 34, "customer_address": 34, "business_address": 34,
	"area_treated": 30, "amount_applied": 22, "rei": 30, "incident_note": 30, "label_required_note": 30, "active_ingredient": 24,
}

func header(c recordrule.Column) string {
	if h, ok := headers[c.ID]; ok {
		return h
	}
	return c.Meaning
}

func width(c recordrule.Column) float64 {
	if w, ok := widths[c.ID]; ok {
		return w
	}
	if c.Type == "text" {
		return 20
	}
	return 14
}

// cells writes what a record says of each element. judged is the same record as
// rules see it.
type cells struct {
	application.Record
	judged recordrule.Record
	zone   *time.Location
}

// of returns the cell of an element: amounts, areas and readings as they were
// entered, dates as dates, times of day in the zone of the record. What the
// record does not say is an empty cell.
func (c cells) of(id string) any {
	switch id {
	case "date":
		return c.AppliedOn
	case "start_time":
		return c.clock(c.StartedAt)
	case "end_time":
		return c.clock(c.FinishedAt)
	case "application_time":
		return between(c.clock(c.StartedAt), c.clock(c.FinishedAt))
	case "reentry_datetime":
		if c.ReentryAt.IsZero() {
			return nil
		}
		return c.ReentryAt.In(c.zone)
	case "amount_applied":
		return entered(c.Total)
	case "area_treated":
		return c.areas()
	case "diluent_amount":
		return enteredOr(c.Diluent)
	case "diluted_volume":
		return enteredOr(c.DilutedVolume)
	case "air_temp":
		return reading(c.WeatherStart.AirTempEntered, c.WeatherStart.AirTempF, c.WeatherStart.Origin)
	case "wind_speed":
		return reading(c.WeatherStart.WindEntered, c.WeatherStart.WindMPH, c.WeatherStart.WindOrigin)
	case "site_location":
		return c.location()
	case "posted":
		return flag(c.SignPosted, c.SignNote)
	case "customer_notice_given":
		return flag(c.NoticeGiven, "")
	}
	return plain(c.judged.Fields[id])
}

func (c cells) clock(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return civil.TimeOf(t, c.zone).String()
}

func between(from, to string) string {
	if from == "" || to == "" {
		return from + to
	}
	return from + " to " + to
}

// areas lists what each turf area got where there are several.
func (c cells) areas() string {
	if len(c.Lines) == 1 {
		return entered(c.Lines[0].AreaTreated)
	}
	parts := make([]string, len(c.Lines))
	for i, l := range c.Lines {
		parts[i] = fmt.Sprintf("%s: %s", l.Name, entered(l.AreaTreated))
	}
	return strings.Join(parts, "; ")
}

// location puts the names of the turf areas after the address: with both an
// inspector finds the spot. Spot work has them already.
func (c cells) location() string {
	place, _ := c.judged.Fields["site_location"].(string)
	var names []string
	for _, l := range c.Lines {
		if l.Name != "" && !strings.Contains(place, l.Name) {
			names = append(names, l.Name)
		}
	}
	if place == "" || len(names) == 0 {
		return place
	}
	return place + " (" + strings.Join(names, ", ") + ")"
}

func entered(a application.Amount) string {
	if a.Entered != "" || a.Unit == "" {
		return a.Entered
	}
	return number(a.Value) + " " + a.Unit
}

func enteredOr(a *application.Amount) any {
	if a == nil {
		return nil
	}
	return entered(*a)
}

// reading is what a person wrote, else the number; a station's mean says so,
// since it was not read at the site.
func reading(text string, value *float64, origin string) any {
	switch {
	case text != "":
		return text
	case value == nil:
		return nil
	case origin == application.FromStation:
		return number(*value) + " (day's mean of a station)"
	}
	return *value
}

func flag(yes bool, note string) string {
	switch {
	case yes && note != "":
		return "yes: " + note
	case yes:
		return "yes"
	}
	return note
}

// plain turns a value as rules see it into a cell.
func plain(v any) any {
	switch v := v.(type) {
	case nil, string, float64, int, int64, civil.Date, time.Time:
		return v
	case *float64:
		if v == nil {
			return nil
		}
		return *v
	case bool:
		return flag(v, "")
	case []string:
		return strings.Join(v, ", ")
	}
	return fmt.Sprint(v)
}

// reentry says in words when the lawn may be used again.
func (c cells) reentry() string {
	at := ""
	if !c.ReentryAt.IsZero() {
		at = "from " + c.ReentryAt.In(c.zone).Format("2006-01-02 15:04")
	}
	if c.ReentryText == "" || at == "" {
		return c.ReentryText + at
	}
	return c.ReentryText + "; " + at
}

// findings says in words what stood against the application when it was
// recorded, with the reasons that a licensed person gave.
func (c cells) findings() string {
	var parts []string
	for _, f := range c.Findings {
		text := f.Text
		if text == "" {
			text = f.Code
		}
		for _, r := range c.Reasons {
			if r.Code == f.Code {
				text += fmt.Sprintf(" (reason given by %s: %s)", r.Person, r.Text)
			}
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, "; ")
}
