package intake

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"encoding/csv"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

func workbook(t testing.TB, sheets map[string][][]any, order ...string) []byte {
	t.Helper()
	f := excelize.NewFile()
	for _, name := range order {
		if _, err := f.NewSheet(name); err != nil {
			t.Fatal(err)
		}
		for i, row := range sheets[name] {
			cell, err := excelize.CoordinatesToCellName(1, i+1)
			if err != nil {
				t.Fatal(err)
			}
			if err := f.SetSheetRow(name, cell, &row); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := f.DeleteSheet("Sheet1"); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Inches written with a quote mark in a cell without quotes are read; an opened
// quote that is never closed is named where it opened.
func TestQuoteMarksInCells(t *testing.T) {
	l := read(t, []byte("Customer,Address,Area,Cutting height,Access notes\nA,1 Wren Way,400,2 1/2\",\"ring first,\nthen \"\"knock\"\"\"\nB,2 Wren Way,500,3\",\n"), "a.csv", nil)
	if len(l.Problems) > 0 || len(l.Import.Customers) != 2 {
		t.Fatalf("problems %v, customers %v", l.Problems, l.Import.Customers)
	}
	a, b := l.Import.Customers[0].Properties[0], l.Import.Customers[1].Properties[0]
	if *a.Areas[0].CuttingHeightIn != 2.5 || *b.Areas[0].CuttingHeightIn != 3 || a.AccessNote != "ring first,\nthen \"knock\"" || b.Place != "line 4" {
		t.Errorf("read as %+v, %+v", a, b)
	}
	for _, row := range []struct{ sheet, says string }{
		{"Customer,Address\nA,1 Wren Way\n\"B,2 Wren Way\nC,3 Wren Way\n", "line 3, character 1: a quote mark opens"},
		{"Customer,Address\nA,\"1 Wren\" Way\n", "line 2, character 11: something follows"},
	} {
		_, err := ReadLawns([]byte(row.sheet), "a.csv", nil)
		if !fault.HasCode(err, "bad-csv") || !strings.Contains(err.Error(), row.says) {
			t.Errorf("%v, want it to say %q", err, row.says)
		}
	}
}

// What the standard library writes is read the same, whatever is in the cells.
func TestCSVIsReadAsRFC4180Writes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cell := rapid.StringMatching(`[a-z ,;"\n\t'é½=+-]{0,12}`)
		rows := rapid.SliceOfN(rapid.SliceOfN(cell, 1, 5), 1, 6).Draw(t, "rows")
		var b bytes.Buffer
		w := csv.NewWriter(&b)
		if err := w.WriteAll(rows); err != nil {
			t.Fatal(err)
		}
		r := &csvReader{name: "x", text: b.String(), comma: ',', line: 1}
		for i, want := range rows {
			got, line, more, err := r.row()
			if err != nil || !more {
				t.Fatalf("row %d of %q: %v", i, b.String(), err)
			}
			if strings.Join(got, "|") != strings.Join(want, "|") || line < i+1 {
				t.Fatalf("row %d on line %d is %q, written %q", i, line, got, want)
			}
		}
		if _, _, more, _ := r.row(); more {
			t.Fatal("there are more rows than were written")
		}
	})
}

func TestTitlesAboveTheHeadersAndOddColumns(t *testing.T) {
	l := read(t, []byte("Fernwick Grounds; lawn list\n\nprinted in spring\nCustomer;Address;Size (m²);Favourite colour\nA;1 Wren Way;100;blue\nCustomer;Address;Size (m²);Favourite colour\nB;2 Wren Way;200 sq ft;red\n"), "a.csv", nil)
	if len(l.Problems) > 0 || len(l.Import.Customers) != 2 {
		t.Fatalf("problems %v, customers %v", l.Problems, l.Import.Customers)
	}
	if got := *l.Import.Customers[0].Properties[0].Areas[0].AreaSqFt; got != 1076.39 {
		t.Errorf("100 in a column of square metres is %v sq ft, want 1076.39", got)
	}
	if got := *l.Import.Customers[1].Properties[0].Areas[0].AreaSqFt; got != 200 {
		t.Errorf("200 sq ft in a column of square metres is %v sq ft", got)
	}
	notes := strings.Join(l.Notes, "\n")
	for _, want := range []string{"line 1 stands above the headers", "line 3 stands above", "Favourite colour (column D)", "line 6: the headers stand here once more"} {
		if !strings.Contains(notes, want) {
			t.Errorf("notes say nothing of %q:\n%s", want, notes)
		}
	}
}

