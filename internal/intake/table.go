// Package intake reads what people bring: office sheets, weather files and
// outlines. It takes a whole file or says, place by place, why not.
package intake

import (
	"archive/zip"
	"bytes"
	"fmt"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"thirdcut/internal/fault"
)

// Limits of a file that is taken. A sheet of 10,000 lawns has about 3 MB, and
// unpacked about 15.
const (
	MaxBytes     = 32 << 20  // of the file
	maxUnzipped  = 256 << 20 // of a workbook, unpacked
	inMemory     = 16 << 20  // a sheet above this is unpacked to disk and read from there
	maxRows      = 100_000
	maxColumns   = 200
	mostProblems = 1000 // listed; the rest is counted
	longestValue = 80   // characters of a wrong cell that are shown
	headerDepth  = 10   // rows among which the headers are looked for
)

// Problem is one place of a file that cannot be taken. Line counts from 1 as
// an editor or a spreadsheet shows it; Column is its letter and header.
type Problem struct {
	Sheet  string `json:"sheet,omitempty"`
	Line   int    `json:"line"`
	Column string `json:"column,omitempty"`
	Value  string `json:"value,omitempty"`
	Reason string `json:"reason"`
}

// String says the place and the reason in one sentence.
func (p Problem) String() string {
	var b strings.Builder
	if p.Sheet != "" {
		fmt.Fprintf(&b, "sheet %s, ", p.Sheet)
	}
	fmt.Fprintf(&b, "line %d", p.Line)
	if p.Column != "" {
		fmt.Fprintf(&b, ", column %s", p.Column)
	}
	if p.Value != "" {
		fmt.Fprintf(&b, ", value %q", p.Value)
	}
	return b.String() + ": " + p.Reason
}

// table is a sheet's rows of texts with the line on which each stands.
type table struct {
	sheet    string   // empty for CSV
	others   []string // sheets of the workbook that have rows and were not read
	from1904 bool     // the workbook counts its dates from 1904
	rows     []tableRow
}

type tableRow struct {
	line  int
	cells []string
}

// headerScore says how much a row looks like the headers that are looked for.
type headerScore func(cells []string) int

// readTable reads a CSV or XLSX file as rows of text, the headers first; blank
// lines are dropped, and titles above the headers are returned apart. Of a
// workbook it reads the sheet whose headers fit best.
func readTable(data []byte, name string, score headerScore) (t table, above []tableRow, err error) {
	if len(data) > MaxBytes {
		return table{}, nil, fault.New(fault.TooLarge, "file-too-large", "%s has %d MB; a sheet may have %d MB at most: split it", name, len(data)>>20, MaxBytes>>20)
	}
	switch {
	case len(bytes.TrimSpace(data)) == 0:
		return table{}, nil, emptyFile(name)
	case isWorkbook(data):
		t, err = readWorkbook(data, name, score)
	case bytes.HasPrefix(data, []byte("\xd0\xcf\x11\xe0")):
		err = fault.New(fault.Invalid, "old-workbook", "%s is an old .xls workbook or one with a password; save it as .xlsx without a password, or as CSV", name)
	default:
		t, err = readCSV(data, name)
	}
	if err != nil {
		return table{}, nil, err
	}
	if len(t.rows) == 0 {
		return table{}, nil, emptyFile(name)
	}
	at, _ := bestHeader(t.rows, score)
	above, t.rows = t.rows[:at], t.rows[at:]
	return t, above, nil
}

func isWorkbook(data []byte) bool { return bytes.HasPrefix(data, []byte("PK\x03\x04")) }

func emptyFile(name string) error { return fault.New(fault.Invalid, "empty-file", "%s is empty", name) }

// bestHeader finds the row that looks most like headers among the first ones.
func bestHeader(rows []tableRow, score headerScore) (at, best int) {
	for i, r := range rows[:min(len(rows), headerDepth)] {
		if s := score(r.cells); s > best {
			at, best = i, s
		}
	}
	return at, best
}

func readWorkbook(data []byte, name string, score headerScore) (table, error) {
	unreadable := func(err error) error {
		return fault.New(fault.Invalid, "bad-workbook", "%s cannot be read as a workbook; save it again as .xlsx or as CSV", name).Because(err)
	}
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return table{}, unreadable(err)
	}
	// The sizes that the archive states hold: reading more than stated fails.
	var unpacked uint64
	for _, f := range z.File {
		if unpacked += f.UncompressedSize64; f.UncompressedSize64 > maxUnzipped || unpacked > maxUnzipped {
			return table{}, fault.New(fault.TooLarge, "file-too-large", "%s unpacks to more than %d MB, which no sheet of lawns does; it is refused", name, maxUnzipped>>20)
		}
	}
	f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{RawCellValue: true, UnzipSizeLimit: maxUnzipped, UnzipXMLSizeLimit: inMemory})
	if err != nil {
		return table{}, unreadable(err)
	}
	defer f.Close()
	t, err := pickSheet(f, score)
	if err != nil {
		return table{}, err
	}
	if t.sheet == "" {
		return table{}, fault.New(fault.Invalid, "empty-file", "%s has no rows in any sheet", name)
	}
	full, err := readSheet(f, t.sheet, maxRows)
	if err != nil {
		return table{}, err
	}
	full.others = t.others
	if props, err := f.GetWorkbookProps(); err == nil && props.Date1904 != nil {
		full.from1904 = *props.Date1904
	}
	return full, nil
}

