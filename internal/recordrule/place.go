package recordrule

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"thirdcut/internal/fault"
)

// document is a JSON file that can tell line and column of every value in it.
// Places are JSON Pointers.
type document struct {
	name   string
	code   string // of its faults: rule-file, records-file
	data   []byte
	starts map[string]int64 // see places
}

// readDocument checks that the data is one JSON value without doubled keys.
func readDocument(name, code string, data []byte) (*document, error) {
	d := &document{name: name, code: code, data: bytes.TrimPrefix(data, []byte("\ufeff"))}
	var whole json.RawMessage
	if err := json.Unmarshal(d.data, &whole); err != nil { // also bounds the depth for walk
		return nil, d.unreadable(err)
	}
	dec := json.NewDecoder(bytes.NewReader(d.data))
	if err := d.walk(dec, nil, func([]string, int64) {}); err != nil {
		return nil, err
	}
	return d, nil
}

// isObject and isList say what the whole document is.
func (d *document) isObject() bool {
	return bytes.HasPrefix(bytes.TrimLeft(d.data, " \t\r\n"), []byte("{"))
}
func (d *document) isList() bool {
	return bytes.HasPrefix(bytes.TrimLeft(d.data, " \t\r\n"), []byte("["))
}

// walk visits every value with its path and where it starts, and refuses a key
// that stands twice in one object. The data is known to be valid JSON.
func (d *document) walk(dec *json.Decoder, path []string, visit func([]string, int64)) error {
	start := dec.InputOffset()
	for start < int64(len(d.data)) && strings.IndexByte(" \t\r\n:,", d.data[start]) >= 0 {
		start++
	}
	visit(path, start)
	token, err := dec.Token()
	if err != nil {
		return d.unreadable(err)
	}
	open, ok := token.(json.Delim)
	if !ok {
		return nil
	}
	seen := map[string]bool{}
	for i := 0; dec.More(); i++ {
		child := strconv.Itoa(i)
		if open == '{' {
			key, err := dec.Token()
			if err != nil {
				return d.unreadable(err)
			}
			if child = key.(string); seen[child] {
				return fault.New(fault.Invalid, d.code, "%s, %s: the key %q stands there twice", d.name, d.where(dec.InputOffset()-1), child)
			}
			seen[child] = true
		}
		if err := d.walk(dec, append(path, child), visit); err != nil {
			return err
		}
	}
	if _, err := dec.Token(); err != nil {
		return d.unreadable(err)
	}
	return nil
}

// places returns where each value starts. It is made when first asked for, so
// that a large file of records without fault does without.
func (d *document) places() map[string]int64 {
	if d.starts == nil {
		d.starts = map[string]int64{}
		// The walk went through once already, so it cannot fail here.
		_ = d.walk(json.NewDecoder(bytes.NewReader(d.data)), nil, func(path []string, start int64) {
			var pointer strings.Builder
			for _, step := range path {
				pointer.WriteString("/" + escapePointer(step))
			}
			d.starts[pointer.String()] = start
		})
	}
	return d.starts
}

func escapePointer(key string) string {
	return strings.NewReplacer("~", "~0", "/", "~1").Replace(key)
}

// into decodes the document.
func (d *document) into(v any) error {
	if err := json.Unmarshal(d.data, v); err != nil {
		return d.unreadable(err)
	}
	return nil
}

// where writes the line and column of an offset, both from 1, columns in characters.
func (d *document) where(offset int64) string {
	offset = min(max(offset, 0), int64(len(d.data)))
	before := d.data[:offset]
	line := 1 + bytes.Count(before, []byte("\n"))
	column := 1 + utf8.RuneCount(before[bytes.LastIndexByte(before, '\n')+1:])
	return fmt.Sprintf("line %d, column %d", line, column)
}

// bad is a fault of the file at the place of a value.
func (d *document) bad(pointer, format string, args ...any) *fault.Error {
	return fault.New(fault.Invalid, d.code, "%s, %s: %s", d.name, d.where(d.places()[pointer]), fmt.Sprintf(format, args...))
}

// unreadable turns an error of the JSON reader into a fault with its place.
func (d *document) unreadable(err error) error {
	if fault.As(err) != nil {
		return err
	}
	var syntax *json.SyntaxError
	var wrong *json.UnmarshalTypeError
	switch {
	case errors.As(err, &syntax):
		return fault.New(fault.Invalid, d.code, "%s, %s: this is no JSON that can be read; look at what stands just before", d.name, d.where(syntax.Offset-1)).Because(err)
	case errors.As(err, &wrong):
		return fault.New(fault.Invalid, d.code, "%s, %s: %q cannot be a JSON %s", d.name, d.where(wrong.Offset), wrong.Field, wrong.Value).Because(err)
	}
	return fault.New(fault.Invalid, d.code, "%s cannot be read: %v", d.name, err).Because(err)
}
