package recordrule

import (
	"encoding/json"
	"fmt"

	"thirdcut/internal/civil"
)

// Kind says what a rule file holds.
type Kind string

// The kinds of rule files.
const (
	RecordRule     Kind = "record_rule"
	PostingRule    Kind = "posting_and_fertiliser_rule" // asks for no record; signs and fertiliser limits only
	IncompleteRule Kind = "incomplete_record_rule"      // its list is cut off: never used to judge a record
)

// What applies_to.value may say. AppliesToFertiliser is an addition of ours,
// for jurisdictions that want a record of every fertiliser application.
const (
	AppliesToAll        = "all"
	AppliesToRestricted = "restricted_use_only"
	AppliesToLawnCare   = "lawn_care_products" // pesticides and fertilisers alike
	AppliesToFertiliser = "fertiliser"
)

// Rule is one jurisdiction's rule, or one version of it. A nil part means that
// the rule says nothing of the kind.
type Rule struct {
	Schema       int               `json:"schema"`
	Kind         Kind              `json:"kind"`
	ID           string            `json:"id"`
	Jurisdiction string            `json:"jurisdiction"`
	Title        string            `json:"title"`
	Citation     string            `json:"citation"`
	AppliesTo    AppliesTo         `json:"applies_to"`
	Elements     []Element         `json:"elements"`
	Alternatives []Alternative     `json:"alternatives"`
	Retention    *Retention        `json:"retention_years"`
	TimeToRecord *TimeToRecord     `json:"time_to_record"`
	Access       *Access           `json:"access"`
	CustomerCopy *CustomerCopy     `json:"customer_copy"`
	SpotRule     *SpotRule         `json:"spot_rule"`
	Reporting    *Reporting        `json:"reporting"`
	Posting      *Posting          `json:"posting"`
	Notification *Notification     `json:"notification"`
	Fertiliser   *FertiliserLimits `json:"fertiliser_limits"`
	UnitsNote    string            `json:"units_note"`
	Notes        []string          `json:"notes"`
	Sources      []Source          `json:"sources"`

	// A rule without these dates has always been in force. Both ends are included.
	EffectiveFrom civil.Date `json:"effective_from"`
	EffectiveTo   civil.Date `json:"effective_to"`

	// Warnings are keys and words in the file that this program does not use,
	// with their place; a person should look whether one is a slip of the pen.
	Warnings []string `json:"-"`
}

// AppliesTo says whom and which products the rule binds.
type AppliesTo struct {
	Value     string `json:"value"`
	Who       string `json:"who"`
	WhoStatus string `json:"who_status"`
	Citation  string `json:"citation"`
	Status    string `json:"status"`
}

// Element is one thing that a record must hold.
type Element struct {
	ID            string   `json:"id"`
	Requirement   string   `json:"requirement"`
	Citation      string   `json:"citation"`
	ConditionalOn IDs      `json:"conditional_on"` // empty: always; else all must hold
	AnyOf         []string `json:"any_of"`
	Status        string   `json:"status"`
}

// Alternative is met when every id of one of its lists is filled. Its own id is
// not in the vocabulary; it is reported under it.
type Alternative struct {
	ID          string     `json:"id"`
	Requirement string     `json:"requirement"`
	Citation    string     `json:"citation"`
	OneOf       [][]string `json:"one_of"`
	Status      string     `json:"status"`
}

// Retention is how many years a record is kept, counted from the application.
type Retention struct {
	Years       int            `json:"value"`
	CountedFrom string         `json:"counted_from"`
	ByClass     map[string]int `json:"by_class"` // condition id of the product's class to years
	Note        string         `json:"note"`
	Citation    string         `json:"citation"`
	Status      string         `json:"status"`
}

// TimeToRecord is how soon after the application the record must be made.
type TimeToRecord struct {
	Value    int    `json:"value"`
	Unit     string `json:"unit"` // hour day working_day
	Text     string `json:"text"`
	Note     string `json:"note"`
	Citation string `json:"citation"`
	Status   string `json:"status"`
}

// Access says who may see the records, in words.
type Access struct {
	Value    string `json:"value"`
	Note     string `json:"note"`
	Citation string `json:"citation"`
	Status   string `json:"status"`
}

// CustomerCopy says what the customer gets and when: Value is a number of days
// where Unit is "day", else words.
type CustomerCopy struct {
	Value    Value  `json:"value"`
	Unit     string `json:"unit"`
	Text     string `json:"text"`
	Citation string `json:"citation"`
	Status   string `json:"status"`
}

