package export

import (
	"context"
	"io"

	"thirdcut/internal/civil"
	"thirdcut/internal/recordrule"
)

// Header is the heading of a column, for the tests.
func Header(c recordrule.Column) string { return header(c) }

// WriteVersions writes the workbook of several versions of one rule, for the tests.
func (s *Service) WriteVersions(ctx context.Context, rules []recordrule.Rule, from, to civil.Date, out io.Writer) (Summary, error) {
	return s.writeBook(ctx, rules, from, to, out)
}
