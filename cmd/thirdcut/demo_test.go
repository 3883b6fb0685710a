package main

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	ical "github.com/emersion/go-ical"
	"github.com/xuri/excelize/v2"
)

func readCSV(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

func readJSON[T any](t *testing.T, name string) (v T) {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, &v); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return v
}

// The demo's whole way on a small round, twice: all outputs are there, agree
// with each other, and come out the same.
func TestDemoOnceWritesTheSameTwice(t *testing.T) {
	dirs := [2]string{filepath.Join(t.TempDir(), "a"), filepath.Join(t.TempDir(), "b")}
	for _, dir := range dirs {
		if err := (demoCommand{Once: true, Out: dir, Lawns: 60}).Run(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"windows.csv", "plan.json", "summary.json", "record-gaps.csv"} {
		a, errA := os.ReadFile(filepath.Join(dirs[0], name))
		b, errB := os.ReadFile(filepath.Join(dirs[1], name))
		if errA != nil || errB != nil || string(a) != string(b) {
			t.Errorf("%s differs between two runs of one seed (%v, %v)", name, errA, errB)
		}
	}
	dir := dirs[0]
	sum := readJSON[onceSummary](t, filepath.Join(dir, "summary.json"))
	windows := readCSV(t, filepath.Join(dir, "windows.csv"))
	if want := []string{"property", "area", "work", "opens", "best", "closes", "reason"}; !slices.Equal(windows[0], want) {
		t.Errorf("windows.csv is headed %v", windows[0])
	}
	if len(windows)-1 != sum.Windows || sum.Windows < sum.Areas {
		t.Errorf("%d windows in the file, %d in the summary, for %d areas", len(windows)-1, sum.Windows, sum.Areas)
	}
	plan := readJSON[planFile](t, filepath.Join(dir, "plan.json"))
	if len(plan.Visits) != sum.VisitsPlanned || sum.VisitsPlanned == 0 {
		t.Errorf("%d visits in the plan, %d in the summary", len(plan.Visits), sum.VisitsPlanned)
	}
	gaps := readCSV(t, filepath.Join(dir, "record-gaps.csv"))
	if int64(len(gaps)-1) != sum.Gaps || sum.Gaps == 0 {
		t.Errorf("%d gaps in the file, %d in the summary; the demo's records are meant to lack some", len(gaps)-1, sum.Gaps)
	}
	if sum.Records == 0 || sum.VisitsClosed == 0 || sum.VisitsReturned == 0 {
		t.Errorf("the summary has an empty figure: %+v", sum)
	}
	checkSheets(t, dir, plan)
	for _, name := range []string{"application-records.xlsx", "application-records-federal.xlsx"} {
		checkWorkbook(t, filepath.Join(dir, name))
	}
}

// checkSheets wants a page, a calendar and a map for each crew and day, and an
// event for each of the plan's visits.
func checkSheets(t *testing.T, dir string, plan planFile) {
	t.Helper()
	events := map[string]int{}
	for _, v := range plan.Visits {
		events[v.Date.String()+"-"+strings.ToLower(v.Crew)]++
	}
	for base, want := range events {
		name := filepath.Join(dir, sheetFolder, base)
		page, err := os.ReadFile(name + ".html")
		if err != nil || !strings.Contains(string(page), "<h1>") {
			t.Errorf("%s.html: %v", base, err)
		}
		f, err := os.Open(name + ".ics")
		if err != nil {
			t.Error(err)
			continue
		}
		cal, err := ical.NewDecoder(f).Decode()
		f.Close()
		if err != nil || len(cal.Events()) != want {
			t.Errorf("%s.ics: %v; want %d events", base, err, want)
		}
		if m := readJSON[struct{ Type string }](t, name+".geojson"); m.Type != "FeatureCollection" {
			t.Errorf("%s.geojson is a %q", base, m.Type)
		}
	}
}

func checkWorkbook(t *testing.T, name string) {
	t.Helper()
	book, err := excelize.OpenFile(name)
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	for _, sheet := range book.GetSheetList() {
		rows, err := book.GetRows(sheet)
		if err != nil || len(rows) == 0 {
			t.Errorf("%s: the sheet %s is empty (%v)", filepath.Base(name), sheet, err)
		}
	}
}

func TestDemoRefusesWrongUse(t *testing.T) {
	for _, args := range [][]string{{"demo", "--once"}, {"demo", "--out", "x"}, {"demo", "--date", "6 July", "--once", "--out", t.TempDir()}} {
		if code := run(args); code != 2 {
			t.Errorf("%v ends with %d, want 2", args, code)
		}
	}
}
