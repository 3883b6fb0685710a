package application

import (
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/recordrule"
)

// Judged returns the record as record rules see it: the elements that it fills
// and the conditions that hold.
//
// A station's wind is no wind at the site and fills nothing. Where no other
// person answered for the application, the one who applied it did, if licensed.
// Without a carrier the product itself is the finished material. A re-entry
// time counts as stated where the label states hours: "until dry" has none.
// SpotAcresOfDay must have been filled for a rule's short list for spot work.
func (r Record) Judged() recordrule.Record {
	return recordrule.Record{ID: r.ID.String(), Spot: r.Spot, SameDayAreaAcre: r.SpotAcresOfDay, Date: r.AppliedOn,
		Pesticide: r.Pesticide, Fertiliser: r.Fertiliser, Fields: r.elements(), Conditions: recordrule.Conditions(r.jobFacts())}
}

func (r Record) jobFacts() recordrule.JobFacts {
	labelKnown := r.LabelVersionID != uuid.Nil
	return recordrule.JobFacts{
		Pesticide: r.Pesticide, RestrictedUse: r.RestrictedUse, EPARegistered: r.EPARegNo != "", Diluted: r.Diluent != nil,
		LabelHasReentryTime: r.ReentryHours != nil, LabelRatePerArea: labelKnown, LabelNamesMeasure: labelKnown,
		SiteIsCustomerAddress: r.CustomerAddress != "" && sameAddress(r.CustomerAddress, r.SiteAddress, r.Municipality),
		SupervisedByOther:     r.Supervisor.PersonID != uuid.Nil && r.Supervisor.PersonID != r.Applicator.PersonID,
		ApplicatorUnlicensed:  r.Applicator.License == "",
		UncertifiedTookPart:   r.Applicator.License == "" || len(r.Assistants) > 0,
		IncidentOccurred:      strings.TrimSpace(r.Incident) != "",
	}
}

// sameAddress says whether the customer's address begins as the site's does,
// with or without the municipality after it.
func sameAddress(customer, site, municipality string) bool {
	plain := func(s string) string {
		return strings.Join(strings.FieldsFunc(strings.ToLower(s), func(c rune) bool { return c == ' ' || c == ',' || c == '.' }), " ")
	}
	c, s := plain(customer), plain(site)
	return s != "" && (c == s || strings.HasPrefix(c, s+" ") || c == plain(site+" "+municipality))
}

// elements maps the record to the element ids of the vocabulary, the one place
// where they meet. What a record of ours never holds (aircraft, devices,
// permits, tank order, trainees) is left out, so that a rule that asks for it
// shows a gap.
func (r Record) elements() map[string]any {
	answers := r.Supervisor
	if answers.PersonID == uuid.Nil && r.Applicator.License != "" {
		answers = r.Applicator
	}
	w := r.WeatherStart
	fields := map[string]any{
		"product_name": r.ProductName, "epa_reg_no": r.EPARegNo, "active_ingredient": r.ActiveIngredient,
		"active_ingredient_concentration": numeric(r.ConcentrationPercent), "formulation_type": r.Formulation,
		"amount_applied": r.Total.Entered, "rate": r.Rate, "mix_rate": r.MixRate, "diluent_amount": enteredOf(r.Diluent),
		"diluted_volume": r.finished(), "volume_per_unit": r.finishedPerUnit(),
		"site_address": joined(r.SiteAddress, r.Municipality), "site_location": r.location(), "zip_code": r.ZIPCode, "county": r.County,
		"municipality": r.Municipality, "area_treated": r.AreaTreated.Entered, "site_type": r.SiteType, "target_pest": r.Target,
		"date": r.AppliedOn.String(), "start_time": r.clock(r.StartedAt), "end_time": r.clock(r.FinishedAt),
		"wind_direction": w.WindDirection, "air_temp": numeric(w.AirTempF), "weather_other": w.Other,
		"applicator_name": r.Applicator.Name, "applicator_license": r.Applicator.License,
		"supervisor_name": answers.Name, "supervisor_license": answers.License, "assistant_names": strings.Join(r.Assistants, ", "),
		"customer_name": r.CustomerName, "customer_address": r.CustomerAddress, "customer_phone": r.CustomerPhone,
		"property_owner": r.PropertyOwner, "authorised_by": r.AuthorisedBy,
		"business_name": r.BusinessName, "business_address": r.BusinessAddress, "business_license": r.BusinessLicense,
		"equipment": r.Equipment, "method": r.Method, "rei": r.ReentryText, "incident_note": r.Incident,
		"posted": r.SignPosted, "customer_notice_given": r.NoticeGiven,
	}
	if w.WindMPH != nil && w.WindOrigin == Measured {
		fields["wind_speed"] = *w.WindMPH
	}
	if !r.ReentryAt.IsZero() {
		fields["reentry_datetime"] = r.ReentryAt.In(r.zone()).Format("2006-01-02 15:04")
	}
	if r.LabelVersionID != uuid.Nil {
		fields["label_copy_ref"] = "revision " + r.LabelRevision
	}
	for id, v := range fields {
		if v == nil || v == "" || v == false {
			delete(fields, id)
		}
	}
	return fields
}