func TestHeaderUnits(t *testing.T) {
	for header, want := range map[string]float64{"Area": 8.5, "Area (sq ft)": 8.5, "Lawn size in acres": 370260, "Acres": 370260, "Sq Ft": 8.5, "Lawn area (1,000 sq ft)": 8500, "Turf size K SQ FT": 8500, "Area ha": 914932.39} {
		l, err := ReadLawns([]byte("Customer,Address,"+strings.ReplaceAll(`"`+header+`"`, "\n", "")+"\nA,1 Wren Way,8.5\n"), "a.csv", nil)
		if err != nil {
			t.Errorf("%s: %v", header, err)
			continue
		}
		if want <= 10 { // too small a lawn
			if len(l.Problems) != 1 {
				t.Errorf("%s: 8.5 of it was taken: %+v", header, l.Import)
			}
			continue
		}
		if len(l.Problems) > 0 || *l.Import.Customers[0].Properties[0].Areas[0].AreaSqFt != want {
			t.Errorf("%s: 8.5 of it: %v %+v", header, l.Problems, l.Import)
		}
	}
	// Every unit that a header may name is one that the columns can read.
	plainWords := map[string]bool{"1000 sq ft": true, "1 000 sq ft": true, "%": true, "percent": true, "days": true, "usd": true, "dollars": true, "deg": true, "degrees": true, "lb": true, "mm dd": true}
	for u := range headerUnits {
		_, length := unit.ParseLength("1 "+u, 0)
		_, area := unit.ParseArea("1 "+u, 0)
		if length != nil && area != nil && !plainWords[u] {
			t.Errorf("the header unit %q is read by none", u)
		}
	}
}

// A header names one column of ours, and no two of ours share a name.
func TestColumnNamesAreTheirOwn(t *testing.T) {
	seen := map[string]string{}
	for _, c := range lawnColumns {
		for _, h := range append([]string{c.name}, c.headers...) {
			if other, ok := seen[plain(h)]; ok && other != c.name {
				t.Errorf("%q is a name of %s and of %s", h, other, c.name)
			}
			seen[plain(h)] = c.name
			if got := named(strings.ToUpper(h)); got != c.name {
				t.Errorf("the header %q is taken for %q, want %s", h, got, c.name)
			}
		}
	}
}

func TestAmbiguousHeadersNameBoth(t *testing.T) {
	_, err := ReadLawns([]byte("Customer,Address,Area,Lawn size\nA,1 Wren Way,1,2\n"), "a.csv", nil)
	if !fault.HasCode(err, "ambiguous-columns") || !strings.Contains(err.Error(), `"Area" (column C)`) || !strings.Contains(err.Error(), `"Lawn size" (column D)`) {
		t.Errorf("two columns of sizes: %v", err)
	}
	// The mapping settles it, and the other column is left alone.
	l := read(t, []byte("Customer,Address,Area,Lawn size\nA,1 Wren Way,100,200\n"), "a.csv", Mapping{"area": "lawn SIZE"})
	if len(l.Problems) > 0 || *l.Import.Customers[0].Properties[0].Areas[0].AreaSqFt != 200 || !strings.Contains(strings.Join(l.Notes, " "), "Area (column C)") {
		t.Errorf("problems %v, notes %v", l.Problems, l.Notes)
	}
}

func TestCustomersAreOneWhateverIsLeftOpen(t *testing.T) {
	l := read(t, []byte("Customer,Phone,Email,Address,City,ZIP,Area name,Area,Notes,Gate code\n"+
		"Edda Ashgrove,555-0101,,1 Wren Way,Fernwick,00101,Front,4000,steep,\n"+
		"edda  ashgrove,,edda@place.example,1 Wren Way,,,Back,5000,dog,1999\n"+
		"Edda Ashgrove,555-0199,,2 Wren Way,Fernwick,00101,Front,4000,,\n"), "a.csv", nil)
	if len(l.Problems) > 0 || len(l.Import.Customers) != 1 {
		t.Fatalf("problems %v, customers %+v", l.Problems, l.Import.Customers)
	}
	c := l.Import.Customers[0]
	if c.Phone != "555-0101" || c.Email != "edda@place.example" || len(c.Properties) != 2 || len(c.Properties[0].Areas) != 2 {
		t.Errorf("customer read as %+v", c)
	}
	if p := c.Properties[0]; p.AccessNote != "steep; dog" || p.GateCode != "1999" || p.ZIPCode != "00101" {
		t.Errorf("property read as %+v", p)
	}
	if !strings.Contains(strings.Join(l.Notes, "\n"), "line 4: the phone of Edda Ashgrove differs from that on line 2") {
		t.Errorf("notes %v", l.Notes)
	}
}

