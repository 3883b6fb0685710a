// Package workbook writes rows as an .xlsx workbook or as CSV, streamed. It
// knows no table and no rule.
package workbook

import (
	"archive/zip"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/klauspost/compress/flate"
	"github.com/xuri/excelize/v2"

	"thirdcut/internal/civil"
)

// MaxRows is how many rows a sheet holds by the file format; a longer sheet
// goes on in the next one, named "Name (2)".
const MaxRows = 1_048_576

// Column is one column of a sheet. Width is in characters.
type Column struct {
	Header string
	Width  float64
}

// Sheet is how a sheet looks. Above are lines of text over the header row
// (title, citation, chain head); they repeat on a continued sheet.
type Sheet struct {
	Name    string
	Above   []string
	Columns []Column
}

// Writer streams a workbook. Use: New, then for each sheet Sheet and Row (or
// Open, for sheets that grow side by side), then Close. Memory stays flat whatever the number of rows: rows spill to a file in
// the temporary folder, which Close and Abort remove.
type Writer struct {
	out    io.Writer
	file   *excelize.File
	dir    string
	style  styles
	last   *open   // what Row writes to; nil: no sheet was started
	beside []*open // what Open started
	sheets int
}

// open is a sheet that rows are still added to.
type open struct {
	*Writer
	sheet  Sheet
	stream *excelize.StreamWriter
	row    int // last row written
	part   int // 1, then 2 for a continued sheet
}

type styles struct{ above, title, header, date, moment, wrapped int }

// New starts a workbook that will be written to out at Close. Temporary files
// go to a folder made under tmp ("" is the system's).
func New(out io.Writer, tmp string) (*Writer, error) {
	dir, err := os.MkdirTemp(tmp, "workbook-*")
	if err != nil {
		return nil, fmt.Errorf("make a temporary folder for the workbook: %w", err)
	}
	w := &Writer{out: out, dir: dir, file: excelize.NewFile(excelize.Options{TmpDir: dir})}
	if err := w.makeStyles(); err != nil {
		w.Abort()
		return nil, err
	}
	return w, nil
}

func (w *Writer) makeStyles() (err error) {
	date, moment := "yyyy-mm-dd", "yyyy-mm-dd hh:mm"
	for _, s := range []struct {
		id    *int
		style excelize.Style
	}{
		{&w.style.title, excelize.Style{Font: &excelize.Font{Bold: true, Size: 14}}},
		{&w.style.above, excelize.Style{Font: &excelize.Font{Color: "444444"}}},
		{&w.style.header, excelize.Style{
			Font:      &excelize.Font{Bold: true},
			Fill:      excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"E6EDE0"}},
			Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"},
			Border:    []excelize.Border{{Type: "bottom", Style: 2, Color: "56704A"}},
		}},
		{&w.style.date, excelize.Style{CustomNumFmt: &date, Alignment: &excelize.Alignment{Vertical: "top"}}},
		{&w.style.moment, excelize.Style{CustomNumFmt: &moment, Alignment: &excelize.Alignment{Vertical: "top"}}},
		{&w.style.wrapped, excelize.Style{Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}}},
	} {
		if *s.id, err = w.file.NewStyle(&s.style); err != nil {
			return fmt.Errorf("make a cell style: %w", err)
		}
	}
	return nil
}

// Sheet ends the sheet before and starts a new one.
func (w *Writer) Sheet(s Sheet) error {
	if w.last != nil {
		if err := w.last.end(); err != nil {
			return err
		}
	}
	w.last = &open{Writer: w, sheet: s, part: 1}
	return w.last.startPart()
}

