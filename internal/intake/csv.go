package intake

import (
	"strings"
	"unicode/utf8"

	"thirdcut/internal/fault"
)

// csvReader reads rows as RFC 4180 writes them, also with line feeds alone. It
// differs from strict readers in one thing: a quote mark inside a cell that does
// not begin with one is a sign like any other, since offices write inches with
// it (2 1/2"). An opened quote that is never closed is an error that names
// where it opened, so that it cannot swallow the rows after it.
type csvReader struct {
	name  string
	text  string
	comma byte
	at    int
	line  int // of the next row, from 1
	start int // where the line of at begins
}

func newCSVReader(text, name string) *csvReader {
	if !strings.Contains(text, "\n") {
		text = strings.ReplaceAll(text, "\r", "\n") // the line ends of old
	}
	return &csvReader{name: name, text: text, comma: separatorOf(text), line: 1}
}

// row returns the next row's cells and the line on which it begins; false at the end.
func (r *csvReader) row() (cells []string, line int, more bool, err error) {
	if r.at >= len(r.text) {
		return nil, 0, false, nil
	}
	line = r.line
	for {
		cell, last, err := r.cell()
		if err != nil {
			return nil, line, false, err
		}
		cells = append(cells, cell)
		if len(cells) > 10*maxColumns {
			return nil, line, false, tooManyColumns(line, len(cells))
		}
		if last {
			return cells, line, true, nil
		}
	}
}

// cell reads one cell and what parts it from the next; last says that the row ends.
func (r *csvReader) cell() (cell string, last bool, err error) {
	rest := strings.TrimLeft(r.text[r.at:], " ")
	if strings.HasPrefix(rest, `"`) {
		r.at = len(r.text) - len(rest)
		return r.quoted()
	}
	end := strings.IndexAny(r.text[r.at:], string(r.comma)+"\n")
	if end < 0 {
		end = len(r.text) - r.at
	}
	cell = strings.TrimSuffix(r.text[r.at:r.at+end], "\r")
	r.at += end
	return cell, r.part(), nil
}

func (r *csvReader) quoted() (string, bool, error) {
	opened, openedAt := r.line, r.character()
	var b strings.Builder
	for r.at++; ; {
		end := strings.IndexByte(r.text[r.at:], '"')
		if end < 0 {
			return "", false, r.bad(opened, openedAt, "a quote mark opens a cell and nothing closes it; close it, or take it out")
		}
		piece := r.text[r.at : r.at+end]
		b.WriteString(piece)
		r.newLines(piece)
		r.at += end + 1
		if strings.HasPrefix(r.text[r.at:], `"`) {
			b.WriteByte('"')
			r.at++
			continue
		}
		break
	}
	rest := strings.TrimLeft(r.text[r.at:], " \r")
	if rest != "" && rest[0] != r.comma && rest[0] != '\n' {
		return "", false, r.bad(r.line, r.character(), "something follows a closed quote mark; put the whole cell in quotes and double those inside")
	}
	r.at = len(r.text) - len(rest)
	return b.String(), r.part(), nil
}

// part passes over what parts two cells or rows.
func (r *csvReader) part() (last bool) {
	if r.at >= len(r.text) {
		return true
	}
	last = r.text[r.at] == '\n'
	r.at++
	if last {
		r.line++
		r.start = r.at
	}
	return last
}

func (r *csvReader) newLines(piece string) {
	if i := strings.LastIndexByte(piece, '\n'); i >= 0 {
		r.line += strings.Count(piece, "\n")
		r.start = r.at + i + 1
	}
}

func (r *csvReader) character() int { return utf8.RuneCountInString(r.text[r.start:r.at]) + 1 }

func (r *csvReader) bad(line, character int, words string) error {
	return fault.New(fault.Invalid, "bad-csv", "%s, line %d, character %d: %s", r.name, line, character, words)
}
