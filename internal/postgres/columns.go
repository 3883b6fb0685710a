package postgres

import (
	"context"
	"database/sql"
	"fmt"
	"strings"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
)

// inSnapshot runs f in one read-only transaction in which every query sees the
// same moment, so that what several queries put together fits together.
func (db *DB) inSnapshot(ctx context.Context, f func(q sqlx.ExtContext) error) error {
	tx, err := db.BeginTxx(ctx, &sql.TxOptions{Isolation: sql.LevelRepeatableRead, ReadOnly: true})
	if err != nil {
		return fmt.Errorf("begin reading: %w", err)
	}
	defer tx.Rollback() // nothing to keep
	return translate(f(tx))
}

// idArray writes ids for a uuid[] parameter: `= any($1::uuid[])`.
func idArray(ids []uuid.UUID) pq.StringArray {
	texts := make(pq.StringArray, len(ids))
	for i, id := range ids {
		texts[i] = id.String()
	}
	return texts
}

// dateArray writes dates for a date[] parameter.
func dateArray(dates []civil.Date) pq.StringArray {
	texts := make(pq.StringArray, len(dates))
	for i, d := range dates {
		texts[i] = d.String()
	}
	return texts
}

// datesOf reads a date[] selected as text[].
func datesOf(texts pq.StringArray) ([]civil.Date, error) {
	var dates []civil.Date
	for _, t := range texts {
		d, err := civil.ParseDate(t)
		if err != nil {
			return nil, fmt.Errorf("read date list: %w", err)
		}
		dates = append(dates, d)
	}
	return dates, nil
}

// intsOf reads a smallint[].
func intsOf(a pq.Int64Array) []int {
	var ints []int
	for _, v := range a {
		ints = append(ints, int(v))
	}
	return ints
}

// intArray writes a smallint[]; nil is the empty list.
func intArray(ints []int) pq.Int64Array {
	a := make(pq.Int64Array, len(ints))
	for i, v := range ints {
		a[i] = int64(v)
	}
	return a
}

// textArray writes any list of words for a text[]; nil is the empty list.
func textArray[T ~string](words []T) pq.StringArray {
	a := make(pq.StringArray, len(words))
	for i, w := range words {
		a[i] = string(w)
	}
	return a
}

// wordsOf reads a text[] as words.
func wordsOf[T ~string](a pq.StringArray) []T {
	var words []T
	for _, w := range a {
		words = append(words, T(w))
	}
	return words
}

// textOrNull stores the empty text as NULL.
func textOrNull[T ~string](s T) any {
	if s == "" {
		return nil
	}
	return string(s)
}

// floatOrNull stores zero as NULL, for sizes that are positive where they are known.
func floatOrNull(f float64) any {
	if f == 0 {
		return nil
	}
	return f
}

// timeOfDayOf reads a time selected as text, so that 24:00 stays 24:00.
func timeOfDayOf(s sql.NullString) (*civil.TimeOfDay, error) {
	if !s.Valid {
		return nil, nil
	}
	t, err := civil.ParseTimeOfDay(s.String)
	if err != nil {
		return nil, fmt.Errorf("read time of day: %w", err)
	}
	return &t, nil
}

// noSuch answers fault.NotFound for an id that nothing has; the code is the word for the thing.
func noSuch(thing string, id any) error {
	return fault.New(fault.NotFound, strings.ReplaceAll(thing, " ", "-"), "there is no %s %v; it may have been removed, or the address is wrong", thing, id)
}
