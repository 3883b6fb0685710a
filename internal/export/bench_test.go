package export_test

import (
	"context"
	"io"
	"testing"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/export"
	"thirdcut/internal/workbook"
)

// BenchmarkTwentyThousandRecords writes 20,000 sealed records as a workbook,
// read from their texts as the database hands them over, and beside it, in the
// same run, the same cells through the bare workbook writer, and the texts
// unsealed alone. Look at the ratio, not at the seconds.
func BenchmarkTwentyThousandRecords(b *testing.B) {
	const n = 20_000
	s := &sealedShelf{shelf: shelf{}}
	day := civil.MustDate("2026-04-01")
	for i := range n {
		text, _, err := application.Seal(record(int64(i+1), day.AddDays(i/400).String()).Record, application.Hash{})
		if err != nil {
			b.Fatal(err)
		}
		s.texts = append(s.texts, text)
	}
	v := service(&s.shelf)
	v.Store = s
	from, to := day, day.AddDays(n/400)

	var sheets []captured
	b.Run("unseal", func(b *testing.B) {
		for b.Loop() {
			for _, t := range s.texts {
				if _, err := application.Unseal(t); err != nil {
					b.Fatal(err)
				}
			}
		}
		b.ReportMetric(n*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
	})
	b.Run("export", func(b *testing.B) {
		for b.Loop() {
			if _, err := v.WriteRule(context.Background(), "us-md", from, to, io.Discard); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(n*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
	})
	v.NewBook = func(io.Writer) (export.Book, error) { return &capture{&sheets}, nil }
	if _, err := v.WriteRule(context.Background(), "us-md", from, to, io.Discard); err != nil {
		b.Fatal(err)
	}
	b.Run("bare writer", func(b *testing.B) {
		for b.Loop() {
			bare(b, sheets)
		}
		b.ReportMetric(n*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
	})
}

// sealedShelf hands over records as texts that must be unsealed.
type sealedShelf struct {
	shelf
	texts []string
}

func (s *sealedShelf) ReadRecords(_ context.Context, _, _ civil.Date, begin func(application.Head, int64) error, each func(export.Row) error) error {
	if err := begin(s.head, int64(len(s.texts))); err != nil {
		return err
	}
	for _, text := range s.texts {
		r, err := application.Unseal(text)
		if err != nil {
			return err
		}
		if err := each(export.Row{Record: r}); err != nil {
			return err
		}
	}
	return nil
}

// captured is a sheet whose rows were kept instead of written.
type captured struct {
	name           string
	above, headers []string
	widths         []float64
	rows           [][]any
}

type capture struct{ sheets *[]captured }

func (c *capture) Open(name string, above, headers []string, widths []float64) (func(cells ...any) error, error) {
	at := len(*c.sheets)
	*c.sheets = append(*c.sheets, captured{name, above, headers, widths, nil})
	return func(cells ...any) error {
		(*c.sheets)[at].rows = append((*c.sheets)[at].rows, cells)
		return nil
	}, nil
}

func (c *capture) Close() error { return nil }
func (c *capture) Abort()       {}

func bare(b *testing.B, sheets []captured) {
	w, err := workbook.New(io.Discard, "")
	if err != nil {
		b.Fatal(err)
	}
	for _, s := range sheets {
		row, err := w.Open(s.name, s.above, s.headers, s.widths)
		if err != nil {
			b.Fatal(err)
		}
		for _, cells := range s.rows {
			if err := row(cells...); err != nil {
				b.Fatal(err)
			}
		}
	}
	if err := w.Close(); err != nil {
		b.Fatal(err)
	}
}
