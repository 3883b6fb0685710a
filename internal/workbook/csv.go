package workbook

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"time"

	"thirdcut/internal/civil"
)

// CSV streams rows as RFC 4180 text: UTF-8, CRLF, one header row. Numbers are
// written as numbers, text is guarded as in the workbook.
type CSV struct {
	w     *csv.Writer
	width int
}

// NewCSV starts the file with its header row.
func NewCSV(out io.Writer, header []string) (*CSV, error) {
	c := &CSV{w: csv.NewWriter(out), width: len(header)}
	c.w.UseCRLF = true
	guarded := make([]string, len(header))
	for i, h := range header {
		guarded[i] = guard(h)
	}
	if err := c.w.Write(guarded); err != nil {
		return nil, fmt.Errorf("write the header: %w", err)
	}
	return c, nil
}

// Row adds a row of as many cells as the header has; the cells are those of Writer.Row.
func (c *CSV) Row(cells ...any) error {
	if len(cells) != c.width {
		return fmt.Errorf("write a row: %d cells under %d headers", len(cells), c.width)
	}
	texts := make([]string, len(cells))
	for i, v := range cells {
		texts[i] = csvText(v)
	}
	if err := c.w.Write(texts); err != nil {
		return fmt.Errorf("write a row: %w", err)
	}
	return nil
}

func csvText(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		return guard(v)
	case bool:
		return strconv.FormatBool(v)
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case *float64:
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'f', -1, 64)
	case civil.Date:
		return v.String()
	case time.Time:
		if v.IsZero() {
			return ""
		}
		return v.Format("2006-01-02 15:04")
	}
	return fmt.Sprint(v)
}

// Close writes what is left.
func (c *CSV) Close() error {
	c.w.Flush()
	if err := c.w.Error(); err != nil {
		return fmt.Errorf("finish the file: %w", err)
	}
	return nil
}
