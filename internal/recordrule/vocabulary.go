// Package recordrule reads the rules that jurisdictions lay down for records of
// applications, and says what a record lacks, by when it is due, how long it is
// kept, which sign and copy follow, and what fertiliser laws limit.
//
// The rules are data: one file per jurisdiction under rules/, each fact with
// its citation and a status that says how it was seen. Nothing here is legal advice.
package recordrule

import (
	"embed"
	"encoding/json"
	"io/fs"
	"sync"
)

//go:embed rules/*.json
var embedded embed.FS

// Files returns the embedded rule files and shared tables, names without folder.
func Files() fs.FS {
	sub, err := fs.Sub(embedded, "rules")
	if err != nil {
		panic("recordrule: the embedded folder is named wrong: " + err.Error())
	}
	return sub
}

// Word is one element id of the vocabulary: what it means and in which unit it
// is given. Type is text, number, quantity, date, time, datetime or flag.
type Word struct {
	Type    string   `json:"type"`
	Meaning string   `json:"meaning"`
	Unit    string   `json:"unit"`
	Also    []string `json:"also_satisfied_by_any_of"` // stricter elements that also meet it
}

// Vocabulary is the closed list of element and condition ids. A rule or record
// that uses another id is a bad file.
type Vocabulary struct {
	Elements   map[string]Word   `json:"elements"`
	Conditions map[string]string `json:"conditions"` // id to meaning
	Statuses   map[string]string `json:"status_values"`
}

// Words returns the vocabulary, which is embedded and the same for rule files
// from any folder.
var Words = sync.OnceValue(func() *Vocabulary {
	data, err := embedded.ReadFile("rules/_vocabulary.json")
	if err != nil {
		panic("recordrule: the vocabulary is not embedded: " + err.Error())
	}
	var v Vocabulary
	if err := json.Unmarshal(data, &v); err != nil {
		panic("recordrule: the embedded vocabulary cannot be read: " + err.Error())
	}
	return &v
})

// HasElement says whether the id is an element.
func (v *Vocabulary) HasElement(id string) bool { _, ok := v.Elements[id]; return ok }

// HasCondition says whether the id is a condition.
func (v *Vocabulary) HasCondition(id string) bool { _, ok := v.Conditions[id]; return ok }