// SpotRule is a shorter list for small spot work. Without Elements it changes nothing.
type SpotRule struct {
	When           string   `json:"when"`
	AreaLimitAcre  *float64 `json:"area_limit_acre"` // all spot work of the day must be under it
	Elements       []string `json:"elements"`
	LocationPrefix string   `json:"location_prefix"` // words with which the place is entered
	Effect         string   `json:"effect"`
	Note           string   `json:"note"`
	Citation       string   `json:"citation"`
	Status         string   `json:"status"`
}

// Reporting is a report to an authority, in words.
type Reporting struct {
	Frequency string   `json:"frequency"`
	Due       string   `json:"due"`
	To        string   `json:"to"`
	NilReport string   `json:"nil_report"`
	Form      string   `json:"form"`
	Fields    []string `json:"fields"`
	FieldNote string   `json:"field_note"`
	Note      string   `json:"note"`
	Citation  string   `json:"citation"`
	Status    string   `json:"status"`
}

// Posting is the sign on a treated lawn. Sizes are inches; pairs are as the
// rule writes them, mostly height by width.
type Posting struct {
	Value              string    `json:"value"`
	Placed             string    `json:"placed"` // at_start at_application immediately_after on_day_of_application
	MinHours           *float64  `json:"min_hours"`
	RemoveNotBefore    string    `json:"remove_not_before"`
	Remove             string    `json:"remove"`
	SignMinIn          []float64 `json:"sign_min_in"`
	SignExactIn        []float64 `json:"sign_exact_in"`
	HeightMinIn        *float64  `json:"height_min_in"`
	HeightMaxIn        *float64  `json:"height_max_in"`
	LetterMinIn        *float64  `json:"letter_min_in"`
	SymbolMinIn        *float64  `json:"symbol_min_in"`
	FixedWords         string    `json:"fixed_words"`
	ShowsSafeEntryDate bool      `json:"shows_safe_entry_date"`
	NotFor             []string  `json:"not_for"`
	Conditional        string    `json:"conditional"`
	LawnSignRequired   *bool     `json:"lawn_sign_required"`
	LawnSignNote       string    `json:"lawn_sign_note"`
	Note               string    `json:"note"`
	Citation           string    `json:"citation"`
	Status             string    `json:"status"`
}

// Notification is what neighbours or customers are told before the work.
type Notification struct {
	Value       Value    `json:"value"`
	Unit        string   `json:"unit"`
	Text        string   `json:"text"`
	HoursStatus string   `json:"hours_status"`
	HoursSeen   *float64 `json:"hours_seen"`
	DistanceFt  *float64 `json:"distance_ft"`
	Conditional string   `json:"conditional"`
	Citation    string   `json:"citation"`
	Status      string   `json:"status"`
}

// Source is a document that was read for the rule.
type Source struct {
	Designation string `json:"designation"`
	URL         string `json:"url"`
	Seen        string `json:"seen"`
	Version     string `json:"version"`
}

// IDs is a list of ids that a file writes as null, one string or a list.
type IDs []string

// UnmarshalJSON reads the three forms.
func (s *IDs) UnmarshalJSON(b []byte) error {
	var one *string
	if json.Unmarshal(b, &one) == nil {
		*s = nil
		if one != nil {
			*s = IDs{*one}
		}
		return nil
	}
	var many []string
	if err := json.Unmarshal(b, &many); err != nil {
		return fmt.Errorf("%s is neither null, nor an id, nor a list of ids", b)
	}
	*s = many
	return nil
}

// Value is a number or words, as files write either.
type Value struct {
	Number *float64
	Text   string
}

// UnmarshalJSON reads a number, a string or null.
func (v *Value) UnmarshalJSON(b []byte) error {
	*v = Value{}
	if json.Unmarshal(b, &v.Number) == nil {
		return nil
	}
	if err := json.Unmarshal(b, &v.Text); err != nil {
		return fmt.Errorf("%s is neither a number nor words", b)
	}
	return nil
}

// InForce says whether the rule is in force on the day. The zero date, a record
// without a date, counts as in force.
func (r Rule) InForce(d civil.Date) bool {
	if d.IsZero() {
		return true
	}
	return (r.EffectiveFrom.IsZero() || !d.Before(r.EffectiveFrom)) &&
		(r.EffectiveTo.IsZero() || !d.After(r.EffectiveTo))
}
