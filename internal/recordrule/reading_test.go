package recordrule

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
)

// small makes a rule file around the given members.
func small(appliesTo, members string) string {
	if members != "" {
		members = ", " + members
	}
	return fmt.Sprintf(`{"schema": 1, "kind": "record_rule", "id": "test", "applies_to": {"value": %q}%s}`, appliesTo, members)
}

func mustParse(t *testing.T, text string) Rule {
	t.Helper()
	r, err := Parse("test.json", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func rec(conditions string, filled ...string) string {
	var list []string
	if conditions != "" {
		for _, c := range strings.Fields(conditions) {
			list = append(list, fmt.Sprintf("%q", c))
		}
	}
	var fields []string
	for _, f := range filled {
		id, v, ok := strings.Cut(f, "=")
		if !ok {
			v = `"x"`
		}
		fields = append(fields, fmt.Sprintf("%q: %s", id, v))
	}
	return fmt.Sprintf(`{"id": "r", "conditions": [%s], "fields": {%s}}`, strings.Join(list, ","), strings.Join(fields, ","))
}

// TestReadingRules has rows for each numbered rule of rules/_README.md.
func TestReadingRules(t *testing.T) {
	const two = `"elements": [{"id": "date"}, {"id": "rate", "conditional_on": "diluted"}]`
	spot := func(extra string) string {
		return `"elements": [{"id": "date"}, {"id": "rate"}], "alternatives": [{"id": "basis", "one_of": [["method"]]}],
			"spot_rule": {` + extra + `"elements": ["date", "site_location"]}`
	}
	spotRecord := func(spot, acre string) string {
		return fmt.Sprintf(`{"id": "r", "spot": %s, %s "conditions": ["general_use"], "fields": {}}`, spot, acre)
	}
	for _, c := range []struct {
		rule    string
		file    string
		record  string
		want    string
		applies bool
	}{
		{"1 all, general use", small("all", two), rec("general_use"), "date", true},
		{"1 restricted only, general use", small("restricted_use_only", two), rec("general_use"), "", false},
		{"1 restricted only, restricted", small("restricted_use_only", two), rec("restricted_use"), "date", true},

		{"2 condition does not hold", small("all", two), rec("general_use", "date"), "", true},
		{"2 condition holds", small("all", two), rec("general_use diluted"), "date rate", true},
		{"2 null is always", small("all", `"elements": [{"id": "date", "conditional_on": null}]`), rec("general_use"), "date", true},
		{"2 all of a list", small("all", `"elements": [{"id": "date", "conditional_on": ["diluted", "outdoor"]}]`), rec("general_use diluted"), "", true},
		{"2 all of a list hold", small("all", `"elements": [{"id": "date", "conditional_on": ["diluted", "outdoor"]}]`), rec("general_use diluted outdoor"), "date", true},
		{"2 any_pesticide is always", small("all", `"elements": [{"id": "date", "conditional_on": "any_pesticide"}]`), rec("general_use"), "date", true},

		{"3 own id although not in any_of", small("all", `"elements": [{"id": "method", "any_of": ["equipment"]}]`), rec("general_use", "method"), "", true},
		{"3 another of any_of", small("all", `"elements": [{"id": "method", "any_of": ["method", "equipment"]}]`), rec("general_use", "equipment"), "", true},
		{"3 none of any_of", small("all", `"elements": [{"id": "method", "any_of": ["method", "equipment"]}]`), rec("general_use", "rate"), "method", true},
		{"3 a stricter one", small("all", `"elements": [{"id": "site_location"}]`), rec("general_use", "site_address"), "", true},
		{"3 a looser one does not", small("all", `"elements": [{"id": "site_address"}]`), rec("general_use", "site_location"), "site_address", true},
		{"3 either time", small("all", `"elements": [{"id": "application_time"}]`), rec("general_use", "end_time"), "", true},
		{"3 blank is not filled", small("all", `"elements": [{"id": "date"}, {"id": "rate"}, {"id": "posted"}, {"id": "method"}]`),
			rec("general_use", `date="  "`, "rate=null", "posted=false", `method=""`), "date method posted rate", true},
		{"3 zero is filled", small("all", `"elements": [{"id": "wind_speed"}]`), rec("general_use", "wind_speed=0"), "", true},

		{"4 second list complete", small("all", `"alternatives": [{"id": "basis", "one_of": [["mix_rate", "amount_applied"], ["rate", "area_treated"]]}]`),
			rec("general_use", "rate", "area_treated"), "", true},
		{"4 half of each", small("all", `"alternatives": [{"id": "basis", "one_of": [["mix_rate", "amount_applied"], ["rate", "area_treated"]]}]`),
			rec("general_use", "mix_rate", "rate"), "basis", true},
		{"4 every entry", small("all", `"alternatives": [{"id": "one", "one_of": [["rate"]]}, {"id": "two", "one_of": [["method"]]}]`),
			rec("general_use", "rate"), "two", true},

		{"5 the short list replaces everything", small("all", spot(`"area_limit_acre": 0.1, `)), spotRecord("true", `"same_day_area_acre": 0.05,`), "date site_location", true},
		{"5 no short list, no effect", small("all", `"elements": [{"id": "rate"}], "spot_rule": {"effect": "words"}`), spotRecord("true", `"same_day_area_acre": 0.05,`), "rate", true},

		{"10 lawn care product, pesticide", small("lawn_care_products", two), rec("general_use"), "date", true},
		{"10 lawn care product, plain fertiliser", small("lawn_care_products", two), rec("outdoor ready_to_use"), "date", true},
		{"10 all, plain fertiliser", small("all", two), rec("outdoor ready_to_use"), "", false},
		{"10 restricted, plain fertiliser", small("restricted_use_only", two), rec("outdoor"), "", false},
		{"10 the record says it is no pesticide", small("all", two), `{"id": "r", "pesticide": false, "conditions": ["general_use"], "fields": {}}`, "", false},
		{"10 a fertiliser rule, pesticide", small("fertiliser", two), rec("general_use"), "", false},
		{"10 a fertiliser rule, plain fertiliser", small("fertiliser", two), rec("outdoor"), "date", true},
		{"10 a record that tells nothing is a pesticide's", small("all", two), rec(""), "date", true},
		{"10 a registration number makes a pesticide", small("all", two), rec("outdoor", "epa_reg_no"), "date", true},

		{"11 under its own id, sorted in", small("all", `"elements": [{"id": "rate"}, {"id": "area_treated"}], "alternatives": [{"id": "basis", "one_of": [["method"]]}]`),
			rec("general_use"), "area_treated basis rate", true},

		{"12 under the limit", small("all", spot(`"area_limit_acre": 0.1, `)), spotRecord("true", `"same_day_area_acre": 0.0999,`), "date site_location", true},
		{"12 at the limit", small("all", spot(`"area_limit_acre": 0.1, `)), spotRecord("true", `"same_day_area_acre": 0.1,`), "basis date rate", true},
		{"12 not said to be spot", small("all", spot(`"area_limit_acre": 0.1, `)), spotRecord("false", `"same_day_area_acre": 0.05,`), "basis date rate", true},
		{"12 area not known", small("all", spot(`"area_limit_acre": 0.1, `)), spotRecord("true", ""), "basis date rate", true},

		{"14 before it begins", small("all", two+`, "effective_from": "2026-07-01"`), rec("general_use", `date="2026-06-30"`), "", false},
		{"14 on its first day", small("all", two+`, "effective_from": "2026-07-01"`), rec("general_use diluted", `date="2026-07-01"`), "rate", true},
		{"14 on its last day", small("all", two+`, "effective_to": "2026-07-01"`), rec("general_use diluted", `date="2026-07-01"`), "rate", true},
		{"14 after its end", small("all", two+`, "effective_to": "2026-07-01"`), rec("general_use", `date="2026-07-02"`), "", false},
		{"14 absent is always", small("all", two), rec("general_use", `date="1999-01-01"`), "", true},
		{"14 a record without date is judged", small("all", two+`, "effective_from": "2026-07-01"`), rec("general_use"), "date", true},
	} {
		r := mustParse(t, c.file)
		records, err := DecodeRecords("r.json", []byte(`{"records": [`+c.record+`]}`))
		if err != nil {
			t.Errorf("%s: %v", c.rule, err)
			continue
		}
		ids, applies := Missing(r, records[0])
		if got := strings.Join(ids, " "); got != c.want || applies != c.applies {
			t.Errorf("%s: %q, applies %v, want %q, %v", c.rule, got, applies, c.want, c.applies)
		}
		if applies && ids == nil {
			t.Errorf("%s: nothing missing came out as nil", c.rule)
		}
	}
}

// Rules 6, 7 and 9 speak of times.
func TestReadingRuleRetention(t *testing.T) {
	r := mustParse(t, small("all", `"retention_years": {"value": 2, "by_class": {"restricted_use": 3, "general_use": 1}}`))
	for _, c := range []struct{ conditions, date, want string }{
		{"restricted_use", "2026-06-03", "2029-06-03"}, {"general_use", "2026-06-03", "2027-06-03"},
		{"", "2026-06-03", "2028-06-03"}, {"restricted_use general_use", "2026-06-03", "2029-06-03"},
		{"general_use", "2024-02-29", "2025-03-01"},
	} {
		keep, ok := Retain(r, Record{Conditions: strings.Fields(c.conditions), Date: civil.MustDate(c.date)})
		if !ok || keep.Through.String() != c.want {
			t.Errorf("%q applied on %s is kept through %s, want %s", c.conditions, c.date, keep.Through, c.want)
		}
	}
	if _, ok := Retain(mustParse(t, small("all", "")), Record{Date: civil.MustDate("2026-06-03")}); ok {
		t.Error("a rule without retention gave one")
	}
}

func TestReadingRuleDueTimes(t *testing.T) {
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	at := func(s string) time.Time {
		v, err := time.ParseInLocation("2006-01-02 15:04", s, zone)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	for _, c := range []struct {
		name, value, unit, date, finished string
		week                              []int
		holidays                          []string
		inTime, late                      string
	}{
		{"72 h", "72", "hour", "2026-06-03", "2026-06-03 09:05", nil, nil, "2026-06-06 09:05", "2026-06-06 09:06"},
		{"24 h over the clock change", "24", "hour", "2026-03-07", "2026-03-07 16:00", nil, nil, "2026-03-08 17:00", "2026-03-08 17:01"},
		{"24 h, end not known", "24", "hour", "2026-06-03", "", nil, nil, "2026-06-04 00:00", "2026-06-04 00:01"},
		{"0 days", "0", "day", "2026-06-03", "2026-06-03 09:05", nil, nil, "2026-06-03 23:59", "2026-06-04 00:00"},
		{"14 days", "14", "day", "2026-06-03", "", nil, nil, "2026-06-17 23:59", "2026-06-18 00:00"},
		{"2 working days from Wednesday", "2", "working_day", "2026-06-03", "", nil, nil, "2026-06-05 23:59", "2026-06-06 00:00"},
		{"2 working days from Friday", "2", "working_day", "2026-06-05", "", nil, nil, "2026-06-09 23:59", "2026-06-10 00:00"},
		{"2 working days from Saturday", "2", "working_day", "2026-06-06", "", nil, nil, "2026-06-09 23:59", "2026-06-10 00:00"},
		{"Saturdays worked", "2", "working_day", "2026-06-05", "", []int{1, 2, 3, 4, 5, 6}, nil, "2026-06-08 23:59", "2026-06-09 00:00"},
		{"a holiday between", "2", "working_day", "2026-07-01", "", nil, []string{"2026-07-03"}, "2026-07-06 23:59", "2026-07-07 00:00"},
		{"0 working days on a Sunday", "0", "working_day", "2026-06-07", "", nil, nil, "2026-06-07 23:59", "2026-06-08 00:00"},
		{"1 working day, over new year", "1", "working_day", "2026-12-31", "", nil, []string{"2027-01-01"}, "2027-01-04 23:59", "2027-01-05 00:00"},
	} {
		r := mustParse(t, small("all", fmt.Sprintf(`"time_to_record": {"value": %s, "unit": %q}`, c.value, c.unit)))
		when := When{Calendar: Calendar{Zone: zone, WorkWeek: c.week}}
		for _, h := range c.holidays {
			when.Calendar.Holidays = append(when.Calendar.Holidays, civil.MustDate(h))
		}
		if c.finished != "" {
			when.FinishedAt = at(c.finished)
		}
		due, ok := DueBy(r, civil.MustDate(c.date), when)
		if !ok || due.Late(at(c.inTime)) || !due.Late(at(c.late)) {
			t.Errorf("%s: due by %s, want %s in time and %s late", c.name, due.By, c.inTime, c.late)
		}
		if due.On != civil.DateOf(due.By, zone) {
			t.Errorf("%s: due on %s, by %s", c.name, due.On, due.By)
		}
	}
	if _, ok := DueBy(mustParse(t, small("all", "")), civil.MustDate("2026-06-03"), When{}); ok {
		t.Error("a rule without a time gave one")
	}
	// A week without working days ends the search rather than the program.
	bad := Calendar{WorkWeek: []int{9}}
	if d := bad.plus(civil.MustDate("2026-06-03"), 2); !d.After(civil.MustDate("2026-06-03")) {
		t.Errorf("a week without working days gave %s", d)
	}
}

func TestReadingRuleEightEachByItself(t *testing.T) {
	rec := Record{Pesticide: true, Conditions: []string{"restricted_use"}, Fields: map[string]any{"date": "2026-06-03"}}
	a := mustParse(t, small("all", `"elements": [{"id": "date"}]`))
	b := mustParse(t, small("restricted_use_only", `"elements": [{"id": "rate"}]`))
	first, _ := Missing(a, rec)
	second, _ := Missing(b, rec)
	again, _ := Missing(a, rec)
	if len(first) != 0 || !slices.Equal(second, []string{"rate"}) || len(again) != 0 {
		t.Errorf("rules influence each other: %q, %q, %q", first, second, again)
	}
}

func TestReadingRuleNineWrapsTheYear(t *testing.T) {
	r := mustParse(t, small("all", `"fertiliser_limits": {"blackout": [{"from": "11-16", "to": "02-29", "nutrients": ["N"]}]}`))
	for day, closed := range map[string]bool{
		"2025-11-15": false, "2025-11-16": true, "2025-12-31": true, "2026-01-01": true, "2026-02-28": true, "2026-03-01": false,
		"2024-02-29": true, "2024-03-01": false, "2026-07-01": false,
	} {
		found := CheckFertiliser(r, Feed{On: civil.MustDate(day), N: spread(0.1)})
		if (len(found) == 1) != closed {
			t.Errorf("%s: %+v, want closed %v", day, found, closed)
		}
	}
}

// Rule 13 and whatever else makes a bad file.
func TestBadFilesNameThePlace(t *testing.T) {
	for _, c := range []struct{ name, text, place, says string }{
		{"element id", "{\n \"id\": \"t\", \"applies_to\": {\"value\": \"all\"},\n \"elements\": [{\"id\": \"date\"},\n  {\"id\": \"moon_phase\"}]}", "line 4, column 10", "moon_phase"},
		{"any_of id", small("all", `"elements": [{"id": "date", "any_of": ["moon_phase"]}]`), "line 1", "moon_phase"},
		{"condition id", small("all", `"elements": [{"id": "date", "conditional_on": ["full_moon"]}]`), "line 1", "full_moon"},
		{"condition id alone", small("all", `"elements": [{"id": "date", "conditional_on": "full_moon"}]`), "line 1", "full_moon"},
		{"alternative id", small("all", `"alternatives": [{"id": "x", "one_of": [["moon_phase"]]}]`), "line 1", "moon_phase"},
		{"spot id", small("all", `"spot_rule": {"elements": ["moon_phase"]}`), "line 1", "moon_phase"},
		{"class", small("all", `"retention_years": {"value": 2, "by_class": {"full_moon": 3}}`), "line 1", "full_moon"},
		{"empty alternative", small("all", `"alternatives": [{"id": "x", "one_of": []}]`), "line 1", "lists nothing"},
		{"empty list", small("all", `"alternatives": [{"id": "x", "one_of": [[]]}]`), "line 1", "always be met"},
		{"applies_to", small("lawns", ""), "line 1", "lawns"},
		{"kind", `{"kind": "riddle", "id": "x", "applies_to": {"value": "all"}}`, "line 1", "riddle"},
		{"no id", `{"applies_to": {"value": "all"}}`, "line 1", "no id"},
		{"unit of time", small("all", `"time_to_record": {"value": 2, "unit": "fortnight"}`), "line 1", "fortnight"},
		{"date that does not exist", small("all", `"effective_from": "2026-02-30"`), "test.json", "2026-02-30"},
		{"ends before it begins", small("all", `"effective_from": "2026-02-03", "effective_to": "2026-02-01"`), "line 1", "before it begins"},
		{"closed season", small("all", `"fertiliser_limits": {"blackout": [{"from": "11-16"}]}`), "line 1", "MM-DD"},
		{"a key twice", small("all", `"title": "a", "title": "b"`), "line 1", "twice"},
		{"no JSON", "{\n\"id\": \"x\",\n}", "line 3, column 1", "no JSON"},
		{"another kind of value", small("all", `"elements": {"id": "date"}`), "line 1", "elements"},
		{"a list", `[]`, "line 1, column 1", ""},
		{"nothing", ``, "line 1, column 1", ""},
		{"a later form", `{"schema": 2, "id": "x", "applies_to": {"value": "all"}}`, "line 1", "form 2"},
	} {
		_, err := Parse("test.json", []byte(c.text))
		if !fault.HasCode(err, "rule-file") || !strings.Contains(err.Error(), "test.json") ||
			!strings.Contains(err.Error(), c.place) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	for _, c := range []struct{ name, text, place, says string }{
		{"condition", `{"records": [{"id": "r", "conditions": ["full_moon"]}]}`, "line 1, column 41", "full_moon"},
		{"field", "{\"records\": [{\"id\": \"r\",\n \"fields\": {\"moon_phase\": 1}}]}", "line 2", "moon_phase"},
		{"id twice", `[{"id": "r"}, {"id": "r"}]`, "line 1", "already"},
		{"no id", `[{"spot": true}]`, "line 1", "no id"},
		{"no list", `{"fields": {}}`, "line 1", "no list"},
		{"text for a number", `[{"id": "r", "same_day_area_acre": "0.1"}]`, "line 1", "same_day_area_acre"},
		{"cut off", `[{"id": "r"`, "line 1", "no JSON"},
	} {
		_, err := DecodeRecords("r.json", []byte(c.text))
		if !fault.HasCode(err, "records-file") || !strings.Contains(err.Error(), c.place) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("records, %s: %v", c.name, err)
		}
	}
}

func TestUnusedKeysAreNamed(t *testing.T) {
	r := mustParse(t, small("all", `"elements": [{"id": "date", "conditional_no": "diluted", "status": "guessed"}], "posting": {"placed": "someday", "colour": "blue"}`))
	for _, want := range []string{"/elements/0/conditional_no", "/elements/0/status", "/posting/placed", "/posting/colour"} {
		if !slices.ContainsFunc(r.Warnings, func(w string) bool { return strings.HasPrefix(w, want+":") }) {
			t.Errorf("%s is not named in %q", want, r.Warnings)
		}
	}
	if len(r.Warnings) != 4 {
		t.Errorf("warnings: %q", r.Warnings)
	}
}

func TestVersionsOfOneRule(t *testing.T) {
	version := func(members string) *fstest.MapFile {
		return &fstest.MapFile{Data: []byte(small("all", members))}
	}
	set, err := Load(fstest.MapFS{
		"new.json": version(`"title": "new", "effective_from": "2026-01-01"`),
		"old.json": version(`"title": "old", "effective_to": "2025-12-31"`), "_shared.json": {Data: []byte("no rule")},
	})
	if err != nil {
		t.Fatal(err)
	}
	for day, want := range map[string]string{"2025-12-31": "old", "2026-01-01": "new"} {
		if r, ok := set.FindInForce("test", civil.MustDate(day)); !ok || r.Title != want {
			t.Errorf("on %s %q is in force, want %q", day, r.Title, want)
		}
	}
	if r, _ := set.FindByID("test"); r.Title != "new" {
		t.Errorf("the latest version is %q", r.Title)
	}
	if _, err := Load(fstest.MapFS{"a.json": version(""), "b.json": version(`"effective_from": "2026-01-01"`)}); !fault.HasCode(err, "rule-file") {
		t.Errorf("two versions on one day: %v", err)
	}
}

func TestRecordDateMustBeReadableUnderADatedRule(t *testing.T) {
	records, err := DecodeRecords("r.json", []byte(`[{"id": "r", "conditions": ["general_use"], "fields": {"date": "3 June"}}]`))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := GapsOf(mustParse(t, small("all", `"effective_from": "2026-01-01"`)), records); !fault.HasCode(err, "record-date") {
		t.Errorf("an unreadable date under a dated rule: %v", err)
	}
	if gaps, err := GapsOf(mustParse(t, small("all", `"elements": [{"id": "date"}]`)), records); err != nil || len(gaps["r"]) != 0 {
		t.Errorf("an unreadable date where it does not matter: %v, %v", gaps, err)
	}
}