// Two people of one name are two customers where e-mail and phone tell them
// apart, in every later sheet too; the second area of the second person needs
// neither.
func TestTwoPeopleOfOneName(t *testing.T) {
	sheet := "Customer,Email,Phone,Address,Area name,Area,HOC\nEdda Ashgrove,a@x.example,1,1 Wren Way,F,4000,3\nEdda Ashgrove,b@x.example,2,2 Wren Way,F,4000,3\n" +
		"Edda Ashgrove,,,2 Wren Way,B,4000,3\nEdda Ashgrove,B@x.example,2,3 Wren Way,F,4000,3\n"
	l := read(t, []byte(sheet), "a.csv", nil)
	if len(l.Problems) > 0 || len(l.Import.Customers) != 2 || len(l.Import.Customers[1].Properties) != 2 || len(l.Import.Customers[1].Properties[0].Areas) != 2 {
		t.Fatalf("problems %v, read as %+v", l.Problems, l.Import)
	}
	if !strings.Contains(strings.Join(l.Notes, "\n"), "another customer than the one of that name on line 2") {
		t.Errorf("notes %v", l.Notes)
	}
	planned, err := property.PlanImport(l.Import, property.Known{}, "MD", civilDay)
	if err != nil || planned.Customers.Added != 2 {
		t.Fatalf("taken over: %v", err)
	}
	known := property.Known{Customers: planned.AddCustomers, Properties: planned.AddProperties}
	for i := range known.Properties {
		for _, a := range planned.AddAreas {
			if a.PropertyID == known.Properties[i].ID {
				known.Properties[i].Areas = append(known.Properties[i].Areas, a)
			}
		}
	}
	again, err := property.PlanImport(l.Import, known, "MD", civilDay)
	if total := again.Total(); err != nil || total.Added+total.Changed != 0 {
		t.Errorf("a second time: %+v, %v", total, err)
	}
}

func TestRowsThatContradictEachOtherNameBoth(t *testing.T) {
	for _, row := range []struct{ name, sheet, column, says string }{
		{"gate codes", "Customer,Address,Area name,Area,Gate code\nA,1 Wren Way,F,4000,1\nA,1 Wren Way,B,4000,2\n", "E Gate code", `"1" on line 2`},
		{"map points", "Customer,Address,Area name,Area,Lat,Long\nA,1 Wren Way,F,4000,39.25,-76.9\nA,1 Wren Way,B,4000,39.26,-76.9\n", "E Lat", "on line 2"},
		{"prices", "Customer,Address,Area name,Area,Price\nA,1 Wren Way,F,4000,65\nA,1 Wren Way,B,4000,70\n", "E Price", "on line 2"},
		{"services", "Customer,Address,Area name,Area,Services\nA,1 Wren Way,F,4000,mow\nA,1 Wren Way,B,4000,mow & spray\n", "E Services", "on line 2"},
		{"an address of two people of one name", "Customer,Address,Area,Email,Phone\nA,1 Wren Way,4000,a@x.example,1\nA,1 Wren Way,4000,b@x.example,2\n", "B Address", "on line 2"},
		{"two names of a number", "Account,Customer,Address,Area\n7,A,1 Wren Way,4000\n7,B,2 Wren Way,4000\n", "B Customer", "is A on line 2"},
		{"two owners", "Customer,Address,ZIP,Area name,Area\nA,1 Wren Way,00101,F,4000\nB,1 Wren Wy.,00101,B,4000\n", "", ""},
	} {
		l := read(t, []byte(row.sheet), "a.csv", nil)
		if row.says == "" { // another street after all
			if len(l.Problems) != 0 {
				t.Errorf("%s: %v", row.name, l.Problems)
			}
			continue
		}
		if len(l.Problems) != 1 || l.Problems[0].Line != 3 || l.Problems[0].Column != row.column || !strings.Contains(l.Problems[0].Reason, row.says) {
			t.Errorf("%s: %v", row.name, l.Problems)
		}
	}
}

