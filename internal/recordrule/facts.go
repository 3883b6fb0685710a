package recordrule

// JobFacts are the facts of a product and a job on which elements of rules
// depend. The zero value is an outdoor job on somebody else's lawn with an
// unregistered product that is no pesticide, used as sold by the responsible
// licence holder.
type JobFacts struct {
	Pesticide     bool
	RestrictedUse bool // federal or state restricted use
	EPARegistered bool // has a registration number
	Diluted       bool // mixed with water or another material before use

	LabelHasReentryTime bool // label states hours, or another re-entry time
	LabelRatePerArea    bool
	LabelNamesMeasure   bool // directions in acres, square, cubic or linear feet
	LabelRequiresMore   bool // label asks for more to be recorded

	Indoor                bool
	BaitInStation         bool
	NearStructure         bool // within 3 ft of a structure
	SiteIsCustomerAddress bool
	LicenseeOwnsProperty  bool // the licensee owns or leases the treated property

	SupervisedByOther     bool // the person applying is not the responsible licence holder
	ApplicatorUnlicensed  bool
	TraineeTookPart       bool
	UncertifiedTookPart   bool // a non-certified person applied or helped
	DeviceUsed            bool
	Aerial                bool
	RegulatedHerbicide    bool // state-regulated herbicide in a regulated county
	SeveralSitesOneLoad   bool // one start time recorded for several sites
	IncidentOccurred      bool
	PesticideDisposed     bool
	AgriculturalCommodity bool // never for lawns
}

// conditionTable is the one place that maps facts to condition ids. A test
// holds it complete against the vocabulary.
var conditionTable = []struct {
	id    string
	holds func(JobFacts) bool
}{
	{"any_pesticide", func(f JobFacts) bool { return f.Pesticide }},
	{"restricted_use", func(f JobFacts) bool { return f.Pesticide && f.RestrictedUse }},
	{"general_use", func(f JobFacts) bool { return f.Pesticide && !f.RestrictedUse }},
	{"epa_registered", func(f JobFacts) bool { return f.Pesticide && f.EPARegistered }},
	{"diluted", func(f JobFacts) bool { return f.Diluted }},
	{"ready_to_use", func(f JobFacts) bool { return !f.Diluted }},
	{"label_has_rei", func(f JobFacts) bool { return f.LabelHasReentryTime }},
	{"label_rate_per_area", func(f JobFacts) bool { return f.LabelRatePerArea }},
	{"label_names_measure", func(f JobFacts) bool { return f.LabelNamesMeasure }},
	{"label_requires_more", func(f JobFacts) bool { return f.LabelRequiresMore }},
	{"outdoor", func(f JobFacts) bool { return !f.Indoor }},
	{"not_bait_or_structure", func(f JobFacts) bool { return !f.Indoor && !f.BaitInStation && !f.NearStructure }},
	{"weather_applicable", func(f JobFacts) bool { return !f.Indoor && !f.BaitInStation }},
	{"site_differs_from_customer_address", func(f JobFacts) bool { return !f.SiteIsCustomerAddress }},
	{"property_not_owned_by_licensee", func(f JobFacts) bool { return !f.LicenseeOwnsProperty }},
	{"applicator_differs_from_supervisor", func(f JobFacts) bool { return f.SupervisedByOther }},
	{"applicator_is_supervisor", func(f JobFacts) bool { return !f.SupervisedByOther }},
	{"applicator_unlicensed", func(f JobFacts) bool { return f.ApplicatorUnlicensed }},
	{"applicator_is_trainee", func(f JobFacts) bool { return f.TraineeTookPart }},
	{"uncertified_person_took_part", func(f JobFacts) bool { return f.UncertifiedTookPart }},
	{"device_used", func(f JobFacts) bool { return f.DeviceUsed }},
	{"aerial", func(f JobFacts) bool { return f.Aerial }},
	{"regulated_herbicide_regulated_county", func(f JobFacts) bool { return f.RegulatedHerbicide }},
	{"several_sites_one_load", func(f JobFacts) bool { return f.SeveralSitesOneLoad }},
	{"incident_occurred", func(f JobFacts) bool { return f.IncidentOccurred }},
	{"pesticide_disposed", func(f JobFacts) bool { return f.PesticideDisposed }},
	{"agricultural_commodity", func(f JobFacts) bool { return f.AgriculturalCommodity }},
}

// Conditions returns the ids of the conditions that hold for the facts.
func Conditions(f JobFacts) []string {
	var ids []string
	for _, c := range conditionTable {
		if c.holds(f) {
			ids = append(ids, c.id)
		}
	}
	return ids
}