// Open starts a sheet beside those that are open, so that rows of several
// sheets may be added in turns, and returns what adds a row to it. Sheets stand
// in the order in which they were started; Close ends them all. The arguments
// are a Sheet's in plain types: above, and a header and a width for each column.
func (w *Writer) Open(name string, above, headers []string, widths []float64) (row func(cells ...any) error, err error) {
	if len(headers) != len(widths) {
		return nil, fmt.Errorf("open sheet %s: %d headers with %d widths", name, len(headers), len(widths))
	}
	s := Sheet{Name: name, Above: above, Columns: make([]Column, len(headers))}
	for i := range headers {
		s.Columns[i] = Column{Header: headers[i], Width: widths[i]}
	}
	o := &open{Writer: w, sheet: s, part: 1}
	if err := o.startPart(); err != nil {
		return nil, err
	}
	w.beside = append(w.beside, o)
	return o.add, nil
}

func (w *open) name() string {
	if w.part > 1 {
		return fmt.Sprintf("%s (%d)", w.sheet.Name, w.part)
	}
	return w.sheet.Name
}

func (w *open) startPart() error {
	name := w.name()
	if w.sheets == 0 {
		if err := w.file.SetSheetName("Sheet1", name); err != nil {
			return fmt.Errorf("name sheet %s: %w", name, err)
		}
	} else if _, err := w.file.NewSheet(name); err != nil {
		return fmt.Errorf("add sheet %s: %w", name, err)
	}
	w.sheets++
	headerRow := len(w.sheet.Above) + 1
	if err := w.pageSetup(name, headerRow); err != nil {
		return err
	}
	stream, err := w.file.NewStreamWriter(name)
	if err != nil {
		return fmt.Errorf("open sheet %s: %w", name, err)
	}
	w.stream, w.row = stream, 0
	// Widths and panes are only taken before the first row.
	for i, c := range w.sheet.Columns {
		if err := stream.SetColWidth(i+1, i+1, max(c.Width, 8)); err != nil {
			return fmt.Errorf("set width of %s: %w", c.Header, err)
		}
	}
	top := fmt.Sprintf("A%d", headerRow+1)
	if err := stream.SetPanes(&excelize.Panes{Freeze: true, YSplit: headerRow, TopLeftCell: top, ActivePane: "bottomLeft"}); err != nil {
		return fmt.Errorf("freeze the header: %w", err)
	}
	return w.head()
}

func (w *open) head() error {
	for i, line := range w.sheet.Above {
		style := w.style.above
		if i == 0 {
			style = w.style.title
		}
		if err := w.put([]any{excelize.Cell{StyleID: style, Value: guard(line)}}); err != nil {
			return err
		}
	}
	header := make([]any, len(w.sheet.Columns))
	for i, c := range w.sheet.Columns {
		header[i] = excelize.Cell{StyleID: w.style.header, Value: guard(c.Header)}
	}
	return w.put(header)
}

// pageSetup makes the sheet print: landscape, as wide as the page, the header
// on each page, the page number below.
func (w *Writer) pageSetup(name string, headerRow int) error {
	landscape, fit, one, none := "landscape", true, 1, 0
	if err := w.file.SetSheetProps(name, &excelize.SheetPropsOptions{FitToPage: &fit}); err != nil {
		return fmt.Errorf("set up printing: %w", err)
	}
	if err := w.file.SetPageLayout(name, &excelize.PageLayoutOptions{Orientation: &landscape, FitToWidth: &one, FitToHeight: &none}); err != nil {
		return fmt.Errorf("set up printing: %w", err)
	}
	if err := w.file.SetHeaderFooter(name, &excelize.HeaderFooterOptions{OddFooter: "&L&A&RPage &P of &N"}); err != nil {
		return fmt.Errorf("set up printing: %w", err)
	}
	quoted := "'" + strings.ReplaceAll(name, "'", "''") + "'"
	err := w.file.SetDefinedName(&excelize.DefinedName{Name: "_xlnm.Print_Titles", Scope: name,
		RefersTo: fmt.Sprintf("%s!$%d:$%d", quoted, headerRow, headerRow)})
	if err != nil {
		return fmt.Errorf("repeat the header when printing: %w", err)
	}
	return nil
}