// pickSheet looks at the first rows of every sheet.
func pickSheet(f *excelize.File, score headerScore) (table, error) {
	var picked table
	best := -1
	for _, sheet := range f.GetSheetList() {
		t, err := readSheet(f, sheet, headerDepth)
		if err != nil {
			return table{}, err
		}
		if len(t.rows) == 0 {
			continue
		}
		if _, s := bestHeader(t.rows, score); s > best {
			if picked.sheet != "" {
				t.others = append(picked.others, picked.sheet)
			}
			picked, best = t, s
		} else {
			picked.others = append(picked.others, sheet)
		}
	}
	return picked, nil
}

// readSheet reads up to the given number of rows; more than maxRows is a fault.
func readSheet(f *excelize.File, sheet string, most int) (table, error) {
	t := table{sheet: sheet}
	unreadable := func(line int, err error) error {
		return fault.New(fault.Invalid, "bad-workbook", "sheet %s, line %d cannot be read; save the workbook again as .xlsx or as CSV", sheet, line).Because(err)
	}
	rows, err := f.Rows(sheet)
	if err != nil {
		return t, unreadable(1, err)
	}
	defer rows.Close()
	for line := 1; rows.Next(); line++ {
		cells, err := rows.Columns()
		if err != nil {
			return t, unreadable(line, err)
		}
		if err := t.add(line, cells); err != nil {
			return t, err
		}
		if len(t.rows) == most && most < maxRows {
			break
		}
	}
	if err := rows.Error(); err != nil {
		return t, unreadable(1, err)
	}
	return t, nil
}

// add keeps a row that has anything in it, without the blank cells at its end.
func (t *table) add(line int, cells []string) error {
	last := 0
	for i, c := range cells {
		if c = clean(c); c != "" {
			last = i + 1
		}
		cells[i] = c
	}
	if last == 0 {
		return nil
	}
	if len(t.rows) == maxRows {
		return fault.New(fault.TooLarge, "too-many-rows", "the file has more than %d rows; split it", maxRows)
	}
	if last > maxColumns {
		return tooManyColumns(line, last)
	}
	t.rows = append(t.rows, tableRow{line, cells[:last]})
	return nil
}

func tooManyColumns(line, n int) error {
	return fault.New(fault.Invalid, "too-many-columns", "line %d has %d columns or more, and %d are the most; is it the right file?", line, n, maxColumns)
}

// clean takes off blanks around the cell, and the quote mark by which our own
// exports keep a text such as +1 555 0101 from being taken for a formula, and
// offices keep the zeros of 0042.
func clean(c string) string {
	if strings.Contains(c, "\u00a0") {
		c = strings.ReplaceAll(c, "\u00a0", " ")
	}
	c = strings.TrimSpace(c)
	if len(c) > 1 && c[0] == '\'' && strings.IndexByte("=+-@0123456789", c[1]) >= 0 {
		return c[1:]
	}
	return c
}

func readCSV(data []byte, name string) (table, error) {
	text, err := asUTF8(data, name)
	if err != nil {
		return table{}, err
	}
	r := newCSVReader(text, name)
	var t table
	for {
		cells, line, more, err := r.row()
		if err != nil || !more {
			return t, err
		}
		if err := t.add(line, cells); err != nil {
			return t, err
		}
	}
}

// asUTF8 takes off the byte order mark and turns the two encodings that office
// programs write beside UTF-8 into it.
func asUTF8(data []byte, name string) (string, error) {
	switch {
	case bytes.HasPrefix(data, []byte("\xef\xbb\xbf")):
		data = data[3:]
	case bytes.HasPrefix(data, []byte("\xff\xfe")), bytes.HasPrefix(data, []byte("\xfe\xff")):
		big := data[0] == 0xfe
		units := make([]uint16, 0, len(data)/2)
		for i := 2; i+1 < len(data); i += 2 {
			if big {
				units = append(units, uint16(data[i])<<8|uint16(data[i+1]))
			} else {
				units = append(units, uint16(data[i+1])<<8|uint16(data[i]))
			}
		}
		return string(utf16.Decode(units)), nil
	}
	if bytes.IndexByte(data, 0) >= 0 {
		return "", fault.New(fault.Invalid, "not-text", "%s is neither a workbook nor text; save the sheet as .xlsx or as CSV", name)
	}
	if utf8.Valid(data) {
		return string(data), nil
	}
	// Not UTF-8: the old Western encoding, in which every byte is a sign.
	var b strings.Builder
	for _, c := range data {
		if c >= 0x80 && c < 0xa0 {
			b.WriteRune(western[c-0x80])
		} else {
			b.WriteRune(rune(c))
		}
	}
	return b.String(), nil
}

// western is what the bytes 0x80 to 0x9f are in the encoding windows-1252; the
// others are those of Unicode.
var western = []rune("€\u0081‚ƒ„…†‡ˆ‰Š‹Œ\u008dŽ\u008f\u0090‘’“”•–—˜™š›œ\u009džŸ")

// separatorOf finds what parts the cells of the first lines: comma, semicolon or tab.
func separatorOf(text string) byte {
	counts := [256]int{}
	quoted, lines := false, 0
	for i := 0; i < len(text) && lines < headerDepth; i++ {
		switch c := text[i]; {
		case c == '"':
			quoted = !quoted
		case c == '\n':
			quoted = false
			lines++
		case !quoted:
			counts[c]++
		}
	}
	best := byte(',')
	for _, c := range []byte{';', '\t'} {
		if counts[c] > counts[best] {
			best = c
		}
	}
	return best
}

// columnLetter names a column from 0 as spreadsheets do.
func columnLetter(i int) string {
	name, err := excelize.ColumnNumberToName(i + 1)
	if err != nil {
		return fmt.Sprint(i + 1)
	}
	return name
}

// Where says the place alone: "sheet Lawns, line 12, column C Area, value \"x\"".
func (p Problem) Where() string {
	bare := p
	bare.Reason = ""
	return strings.TrimSuffix(bare.String(), ": ")
}