func TestGrassesAsPeopleNameThem(t *testing.T) {
	for text, want := range map[string]turf.Species{"tall_fescue": turf.TallFescue, "Tall Fescue": turf.TallFescue, "St. Augustine": turf.StAugustinegrass, "KBG": turf.KentuckyBluegrass,
		"Fescue": turf.TallFescue, "bermuda": turf.BermudagrassCommon, "fescue / bluegrass": turf.MixedCool, "Tall fescue, KBG and rye mix": turf.MixedCool, "bermuda & zoysia": turf.MixedWarm,
		"fescue/bermuda": turf.UnknownSpecies, "moss": turf.UnknownSpecies, "Tall fescue blend": turf.TallFescue, "unknown": turf.UnknownSpecies} {
		l := read(t, []byte("Customer,Address,Area,Grass\nA,1 Wren Way,400,\""+text+"\"\n"), "a.csv", nil)
		if len(l.Problems) > 0 || l.Import.Customers[0].Properties[0].Areas[0].Species != want {
			t.Errorf("%q: %v %+v, want %s", text, l.Problems, l.Import, want)
		}
	}
	l := read(t, []byte("Customer,Address,Area,Grass\nA,1 Wren Way,400,Fescue\nB,2 Wren Way,400,Fescue\nC,3 Wren Way,400,moss\n"), "a.csv", nil)
	notes := strings.Join(l.Notes, "\n")
	if !strings.Contains(notes, `lines 2 and 3: the grass "Fescue" is taken for tall fescue`) || !strings.Contains(notes, `line 4: the grass "moss"`) {
		t.Errorf("a guess was made without a word: %s", notes)
	}
}

func TestCellsThatMayMeanTwoThings(t *testing.T) {
	for _, row := range []struct{ header, cell, says string }{
		{"Slope", "0.05", "5 %"}, {"Price", "65,00", "dollars"}, {"Price", "65.005", "cent"}, {"Price", "40 per month", "one visit"}, {"Price", "-5", "dollars"},
		{"Slope", "101", "percentage"}, {"Slope", "0x10", "percentage"}, {"Season start", "02-30", "no day"}, {"Season start", "46113", "no day"}, {"Max days", "7.5", "whole number"},
		{"Max days", "121", "1 to 120"}, {"Email", "edda at place", "e-mail"}, {"Zip", "1234567", "ZIP"}, {"Cutting height", "#REF!", "formula"}, {"Area method", "outline", "has none"},
		{"Area method", "laser", "one of"}, {"Nitrogen", "43", "pounds to 1,000"}, {"Mower", "goat", "reel or rotary"}, {"Soil", "", ""}, {"Exposure", "moonlight", "sun"},
	} {
		l := read(t, []byte(fmt.Sprintf("Customer,Address,Area,%s\nA,1 Wren Way,400,\"%s\"\n", row.header, row.cell)), "a.csv", nil)
		if row.says == "" {
			if len(l.Problems) > 0 {
				t.Errorf("an empty %s: %v", row.header, l.Problems)
			}
			continue
		}
		found := false
		for _, p := range l.Problems {
			found = found || p.Column == "D "+row.header && strings.Contains(p.Reason, row.says)
		}
		if !found {
			t.Errorf("%s %q: %v, want %q", row.header, row.cell, l.Problems, row.says)
		}
	}
	for cell, cents := range map[string]int64{"$1,065.50": 106550, "65": 6500, "48.1 per cut": 4810, "0": 0, "64.99999999999999": 6500} {
		l := read(t, []byte(fmt.Sprintf("Customer,Address,Area,Price\nA,1 Wren Way,400,\"%s\"\n", cell)), "a.csv", nil)
		if len(l.Problems) > 0 || *l.Import.Customers[0].Properties[0].Plan.PriceCents != cents {
			t.Errorf("price %q: %v", cell, l.Problems)
		}
	}
	for cell, want := range map[string]string{"Apr 1": "04-01", "4/1": "04-01", "April": "04-01", "04-01": "04-01", "1-Apr": "04-01", "April 1st": "04-01", "2026-04-01": "04-01", "02-29": "02-29"} {
		l := read(t, []byte(fmt.Sprintf("Customer,Address,Area,Season from,Season to\nA,1 Wren Way,400,%s,Feb\n", cell)), "a.csv", nil)
		if len(l.Problems) > 0 {
			t.Errorf("season %q: %v", cell, l.Problems)
			continue
		}
		if p := l.Import.Customers[0].Properties[0].Plan; p.SeasonFrom.String() != want || p.SeasonTo.String() != "02-28" {
			t.Errorf("season %q is %s to %s, want %s to 02-28", cell, p.SeasonFrom, p.SeasonTo, want)
		}
	}
	for lat, want := range map[string]float64{"39.25": 39.25, "39.25°": 39.25, "39.25 N": 39.25, "39.25n": 39.25} {
		l := read(t, []byte("Customer,Address,Area,Lat,Long\nA,1 Wren Way,400,"+lat+",76.9° W\n"), "a.csv", nil)
		if len(l.Problems) > 0 || *l.Import.Customers[0].Properties[0].Latitude != want || *l.Import.Customers[0].Properties[0].Longitude != -76.9 {
			t.Errorf("latitude %q: %v %+v", lat, l.Problems, l.Import)
		}
	}
}

