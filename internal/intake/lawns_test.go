package intake

import (
	"bytes"
	"fmt"
	"os"
	"sort"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"thirdcut/internal/fault"
	"thirdcut/internal/turf"
)

func read(t *testing.T, data []byte, name string, m Mapping) Lawns {
	t.Helper()
	l, err := ReadLawns(data, name, m)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

const tidySheet = "Customer,Address,City,State,ZIP,Lat,Long,Area name,Area,Grass,HOC,Irrigated,Services,Season start,Season end,Max days,Price\r\n" +
	`Edda Ashgrove,"12 Larkspur Lane",Fernwick,md,101,39.25,-76.9,Front,"8,500 sf",Tall fescue,"3 1/2""",yes,"mow, edge",Apr 1,November,10,$65` + "\r\n" +
	`Edda Ashgrove,"12 Larkspur Lane",Fernwick,MD,00101,39.25,-76.9,Back,0.25 ac,zoysia,38 mm,no,,,,,` + "\r\n\r\n" +
	`Bram Norwold,7 Kiln Road,Fernwick,MD,00101,,,,5200,Moss and hope,3,n,mow,,,,` + "\r\n" +
	`Bram Norwold,7 Kiln Road,Fernwick,MD,00101,,,,5200,Moss and hope,3,n,mow,,,,` + "\r\n"

func TestSheetAsAnOfficeHasIt(t *testing.T) {
	l := read(t, append([]byte("\xef\xbb\xbf"), tidySheet...), "lawns.csv", nil)
	if len(l.Problems) > 0 {
		t.Fatalf("problems in a good sheet: %v", l.Problems)
	}
	if len(l.Import.Customers) != 2 {
		t.Fatalf("%d customers, want 2", len(l.Import.Customers))
	}
	edda := l.Import.Customers[0].Properties[0]
	if len(edda.Areas) != 2 || *edda.Areas[0].AreaSqFt != 8500 || *edda.Areas[1].AreaSqFt != 10890 {
		t.Errorf("areas read as %+v", edda.Areas)
	}
	if *edda.Areas[0].CuttingHeightIn != 3.5 || *edda.Areas[1].CuttingHeightIn != 1.496 || edda.Areas[1].Species != turf.Zoysiagrass {
		t.Errorf("heights and species read as %v %v %v", *edda.Areas[0].CuttingHeightIn, *edda.Areas[1].CuttingHeightIn, edda.Areas[1].Species)
	}
	if edda.ZIPCode != "00101" || edda.State != "MD" {
		t.Errorf("ZIP and state read as %q %q", edda.ZIPCode, edda.State)
	}
	p := edda.Plan
	if p == nil || p.SeasonFrom.String() != "04-01" || p.SeasonTo.String() != "11-30" || *p.GreatestDays != 10 || *p.PriceCents != 6500 || len(p.Services) != 2 {
		t.Errorf("plan read as %+v", p)
	}
	bram := l.Import.Customers[1].Properties[0]
	if bram.Latitude != nil || len(l.NotPlaced) != 1 || !strings.Contains(l.NotPlaced[0], "7 Kiln Road (line 5)") {
		t.Errorf("not placed: %v", l.NotPlaced)
	}
	if bram.Areas[0].Species != turf.UnknownSpecies {
		t.Errorf("species read as %q", bram.Areas[0].Species)
	}
	notes := strings.Join(l.Notes, "\n")
	for _, want := range []string{"Moss and hope", "line 6 says the same as line 5"} {
		if !strings.Contains(notes, want) {
			t.Errorf("notes say nothing of %q: %s", want, notes)
		}
	}
}

func TestColumnOrderSeparatorAndEncodingDoNotMatter(t *testing.T) {
	want := fmt.Sprint(read(t, []byte(tidySheet), "a.csv", nil).Import)
	crlf := strings.ReplaceAll(tidySheet, "\r\n", "\n")
	for name, data := range map[string][]byte{"line feeds": []byte(crlf), "utf-16": utf16le(tidySheet)} {
		if got := fmt.Sprint(read(t, data, "a.csv", nil).Import); len(got) != len(want) {
			t.Errorf("%s: read as\n%s\nwant\n%s", name, got, want)
		}
	}
	semicolons := "Area;Address;Customer\n5200;7 Kiln Road;Bram Norwold\n"
	if l := read(t, []byte(semicolons), "a.csv", nil); len(l.Problems) > 0 || *l.Import.Customers[0].Properties[0].Areas[0].AreaSqFt != 5200 {
		t.Errorf("semicolons: %+v", l)
	}
}

func utf16le(s string) []byte {
	out := []byte{0xff, 0xfe}
	for _, r := range s {
		out = append(out, byte(r), byte(r>>8))
	}
	return out
}

func TestEveryBadCellIsNamed(t *testing.T) {
	sheet := "Customer,Address,Lat,Long,Area,Cutting height,Grass,Irrigated,Min days,Max days,Measured on,Services,Slope,State\n" +
		"A,1 Wren Way,39.25,-76.9,-400,30,fescue,maybe,9,4,2026-02-30,\"mow, dance\",140,Maryland\n" +
		",,39.25,,\"1,5 ac\",140 C,fescue,yes,x,,13/45/2026,mow,,MD\n" +
		"B,2 Wren Way,-76.9,39.25,9000 acres,0,fescue,yes,,,,mow,,MD\n" +
		"C,3 Wren Way,0,0,,3,fescue,yes,,,,mow,,MD\n"
	l := read(t, []byte(sheet), "bad.csv", nil)
	for _, want := range []struct {
		line   int
		column string
		says   string
	}{
		{2, "E Area", "positive number"}, {2, "F Cutting height", "30 in is no cutting height"}, {2, "H Irrigated", "yes or no"},
		{2, "I Min days", "more than the greatest"}, {2, "K Measured on", "does not exist"}, {2, "L Services", `"dance"`}, {2, "M Slope", "percentage"}, {2, "N State", "two letters"},
		{3, "A Customer", "no name"}, {3, "B Address", "no address"}, {3, "D Long", "both"}, {3, "E Area", "comma"}, {3, "F Cutting height", "unit"}, {3, "I Min days", "whole number"}, {3, "K Measured on", "does not exist"},
		{4, "E Area", "believable"}, {4, "F Cutting height", "0 in is no cutting height"},
		{5, "C Lat", "sea"}, {5, "E Area", "neither a size"},
	} {
		found := false
		for _, p := range l.Problems {
			found = found || p.Line == want.line && p.Column == want.column && strings.Contains(p.Reason, want.says)
		}
		if !found {
			t.Errorf("line %d column %s: nothing says %q", want.line, want.column, want.says)
		}
	}
	swapped := false
	for _, p := range l.Problems {
		swapped = swapped || p.Line == 4 && strings.Contains(p.Reason, "swap")
	}
	if !swapped {
		t.Error("swapped coordinates on line 4 are not named")
	}
	if t.Failed() {
		for _, p := range l.Problems {
			t.Log(p)
		}
	}
}

func TestTwoRowsForOneAddress(t *testing.T) {
	l := read(t, []byte("Customer,Address,Area,Area name\nA,1 Wren Way,4000,Front\nB,\"1 Wren Way.\",4000,Back\n"), "a.csv", nil)
	if len(l.Problems) != 1 || l.Problems[0].Line != 3 || !strings.Contains(l.Problems[0].Reason, "line 2") {
		t.Errorf("two customers of one address: %v", l.Problems)
	}
	l = read(t, []byte("Customer,Address,Area,Area name\nA,1 Wren Way,4000,Front\nA,1 Wren Way,5000,front\n"), "a.csv", nil)
	if len(l.Problems) != 1 || !strings.Contains(l.Problems[0].Reason, "stands already on line 2") {
		t.Errorf("one area twice: %v", l.Problems)
	}
}

func TestFilesThatAreNone(t *testing.T) {
	for _, row := range []struct {
		name string
		data []byte
		code string
	}{
		{"empty", nil, "empty-file"},
		{"blank lines", []byte("\n\n , \n"), "empty-file"},
		{"headers alone", []byte("Customer,Address\n"), "empty-file"},
		{"no address", []byte("Customer,Lawn size\nA,5\n"), "missing-column"},
		{"two names", []byte("Customer,Client,Address\nA,B,1 Wren Way\n"), "ambiguous-columns"},
		{"open quote", []byte("Customer,Address\n\"A,1 Wren Way\n"), "bad-csv"},
		{"picture", []byte("\x89PNG\r\n\x1a\n\x00\x00"), "not-text"},
		{"old workbook", []byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"), "old-workbook"},
		{"torn workbook", []byte("PK\x03\x04 and no more"), "bad-workbook"},
		{"200 MB", make([]byte, 200<<20), "file-too-large"},
	} {
		_, err := ReadLawns(row.data, row.name, nil)
		if !fault.HasCode(err, row.code) {
			t.Errorf("%s: %v, want %s", row.name, err, row.code)
		}
	}
}

func TestWorkbookIsReadAsCSVIs(t *testing.T) {
	f := excelize.NewFile()
	f.NewSheet("Lawns 2026")
	rows := [][]any{{"Customer", "Address", "Lawn size (sq ft)", "HOC (mm)", "Measured on", "Zip"}, {"A", "1 Wren Way", 8500, 76.2, 46176, 101}, {}, {"B", "2 Wren Way", "0.25 ac", "3 in", "6/3/2026", "00101"}}
	for i, r := range rows {
		cell, _ := excelize.CoordinatesToCellName(1, i+1)
		if err := f.SetSheetRow("Lawns 2026", cell, &r); err != nil {
			t.Fatal(err)
		}
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	l := read(t, b.Bytes(), "lawns.xlsx", nil)
	if len(l.Problems) > 0 {
		t.Fatal(l.Problems)
	}
	a, c := l.Import.Customers[0].Properties[0], l.Import.Customers[1].Properties[0]
	if *a.Areas[0].AreaSqFt != 8500 || *a.Areas[0].CuttingHeightIn != 3 || a.Areas[0].AreaMeasuredOn.String() != "2026-06-03" || a.ZIPCode != "00101" {
		t.Errorf("first row read as %+v", a)
	}
	if *c.Areas[0].AreaSqFt != 10890 || *c.Areas[0].CuttingHeightIn != 3 || c.Areas[0].AreaMeasuredOn.String() != "2026-06-03" || c.Place != "sheet Lawns 2026, line 4" {
		t.Errorf("second row read as %+v", c)
	}
}

func TestMappingNamesOddHeaders(t *testing.T) {
	m, err := ParseMapping([]byte(`{"customer":"Wer","address":"Wo","cutting_height":"Halmhöhe"}`))
	if err != nil {
		t.Fatal(err)
	}
	l := read(t, []byte("Wo,Wer,Halmhöhe,Area\n1 Wren Way,A,3 in,400\n"), "a.csv", m)
	if len(l.Problems) > 0 || *l.Import.Customers[0].Properties[0].Areas[0].CuttingHeightIn != 3 {
		t.Errorf("read as %+v", l)
	}
	if _, err := ParseMapping([]byte(`{"colour":"x"}`)); !fault.HasCode(err, "bad-mapping") {
		t.Errorf("a column that is none of ours: %v", err)
	}
	if _, err := ReadLawns([]byte("Customer,Address\nA,B\n"), "a.csv", Mapping{"area": "Fläche"}); !fault.HasCode(err, "bad-mapping") {
		t.Errorf("a header that is not there: %v", err)
	}
}

func TestHeadersWithOneSlip(t *testing.T) {
	l := read(t, []byte("Custmer,Adress,Cuting height,Area (sq ft)\nA,1 Wren Way,3,400\n"), "a.csv", nil)
	if len(l.Problems) > 0 || *l.Import.Customers[0].Properties[0].Areas[0].CuttingHeightIn != 3 {
		t.Errorf("read as %+v", l)
	}
}

func TestBrokenOutlineIsNamed(t *testing.T) {
	sheet := "Customer,Address,Lat,Long,Outline\n" +
		`A,1 Wren Way,39.25,-76.9,"{""type"":""Polygon"",""coordinates"":[[[-76.9,39.25],[-76.8995,39.2504],[-76.8995,39.25],[-76.9,39.2504],[-76.9,39.25]]]}"` + "\n" +
		`B,2 Wren Way,39.25,-76.9,"{""type"":""Polygon"",""coordinates"":[[[-76.9,39.25],[-76.8995,39.25],[-76.8995,39.2504],[-76.9,39.2504],[-76.9,39.25]]]}"` + "\n"
	l := read(t, []byte(sheet), "a.csv", nil)
	if len(l.Problems) != 1 || l.Problems[0].Line != 2 || !strings.Contains(l.Problems[0].Reason, "crosses itself") {
		t.Errorf("problems %v", l.Problems)
	}
	lines := strings.SplitAfter(sheet, "\n")
	l = read(t, []byte(lines[0]+lines[2]), "a.csv", nil)
	b := l.Import.Customers[0].Properties[0].Areas[0]
	// 0.0005 degrees of longitude by 0.0004 of latitude at 39.25 N: 43.15 m by 44.41 m.
	if b.AreaMethod != "outline" || *b.AreaSqFt < 20500 || *b.AreaSqFt > 20750 {
		t.Errorf("area from the outline %v %v sq ft", b.AreaMethod, *b.AreaSqFt)
	}
}

func sample(t *testing.T, name string) []byte {
	t.Helper()
	data, err := os.ReadFile("../../testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func TestSampleSheets(t *testing.T) {
	for name, want := range map[string]struct{ customers, properties, areas, notPlaced int }{
		"as-an-office-has-it.csv": {3, 3, 4, 1}, "office-book.xlsx": {3, 3, 4, 1}, "western-encoding.csv": {1, 1, 1, 1},
	} {
		l := read(t, sample(t, "lawns/"+name), name, nil)
		var properties, areas int
		for _, c := range l.Import.Customers {
			properties += len(c.Properties)
			for _, p := range c.Properties {
				areas += len(p.Areas)
			}
		}
		if len(l.Problems) > 0 || len(l.Import.Customers) != want.customers || properties != want.properties || areas != want.areas || len(l.NotPlaced) != want.notPlaced {
			t.Errorf("%s: %d customers, %d properties, %d areas, %d not placed, problems %v; want %+v", name, len(l.Import.Customers), properties, areas, len(l.NotPlaced), l.Problems, want)
		}
	}
}

func TestSampleBookIsReadCellByCell(t *testing.T) {
	l := read(t, sample(t, "lawns/office-book.xlsx"), "office-book.xlsx", nil)
	c := l.Import.Customers[0]
	p := c.Properties[0]
	front, back := p.Areas[0], p.Areas[1]
	if c.Phone != "555-0110" || p.GateCode != "0042" || p.ZIPCode != "00104" || fmt.Sprint(p.Sensitivities) != "[dog pond]" || *p.Latitude != 39.4411 {
		t.Errorf("property read as %+v", p)
	}
	if *front.AreaSqFt != 8500 || front.AreaMethod != "wheel" || front.AreaMeasuredOn.String() != "2026-03-09" || *front.SlopePercent != 4 || front.Soil != "clay_loam" || !*front.Irrigated || front.IrrigationNote != "6 zones" {
		t.Errorf("front read as %+v", front)
	}
	if *back.AreaSqFt != 3702.6 || back.Species != turf.MixedCool || *back.CuttingHeightIn != 3.25 || *back.Irrigated {
		t.Errorf("back read as %+v", back)
	}
	if p.Plan.SeasonFrom.String() != "04-01" || p.Plan.SeasonTo.String() != "11-15" || *p.Plan.PriceCents != 6250 || *p.Plan.LeastDays != 6 {
		t.Errorf("plan read as %+v", p.Plan)
	}
	ulla := l.Import.Customers[1].Properties[0]
	if *ulla.Areas[0].CuttingHeightIn != 1.496 || ulla.Areas[0].Mower != turf.Reel || *ulla.Longitude != -76.8102 || *ulla.Plan.PriceCents != 4800 || ulla.Plan.SeasonFrom.String() != "04-01" {
		t.Errorf("second customer read as %+v, %+v", ulla, ulla.Plan)
	}
	notes := strings.Join(l.Notes, "\n")
	for _, want := range []string{"not read: Read me, Blades", "Colour of door", `"whatever grows" is not in the list`, `the soil "red clay"`, `"KBG + fescue" is taken for`} {
		if !strings.Contains(notes, want) {
			t.Errorf("notes say nothing of %q:\n%s", want, notes)
		}
	}
}

func TestBrokenSamplesAreNamedPlaceByPlace(t *testing.T) {
	for name, want := range map[string][]string{
		"broken.csv": {"line 2, column E Area", "line 2, column H Measured on", "line 3, column C Lat", "line 3, column F Cutting height", "line 4, column B Address"},
		"broken-book.xlsx": {"line 2, column E Lat", "line 2, column I Cutting height", "line 2, column J Measured on", "line 3, column E Lat", "line 3, column H Area (sq ft)",
			"line 5, column K Gate code", "line 6, column B Address", "line 7, column L Outline", "line 8, column H Area (sq ft)", "line 8, column I Cutting height", "line 9, column A Customer", "line 9, column H Area (sq ft)"},
	} {
		l := read(t, sample(t, "lawns/"+name), name, nil)
		var got []string
		for _, p := range l.Problems {
			got = append(got, fmt.Sprintf("line %d, column %s", p.Line, p.Column))
		}
		sort.Strings(got)
		sort.Strings(want)
		if strings.Join(got, "; ") != strings.Join(want, "; ") {
			t.Errorf("%s: problems at\n%s\nwant\n%s\n%v", name, strings.Join(got, "\n"), strings.Join(want, "\n"), l.Problems)
		}
	}
}

func TestSampleMapping(t *testing.T) {
	m, err := ParseMapping(sample(t, "lawns/odd-headers.mapping.json"))
	if err != nil {
		t.Fatal(err)
	}
	data := sample(t, "lawns/odd-headers.csv")
	if _, err := ReadLawns(data, "odd-headers.csv", nil); !fault.HasCode(err, "missing-column") {
		t.Errorf("without the mapping: %v", err)
	}
	l := read(t, data, "odd-headers.csv", m)
	if len(l.Problems) > 0 || len(l.Import.Customers) != 1 || len(l.Import.Customers[0].Properties) != 2 || *l.Import.Customers[0].Properties[1].Areas[0].AreaSqFt != 8100 {
		t.Errorf("read as %+v, problems %v", l.Import, l.Problems)
	}
}

func FuzzReadLawns(f *testing.F) {
	f.Add([]byte(tidySheet))
	f.Add([]byte("Customer;Address\nA;B"))
	f.Add([]byte("PK\x03\x04"))
	f.Add([]byte("Title\n\nCustomer,Address,Area (m2),HOC,Price,Season from,Lat,Long,Outline\nA,B,1,2\",$3,Apr 1,39 N,76 W,{}\nA,B,2,3\",$4,4/1,39,-76,\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := ReadLawns(data, "f", nil)
		if err == nil && l.Rows == 0 {
			t.Error("no rows and no error")
		}
	})
}

func BenchmarkReadLawns10000(b *testing.B) {
	var s strings.Builder
	s.WriteString("Customer,Address,City,State,ZIP,Lat,Long,Area name,Area,Grass,HOC\n")
	for i := range 10_000 {
		fmt.Fprintf(&s, "Person %d,%d Larkspur Lane,Fernwick,MD,00101,39.25,-76.9,Front,\"8,500 sf\",tall fescue,3.5 in\n", i, i)
	}
	data := []byte(s.String())
	for b.Loop() {
		if l, err := ReadLawns(data, "b.csv", nil); err != nil || len(l.Problems) > 0 {
			b.Fatal(err, l.Problems)
		}
	}
}
