package recordrule

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io/fs"
	"os"
	"slices"
	"strings"
	"testing"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
)

// TestRulesAreUnchanged holds each file against the checksum with which it was
// taken in. Whoever corrects a rule on purpose records the new sum beside it.
func TestRulesAreUnchanged(t *testing.T) {
	list, err := os.ReadFile("testdata/sha256sums.txt")
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]string{}
	for line := range strings.Lines(string(list)) {
		sum, name, _ := strings.Cut(strings.TrimSpace(line), "  ")
		want[name] = sum
	}
	files, err := os.ReadDir("rules")
	if err != nil {
		t.Fatal(err)
	}
	if len(files) != len(want) || len(files) < 24 {
		t.Errorf("%d files, %d recorded sums", len(files), len(want))
	}
	for _, f := range files {
		data, err := os.ReadFile("rules/" + f.Name())
		if err != nil {
			t.Fatal(err)
		}
		sum := sha256.Sum256(data)
		if got := hex.EncodeToString(sum[:]); got != want[f.Name()] {
			t.Errorf("%s has sha256 %s, recorded is %s", f.Name(), got, want[f.Name()])
		}
	}
}

// TestEmbeddedRulesAreReadWhole parses every rule and wants no key unused and
// no word unknown.
func TestEmbeddedRulesAreReadWhole(t *testing.T) {
	rules := All()
	if len(rules) != 18 {
		t.Fatalf("%d rules, want 18", len(rules))
	}
	kinds := map[Kind]int{}
	for _, r := range rules {
		kinds[r.Kind]++
		for _, w := range r.Warnings {
			t.Errorf("%s: %s", r.ID, w)
		}
	}
	if kinds[RecordRule] != 16 || kinds[PostingRule] != 1 || kinds[IncompleteRule] != 1 {
		t.Errorf("kinds: %v", kinds)
	}
	md, err := ByID("us-md")
	if err != nil || len(md.Elements) != 16 || md.Posting == nil || *md.Posting.MinHours != 48 || md.Sources[4].URL == "" {
		t.Errorf("us-md: %d elements, %v", len(md.Elements), err)
	}
	if _, err := ByID("us-xx"); !fault.HasCode(err, "rule") || !strings.Contains(err.Error(), "us-md") {
		t.Errorf("an unknown rule: %v", err)
	}
	if _, ok := InForce("us-md", civil.MustDate("2026-06-03")); !ok {
		t.Error("us-md is not in force")
	}
	if _, err := fs.Stat(Files(), "_label_magnitudes.json"); err != nil {
		t.Error(err)
	}
}

type examples struct {
	Expected map[string]map[string]*[]string `json:"expected_missing"`
}

// TestExamples compares every rule with the published expectation, records and
// rules both taken from files as the command takes them.
func TestExamples(t *testing.T) {
	data, err := os.ReadFile("rules/_examples.json")
	if err != nil {
		t.Fatal(err)
	}
	var want examples
	if err := json.Unmarshal(data, &want); err != nil {
		t.Fatal(err)
	}
	records, err := DecodeRecords("_examples.json", data)
	if err != nil || len(records) != 4 {
		t.Fatalf("%d records, %v", len(records), err)
	}
	compared := 0
	for _, name := range ruleNames(t) {
		text, err := os.ReadFile("rules/" + name)
		if err != nil {
			t.Fatal(err)
		}
		r, err := Parse(name, text)
		if err != nil {
			t.Fatal(err)
		}
		gaps, err := GapsOf(r, records)
		if r.Kind == IncompleteRule {
			if !fault.HasCode(err, "incomplete-rule") {
				t.Errorf("%s: an incomplete rule judged records: %v", name, err)
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		for _, rec := range records {
			expected, listed := want.Expected[rec.ID][r.ID]
			if !listed {
				if r.Kind == RecordRule {
					t.Errorf("%s has no expectation for %s", rec.ID, r.ID)
				}
				continue
			}
			compared++
			got := gaps[rec.ID]
			if (expected == nil) != (got == nil) || expected != nil && !slices.Equal(got, *expected) {
				t.Errorf("%s by %s: got %q, want %q", rec.ID, r.ID, got, expected)
			}
		}
	}
	if compared != 4*16 {
		t.Errorf("compared %d answers, want 64", compared)
	}
}

func ruleNames(t *testing.T) []string {
	t.Helper()
	names, err := fs.Glob(os.DirFS("rules"), "us-*.json")
	if err != nil || len(names) != 18 {
		t.Fatalf("%d rule files, %v", len(names), err)
	}
	return names
}

func TestEncodeGapsTellsNullFromNothing(t *testing.T) {
	out, err := EncodeGaps(map[string][]string{"b": nil, "a": {}, "c": {"date", "rate"}})
	var compact bytes.Buffer
	if e := json.Compact(&compact, out); e != nil || err != nil {
		t.Fatal(e, err)
	}
	if got := compact.String(); got != `{"a":[],"b":null,"c":["date","rate"]}` {
		t.Errorf("encoded %s", got)
	}
}

// TestPostingRuleAsksForNoRecord: signs and fertiliser limits only.
func TestPostingRuleAsksForNoRecord(t *testing.T) {
	il, err := ByID("us-il")
	if err != nil {
		t.Fatal(err)
	}
	if ids, applies := Missing(il, Record{Pesticide: true, Fertiliser: true}); applies || ids != nil {
		t.Errorf("us-il asks for %q", ids)
	}
	if il.Posting == nil || *il.Fertiliser.SetbackFt != 15 {
		t.Error("us-il lost its sign or its limits")
	}
}