func TestMoreProblemsThanCanBeListedAreCounted(t *testing.T) {
	sheet := "Customer,Address,Area\n" + strings.Repeat("", 0)
	var b strings.Builder
	b.WriteString(sheet)
	for i := range 1500 {
		fmt.Fprintf(&b, "A,%d Wren Way,-4\n", i+1)
	}
	l := read(t, []byte(b.String()), "a.csv", nil)
	if len(l.Problems) != 1000 || l.More != 500 {
		t.Errorf("%d problems and %d more, want 1000 and 500", len(l.Problems), l.More)
	}
	long := read(t, []byte("Customer,Address,Area\nA,1 Wren Way,"+strings.Repeat("9", 5000)+"x\n"), "a.csv", nil)
	if len(long.Problems) != 1 || len(long.Problems[0].Value) > 100 {
		t.Errorf("a cell of 5,000 characters is shown whole: %d problems", len(long.Problems))
	}
}

func TestWorkbookOfSeveralSheetsAndDates(t *testing.T) {
	data := workbook(t, map[string][][]any{
		"Read me": {{"This book holds our lawns."}},
		"Lawns": {{"Fernwick Grounds"}, {"Customer", "Address", "Area (acres)", "Season start", "Season end", "Measured on", "HOC", "Phone", "Zip"},
			{"A", "1 Wren Way", 0.085, 46113, 46341, 46176, 3.5, 5550101, 101}, {"B", "2 Wren Way", "#N/A", "", "", "", "", "'+1 555 0102", ""}},
		"Prices": {{"Item", "Price"}, {"Blade", 9}},
	}, "Read me", "Lawns", "Prices")
	l := read(t, data, "a.xlsx", nil)
	if len(l.Problems) != 1 || l.Problems[0].String() != `sheet Lawns, line 4, column C Area (acres), value "#N/A": the sheet's own formula failed here; correct it, or write the value` {
		t.Errorf("problems %v", l.Problems)
	}
	if len(l.Import.Customers) > 0 {
		t.Errorf("a sheet with a wrong cell is taken in part: %+v", l.Import)
	}
	f, err := excelize.OpenReader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	if err := f.SetCellValue("Lawns", "C4", 0.5); err != nil {
		t.Fatal(err)
	}
	var mended bytes.Buffer
	if err := f.Write(&mended); err != nil {
		t.Fatal(err)
	}
	if l = read(t, mended.Bytes(), "a.xlsx", nil); len(l.Problems) > 0 {
		t.Fatal(l.Problems)
	}
	c := l.Import.Customers[0]
	if phone := l.Import.Customers[1].Phone; phone != "+1 555 0102" {
		t.Errorf("a guarded phone number is read as %q", phone)
	}
	a, plan := c.Properties[0].Areas[0], c.Properties[0].Plan
	if *a.AreaSqFt != 3702.6 || a.AreaMeasuredOn.String() != "2026-06-03" || plan.SeasonFrom.String() != "04-01" || plan.SeasonTo.String() != "11-15" || c.Phone != "5550101" || c.Properties[0].ZIPCode != "00101" {
		t.Errorf("read as %+v, area %v, plan %+v", c, *a.AreaSqFt, plan)
	}
	if notes := strings.Join(l.Notes, "\n"); !strings.Contains(notes, "not read: Read me, Prices") {
		t.Errorf("sheets were passed over without a word: %s", notes)
	}
}