func numeric(v *float64) any {
	if v == nil {
		return nil
	}
	return *v
}

func enteredOf(a *Amount) string {
	if a == nil {
		return ""
	}
	return a.Entered
}

func joined(parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(s string) bool { return strings.TrimSpace(s) == "" }), ", ")
}

// location is the address; of spot work it says so first, as rules with a
// short list for spot work want it entered.
func (r Record) location() string {
	if !r.Spot {
		return joined(r.SiteAddress, r.Municipality)
	}
	var names []string
	for _, l := range r.Lines {
		names = append(names, l.Name)
	}
	return "spot application: " + joined(strings.Join(names, ", "), r.SiteAddress, r.Municipality)
}

func (r Record) finished() string {
	if r.Diluent == nil {
		return r.Total.Entered
	}
	return enteredOf(r.DilutedVolume)
}

func (r Record) finishedPerUnit() string {
	switch {
	case r.Diluent == nil:
		return r.Rate
	case r.DilutedVolume == nil || !(r.AreaTreated.Value > 0):
		return ""
	}
	return words(r.DilutedVolume.Value/r.AreaTreated.Value*1000, "gal/1000 sq ft")
}

// zones keeps each zone by its name once read: time.LoadLocation reads it from
// the disk each time, which an export of many records would feel.
var zones sync.Map

func (r Record) zone() *time.Location {
	if z, ok := zones.Load(r.Zone); ok {
		return z.(*time.Location)
	}
	z, err := time.LoadLocation(r.Zone)
	if err != nil {
		return time.UTC // the sealed text names the zone that the program then knew
	}
	zones.Store(r.Zone, z)
	return z
}

func (r Record) clock(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return civil.TimeOf(t, r.zone()).String()
}

// Gap is one element that a record lacks under one rule.
type Gap struct {
	RecordID     uuid.UUID
	Seq          int64
	AppliedOn    civil.Date
	SiteAddress  string
	ProductName  string
	Jurisdiction string
	Late         bool // the rule's time has passed
	recordrule.Gap
}

// GapsOf lists what the record lacks under each of the rules that judge
// records and are in force on its day, by rule and element. calendar is the
// company's; now is business time.
func GapsOf(r Record, rules []recordrule.Rule, calendar recordrule.Calendar, now time.Time) ([]Gap, error) {
	judged := r.Judged()
	when := recordrule.When{StartedAt: r.StartedAt, FinishedAt: r.FinishedAt, RecordedAt: r.RecordedAt, Calendar: calendar}
	var list []Gap
	for _, rule := range rules {
		if rule.Kind != recordrule.RecordRule {
			continue
		}
		gaps, _, err := recordrule.Gaps(rule, judged, when)
		if err != nil {
			return nil, err
		}
		for _, g := range gaps {
			list = append(list, Gap{RecordID: r.ID, Seq: r.Seq, AppliedOn: r.AppliedOn, SiteAddress: r.SiteAddress, ProductName: r.ProductName,
				Jurisdiction: rule.Jurisdiction, Late: !g.Due.IsZero() && g.Due.Late(now), Gap: g})
		}
	}
	return list, nil
}

// Unjudged names those of the rules that ask for records but whose list of
// elements is incomplete, so that no gap of theirs can be shown. A list of gaps
// says so beside it.
func Unjudged(rules []recordrule.Rule) []*fault.Error {
	var list []*fault.Error
	for _, r := range rules {
		if bad := fault.As(r.Judges()); bad != nil {
			list = append(list, bad)
		}
	}
	return list
}
