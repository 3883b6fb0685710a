package workbook

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"

	"thirdcut/internal/civil"
)

func writeOne(t *testing.T, rows [][]any) *excelize.File {
	t.Helper()
	var out bytes.Buffer
	tmp := t.TempDir()
	w, err := New(&out, tmp)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Sheet(Sheet{Name: "Records", Above: []string{"Title", "Citation"},
		Columns: []Column{{"Date", 12}, {"Amount (lb)", 10}, {"Note", 30}}}); err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		if err := w.Row(r...); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Sheet(Sheet{Name: "Gaps", Columns: []Column{{"Record", 12}}}); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if left, _ := os.ReadDir(tmp); len(left) != 0 {
		t.Errorf("%d temporary files were left behind", len(left))
	}
	f, err := excelize.OpenReader(bytes.NewReader(out.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestWorkbookReadsBackAsWritten(t *testing.T) {
	eastern := time.FixedZone("EDT", -4*3600)
	f := writeOne(t, [][]any{
		{civil.MustDate("2026-06-03"), 2.25, "plain"},
		{time.Date(2026, 6, 3, 8, 40, 0, 0, eastern), -4, "=1+1"},
		{nil, (*float64)(nil), "line\nbreak"},
	})
	rows, err := f.GetRows("Records")
	if err != nil {
		t.Fatal(err)
	}
	want := [][]string{
		{"Title"}, {"Citation"}, {"Date", "Amount (lb)", "Note"},
		{"2026-06-03", "2.25", "plain"},
		{"2026-06-03 08:40", "-4", "'=1+1"},
		{"", "", "line\nbreak"},
	}
	if fmt.Sprint(rows) != fmt.Sprint(want) {
		t.Errorf("read back\n%q\nwant\n%q", rows, want)
	}
	panes, err := f.GetPanes("Records")
	if err != nil || !panes.Freeze || panes.YSplit != 3 {
		t.Errorf("header is not frozen under row 3: %+v %v", panes, err)
	}
	titles := map[string]string{}
	for _, n := range f.GetDefinedName() {
		titles[n.Scope+" "+n.Name] = n.RefersTo
	}
	if got := titles["Records _xlnm.Print_Titles"]; got != "'Records'!$3:$3" {
		t.Errorf("the header repeats in print as %q", got)
	}
	if got := titles["Records _xlnm._FilterDatabase"]; got == "" {
		t.Error("the sheet has no filter over its rows")
	}
}

func TestSheetsGrowSideBySide(t *testing.T) {
	var out bytes.Buffer
	tmp := t.TempDir()
	w, err := New(&out, tmp)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Open("Odd", nil, []string{"A", "B"}, []float64{8}); err == nil {
		t.Error("two headers with one width passed")
	}
	records, err := w.Open("Records", []string{"Title"}, []string{"No.", "Name"}, []float64{8, 20})
	if err != nil {
		t.Fatal(err)
	}
	missing, err := w.Open("Missing", nil, []string{"No."}, []float64{8})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 5000 {
		if err := records(i, "=name"); err != nil {
			t.Fatal(err)
		}
		if i%1000 == 0 {
			if err := missing(i); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := w.Sheet(Sheet{Name: "About", Columns: []Column{{"What", 10}}}); err != nil {
		t.Fatal(err)
	}
	if err := w.Row("last"); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if left, _ := os.ReadDir(tmp); len(left) != 0 {
		t.Errorf("%d temporary files were left behind", len(left))
	}
	f, err := excelize.OpenReader(bytes.NewReader(out.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	if got := fmt.Sprint(f.GetSheetList()); got != "[Records Missing About]" {
		t.Errorf("sheets stand as %s", got)
	}
	rows, err := f.GetRows("Records")
	if err != nil || len(rows) != 5002 || fmt.Sprint(rows[5001]) != "[4999 '=name]" {
		t.Errorf("%d rows of records came back, %v", len(rows), err)
	}
	rows, err = f.GetRows("Missing")
	if err != nil || fmt.Sprint(rows) != "[[No.] [0] [1000] [2000] [3000] [4000]]" {
		t.Errorf("missing came back as %v, %v", rows, err)
	}
	if rows, err = f.GetRows("About"); err != nil || fmt.Sprint(rows) != "[[What] [last]]" {
		t.Errorf("about came back as %v, %v", rows, err)
	}
}

func TestGuardLeavesNoFormula(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.String().Draw(t, "text")
		g := guard(s)
		if g != "" && bytes.ContainsAny([]byte(g[:1]), "=+-@\t\r\x00") {
			t.Fatalf("%q would be read as a formula", g)
		}
		if g != s && g != "'"+s {
			t.Fatalf("%q became %q", s, g)
		}
	})
}

func TestCSVReadsBackAsWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cell := rapid.StringOf(rapid.RuneFrom([]rune("ab,\"\n=+-é😀 \t")))
		in := []string{cell.Draw(t, "a"), cell.Draw(t, "b")}
		var out bytes.Buffer
		c, err := NewCSV(&out, []string{"A (lb)", "B"})
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Row(in[0], in[1]); err != nil {
			t.Fatal(err)
		}
		if err := c.Close(); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&out).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		if len(rows) != 2 || rows[1][0] != guard(in[0]) || rows[1][1] != guard(in[1]) {
			t.Fatalf("%q came back as %q", in, rows)
		}
	})
}

func TestCSVNumbersAreNumbers(t *testing.T) {
	var out bytes.Buffer
	c, err := NewCSV(&out, []string{"A", "B", "C"})
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Row(-4.5, civil.MustDate("2024-02-29"), true); err != nil {
		t.Fatal(err)
	}
	if err := c.Row("too", "few"); err == nil {
		t.Error("a row of the wrong width passed")
	}
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	if got, want := out.String(), "A,B,C\r\n-4.5,2024-02-29,true\r\n"; got != want {
		t.Errorf("wrote %q, want %q", got, want)
	}
}