// A workbook of a few MB that unpacks to 300 MB is refused before it is unpacked.
func TestZipBombIsRefused(t *testing.T) {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	z.RegisterCompressor(zip.Deflate, func(out io.Writer) (io.WriteCloser, error) { return flate.NewWriter(out, flate.BestSpeed) })
	w, err := z.Create("xl/worksheets/sheet1.xml")
	if err != nil {
		t.Fatal(err)
	}
	blank := bytes.Repeat([]byte(" "), 1<<20)
	for range 300 {
		if _, err := w.Write(blank); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	if b.Len() > 4<<20 {
		t.Fatalf("the bomb has %d bytes", b.Len())
	}
	if _, err := ReadLawns(b.Bytes(), "bomb.xlsx", nil); !fault.HasCode(err, "file-too-large") {
		t.Errorf("a bomb: %v", err)
	}
	// One whose directory lies about the size is refused as torn.
	lying := bytes.ReplaceAll(b.Bytes(), []byte{0x00, 0x00, 0xc0, 0x12}, []byte{0x00, 0x10, 0x00, 0x00}) // 300 MiB to 4 KiB
	if bytes.Equal(lying, b.Bytes()) {
		t.Fatal("the size was not found")
	}
	if _, err := ReadLawns(lying, "bomb.xlsx", nil); fault.As(err) == nil {
		t.Errorf("a lying bomb: %v", err)
	}
	wide := []byte("Customer,Address" + strings.Repeat(",x", 300) + "\nA,1 Wren Way\n")
	if _, err := ReadLawns(wide, "wide.csv", nil); !fault.HasCode(err, "too-many-columns") {
		t.Errorf("300 columns: %v", err)
	}
	long := []byte("Customer,Address\n" + strings.Repeat("A,1\n", maxRows+1))
	if _, err := ReadLawns(long, "long.csv", nil); !fault.HasCode(err, "too-many-rows") {
		t.Errorf("100,001 rows: %v", err)
	}
}

func TestOldWesternEncoding(t *testing.T) {
	l := read(t, []byte("Customer,Address,Area,Cutting height\nRen\xe9e,1 Wren\x92s Way,400,2\xbd in\n"), "a.csv", nil)
	c := l.Import.Customers[0]
	if len(l.Problems) > 0 || c.Name != "Renée" || c.Properties[0].Address != "1 Wren’s Way" || *c.Properties[0].Areas[0].CuttingHeightIn != 2.5 {
		t.Errorf("read as %+v, problems %v", c, l.Problems)
	}
}

// What the sheet says passes the taking over as it stands.
func TestImportIsTakenOver(t *testing.T) {
	l := read(t, []byte(tidySheet), "a.csv", nil)
	if len(l.Import.Customers) != 2 {
		t.Fatalf("%+v", l.Import)
	}
	l.Import.Customers = l.Import.Customers[:1] // the other has a plan without a season
	planned, err := property.PlanImport(l.Import, property.Known{}, "MD", civilDay)
	if err != nil {
		t.Fatal(err)
	}
	if planned.Customers.Added != 1 || planned.Properties.Added != 1 || planned.Areas.Added != 2 || planned.Plans.Added != 1 {
		t.Errorf("taken over as %+v", planned.Total())
	}
}

func TestFirstAndLastName(t *testing.T) {
	l := read(t, []byte("First name,Last name,Address,Area\nEdda,Ashgrove,1 Wren Way,400\n"), "a.csv", nil)
	if l.Import.Customers[0].Name != "Edda Ashgrove" {
		t.Errorf("read as %+v", l.Import.Customers[0])
	}
	l = read(t, []byte("First name,Last name,Address,Area\nEdda,Ashgrove,1 Wren Way,400\n,,2 Wren Way,400\n"), "a.csv", nil)
	if len(l.Problems) != 1 || l.Problems[0].Column != "B Last name" {
		t.Errorf("no name: %v", l.Problems)
	}
}

var civilDay = civil.MustDate("2026-06-03")