// Row adds a row to the sheet. Cells are string, bool, any Go number, *float64,
// civil.Date, time.Time (written as its own wall clock shows it) or nil.
func (w *Writer) Row(cells ...any) error {
	if w.last == nil {
		return fmt.Errorf("write a row: no sheet was started")
	}
	return w.last.add(cells...)
}

func (w *open) add(cells ...any) error {
	if w.row == MaxRows {
		if err := w.end(); err != nil {
			return err
		}
		w.part++
		if err := w.startPart(); err != nil {
			return err
		}
	}
	out := make([]any, len(cells))
	for i, c := range cells {
		out[i] = w.cell(c)
	}
	return w.put(out)
}

func (w *Writer) cell(v any) any {
	switch v := v.(type) {
	case string:
		return excelize.Cell{StyleID: w.style.wrapped, Value: guard(v)}
	case *float64:
		if v == nil {
			return nil
		}
		return *v
	case civil.Date:
		if v.IsZero() {
			return nil
		}
		return excelize.Cell{StyleID: w.style.date, Value: time.Date(v.Year, v.Month, v.Day, 0, 0, 0, 0, time.UTC)}
	case time.Time:
		if v.IsZero() {
			return nil
		}
		y, m, d := v.Date()
		wall := time.Date(y, m, d, v.Hour(), v.Minute(), v.Second(), 0, time.UTC)
		return excelize.Cell{StyleID: w.style.moment, Value: wall}
	}
	return v
}

func (w *open) put(cells []any) error {
	w.row++
	if err := w.stream.SetRow(fmt.Sprintf("A%d", w.row), cells); err != nil {
		return fmt.Errorf("write row %d of sheet %s: %w", w.row, w.sheet.Name, err)
	}
	return nil
}

func (w *open) end() error {
	if w.stream == nil {
		return nil
	}
	headerRow := len(w.sheet.Above) + 1
	if n := len(w.sheet.Columns); n > 0 {
		last, err := excelize.CoordinatesToCellName(n, max(w.row, headerRow))
		if err != nil {
			return fmt.Errorf("name the last cell: %w", err)
		}
		// The filter is only taken before Flush; after it, it is dropped without a word.
		if err := w.file.AutoFilter(w.name(), fmt.Sprintf("A%d:%s", headerRow, last), nil); err != nil {
			return fmt.Errorf("add the filter: %w", err)
		}
	}
	if err := w.stream.Flush(); err != nil {
		return fmt.Errorf("finish sheet %s: %w", w.sheet.Name, err)
	}
	w.stream = nil
	return nil
}

// Close ends the last sheet and writes the whole workbook to the output.
func (w *Writer) Close() error {
	defer w.Abort()
	for _, o := range append(w.beside, w.last) {
		if o == nil {
			continue
		}
		if err := o.end(); err != nil {
			return err
		}
	}
	// Without a zip writer of our own the library gathers the whole file in memory.
	w.file.SetZipWriter(func(io.Writer) excelize.ZipWriter {
		z := zip.NewWriter(w.out)
		z.RegisterCompressor(zip.Deflate, func(out io.Writer) (io.WriteCloser, error) {
			return flate.NewWriter(out, flate.BestSpeed)
		})
		return z
	})
	if _, err := w.file.WriteToBuffer(); err != nil {
		return fmt.Errorf("write the workbook: %w", err)
	}
	return nil
}

// Abort drops the workbook and its temporary files. It is safe after Close.
func (w *Writer) Abort() {
	_ = w.file.Close() // only temporary files are behind it, removed below
	_ = os.RemoveAll(w.dir)
}

// guard keeps a text from being read as a formula by a spreadsheet (OWASP ASVS
// 5.0, 1.2.10): text that starts with one of = + - @ TAB CR NUL gets a quote mark in front.
func guard(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r\x00", rune(s[0])) {
		return "'" + s
	}
	return s
}
