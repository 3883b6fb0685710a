package recordrule

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
)

// Record is an application record as a rule sees it. In Go set Pesticide or
// Fertiliser: with neither, no rule applies.
type Record struct {
	ID              string
	Text            string
	Spot            bool
	SameDayAreaAcre *float64       // all spot work of that day together; nil: not known
	Conditions      []string       // condition ids that hold, see Conditions
	Fields          map[string]any // element id to value; nil, blank words and false are not filled
	Date            civil.Date     // of the application; zero: not known
	Pesticide       bool
	Fertiliser      bool
}

// Holds says whether the condition id holds for the record. "any_pesticide"
// holds for every pesticide.
func (r Record) Holds(condition string) bool {
	return condition == "any_pesticide" && r.Pesticide || slices.Contains(r.Conditions, condition)
}

// filled says whether the record holds the element, by its own value or by that
// of a stricter element which the vocabulary says also meets it.
func (r Record) filled(id string) bool {
	if present(r.Fields[id]) {
		return true
	}
	for _, also := range Words().Elements[id].Also {
		if present(r.Fields[also]) {
			return true
		}
	}
	return false
}

// present says whether a value says anything. Zero is a value (no wind); a flag
// that is false is not (no sign was placed).
func present(v any) bool {
	switch v := v.(type) {
	case nil:
		return false
	case string:
		return strings.TrimSpace(v) != ""
	case bool:
		return v
	case []any:
		return len(v) > 0
	case map[string]any:
		return len(v) > 0
	}
	return true
}

// Check says whether the record uses ids that the vocabulary lacks: fault.Invalid "record".
func (r Record) Check() error {
	for _, c := range r.Conditions {
		if !Words().HasCondition(c) {
			return fault.New(fault.Invalid, "record", "record %s: %q is no condition id of the vocabulary", r.ID, c)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(r.Fields)) {
		if !Words().HasElement(id) {
			return fault.New(fault.Invalid, "record", "record %s: %q is no element id of the vocabulary", r.ID, id)
		}
	}
	return nil
}

// recordJSON is a record in a file. The last three keys are optional; see classify.
type recordJSON struct {
	ID              string         `json:"id"`
	Text            string         `json:"text"`
	Spot            bool           `json:"spot"`
	SameDayAreaAcre *float64       `json:"same_day_area_acre"`
	Conditions      []string       `json:"conditions"`
	Fields          map[string]any `json:"fields"`
	Pesticide       *bool          `json:"pesticide"`
	Fertiliser      *bool          `json:"fertiliser"`
}

const noRecords = `the file holds no list of records; write {"records": [...]}`

// DecodeRecords reads records from a file: an object with a list "records", or
// the list alone. Each has id, spot, same_day_area_acre, conditions and fields,
// and may say "pesticide" and "fertiliser". A file that is no JSON, names an id
// that the vocabulary lacks, or names two records alike is bad: fault.Invalid
// "records-file" with line and column.
func DecodeRecords(name string, data []byte) ([]Record, error) {
	doc, err := readDocument(name, "records-file", data)
	if err != nil {
		return nil, err
	}
	var file struct {
		Records *[]recordJSON `json:"records"`
	}
	list, into := "/records", any(&file)
	if doc.isList() {
		list, into = "", any(&file.Records)
	}
	if !doc.isList() && !doc.isObject() {
		return nil, doc.bad("", noRecords)
	}
	if err := doc.into(into); err != nil {
		return nil, err
	}
	if file.Records == nil {
		return nil, doc.bad("", noRecords)
	}
	wire := *file.Records
	records := make([]Record, 0, len(wire))
	seen := map[string]bool{}
	for i, w := range wire {
		at := fmt.Sprintf("%s/%d", list, i)
		if bad := w.check(doc, at); bad != nil {
			return nil, bad
		}
		if seen[w.ID] {
			return nil, doc.bad(at+"/id", "another record has the id %q already", w.ID)
		}
		seen[w.ID] = true
		records = append(records, w.record())
	}
	return records, nil
}

func (w recordJSON) check(doc *document, at string) *fault.Error {
	if strings.TrimSpace(w.ID) == "" {
		return doc.bad(at, "the record has no id")
	}
	for i, c := range w.Conditions {
		if !Words().HasCondition(c) {
			return doc.bad(fmt.Sprintf("%s/conditions/%d", at, i), "%q is no condition id of the vocabulary", c)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(w.Fields)) {
		if !Words().HasElement(id) {
			return doc.bad(at+"/fields/"+escapePointer(id), "%q is no element id of the vocabulary", id)
		}
	}
	return nil
}

func (w recordJSON) record() Record {
	r := Record{ID: w.ID, Text: w.Text, Spot: w.Spot, SameDayAreaAcre: w.SameDayAreaAcre,
		Conditions: w.Conditions, Fields: w.Fields}
	if text, ok := w.Fields["date"].(string); ok {
		if d, err := civil.ParseDate(text[:min(len(text), len("2006-01-02"))]); err == nil {
			r.Date = d
		}
	}
	r.Pesticide, r.Fertiliser = w.classify()
	return r
}

// classify says what the record's product is. Where the file does not say, a
// product of a use class (restricted or general), or one with a registration
// number, is a pesticide, and one with conditions of which none is of that sort
// is a plain fertiliser. A record that tells no condition at all counts as a
// pesticide's, since a gap shown too many does less harm than one kept back.
func (w recordJSON) classify() (pesticide, fertiliser bool) {
	pesticide = len(w.Conditions) == 0 || present(w.Fields["epa_reg_no"])
	for _, c := range w.Conditions {
		pesticide = pesticide || slices.Contains([]string{"restricted_use", "general_use", "epa_registered", "any_pesticide"}, c)
	}
	if w.Pesticide == nil && w.Fertiliser != nil && *w.Fertiliser && len(w.Conditions) == 0 {
		pesticide = present(w.Fields["epa_reg_no"])
	}
	if w.Pesticide != nil {
		pesticide = *w.Pesticide
	}
	fertiliser = !pesticide
	if w.Fertiliser != nil {
		fertiliser = *w.Fertiliser
	}
	return pesticide, fertiliser
}

// EncodeGaps writes the answer of GapsOf: record ids in order, null where the
// rule does not apply, an empty list where nothing is missing.
func EncodeGaps(gaps map[string][]string) ([]byte, error) {
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	err := enc.Encode(gaps)
	return out.Bytes(), err
}
