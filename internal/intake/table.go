// Package intake reads what people bring: office sheets, weather files and
// outlines. It takes a whole file or says, place by place, why not.
package intake

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"thirdcut/internal/fault"
)

// Limits of a file that is taken. A sheet of 10,000 lawns has about 3 MB.
const (
	MaxBytes     = 32 << 20  // of the file
	maxUnzipped  = 256 << 20 // of a workbook, unpacked
	maxRows      = 100_000
	maxColumns   = 200
	mostProblems = 1000 // listed; the rest is counted
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
	sheet string
	rows  []tableRow
}

type tableRow struct {
	line  int
	cells []string
}

// readTable reads a CSV or XLSX file as rows of text; blank lines are dropped.
func readTable(data []byte, name string) (table, error) {
	if len(data) > MaxBytes {
		return table{}, fault.New(fault.TooLarge, "file-too-large", "%s has %d MB; a sheet may have %d MB at most: split it", name, len(data)>>20, MaxBytes>>20)
	}
	if len(bytes.TrimSpace(data)) == 0 {
		return table{}, fault.New(fault.Invalid, "empty-file", "%s is empty", name)
	}
	switch {
	case bytes.HasPrefix(data, []byte("PK\x03\x04")):
		return readWorkbook(data, name)
	case bytes.HasPrefix(data, []byte("\xd0\xcf\x11\xe0")):
		return table{}, fault.New(fault.Invalid, "old-workbook", "%s is an old .xls workbook or one with a password; save it as .xlsx without a password, or as CSV", name)
	}
	return readCSV(data, name)
}

func readWorkbook(data []byte, name string) (table, error) {
	unreadable := func(err error) error {
		return fault.New(fault.Invalid, "bad-workbook", "%s cannot be read as a workbook; save it again as .xlsx or as CSV", name).Because(err)
	}
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return table{}, unreadable(err)
	}
	var unpacked uint64
	for _, f := range z.File {
		unpacked += f.UncompressedSize64
	}
	if unpacked > maxUnzipped {
		return table{}, fault.New(fault.TooLarge, "file-too-large", "%s unpacks to %d MB, more than any sheet of lawns has; it is refused", name, unpacked>>20)
	}
	f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{RawCellValue: true, UnzipSizeLimit: maxUnzipped, UnzipXMLSizeLimit: maxUnzipped})
	if err != nil {
		return table{}, unreadable(err)
	}
	defer f.Close()
	for _, sheet := range f.GetSheetList() {
		t, err := readSheet(f, sheet)
		if err != nil {
			return table{}, err
		}
		if len(t.rows) > 0 {
			return t, nil // the first sheet that has anything
		}
	}
	return table{}, fault.New(fault.Invalid, "empty-file", "%s has no rows in any sheet", name)
}

func readSheet(f *excelize.File, sheet string) (table, error) {
	t := table{sheet: sheet}
	rows, err := f.Rows(sheet)
	if err != nil {
		return t, fmt.Errorf("read sheet %s: %w", sheet, err)
	}
	defer rows.Close()
	for line := 1; rows.Next(); line++ {
		cells, err := rows.Columns()
		if err != nil {
			return t, fault.New(fault.Invalid, "bad-workbook", "sheet %s, line %d cannot be read; save the workbook again", sheet, line).Because(err)
		}
		if err := t.add(line, cells); err != nil {
			return t, err
		}
	}
	return t, rows.Error()
}

// add keeps a row that has anything in it.
func (t *table) add(line int, cells []string) error {
	blank := true
	for i, c := range cells {
		cells[i] = strings.TrimSpace(strings.ReplaceAll(c, "\u00a0", " "))
		blank = blank && cells[i] == ""
	}
	if blank {
		return nil
	}
	if len(t.rows) == maxRows {
		return fault.New(fault.TooLarge, "too-many-rows", "the file has more than %d rows; split it", maxRows)
	}
	if len(cells) > maxColumns {
		return fault.New(fault.Invalid, "too-many-columns", "line %d has %d columns, more than any sheet of ours; is it the right file?", line, len(cells))
	}
	t.rows = append(t.rows, tableRow{line, cells})
	return nil
}

func readCSV(data []byte, name string) (table, error) {
	text, err := asUTF8(data, name)
	if err != nil {
		return table{}, err
	}
	r := csv.NewReader(strings.NewReader(text))
	r.Comma = separatorOf(text)
	r.FieldsPerRecord = -1 // short and long rows are judged by their cells
	var t table
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			return t, nil
		}
		var parse *csv.ParseError
		if errors.As(err, &parse) {
			return t, fault.New(fault.Invalid, "bad-csv", "%s, line %d, character %d: a quote is opened and not closed, or stands in the middle of a cell; put the whole cell in quotes and double those inside", name, parse.StartLine, parse.Column).Because(err)
		}
		if err != nil {
			return t, fmt.Errorf("read %s: %w", name, err)
		}
		line, _ := r.FieldPos(0)
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
		b.WriteRune(rune(c))
	}
	return b.String(), nil
}

// separatorOf finds what parts the cells of the first line: comma, semicolon or tab.
func separatorOf(text string) rune {
	text = strings.TrimLeft(text, "\r\n \t")
	first, _, _ := strings.Cut(text, "\n")
	best, most := ',', 0
	quoted := false
	counts := map[rune]int{}
	for _, r := range first {
		if r == '"' {
			quoted = !quoted
		} else if !quoted {
			counts[r]++
		}
	}
	for _, r := range []rune{',', ';', '\t'} {
		if counts[r] > most {
			best, most = r, counts[r]
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
