// Package export makes the files that leave the company: application records
// for an inspection, as a workbook or as CSV.
package export

import (
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
)

// File is one export, asked for, under way or ready.
type File struct {
	ID         uuid.UUID
	Kind       string // application_records
	Format     string // xlsx csv
	RuleID     string
	From, To   civil.Date
	State      string // asked running ready failed
	RowsDone   int64
	RowsTotal  int64
	FileName   string
	SizeBytes  int64
	SHA256     []byte
	ChainSeq   int64
	ChainHash  []byte
	Problem    string
	AskedBy    uuid.UUID
	AskedAt    time.Time
	FinishedAt time.Time
}
