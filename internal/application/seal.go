package application

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"
)

// Hash is a SHA-256. The zero value stands before the first record.
type Hash [sha256.Size]byte

// String writes the hash in hexadecimal.
func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// Head is the end of the chain at some moment: what an export prints so that
// records removed later can be told.
type Head struct {
	Seq  int64
	Hash Hash
}

// Sealed is a record as it was kept, with its place in the chain.
type Sealed struct {
	Record
	Text         string // canonical JSON, what the hash is taken of
	PrevHash     Hash
	Hash         Hash
	SupersededBy uuid.UUID // the correction, where there is one
}

// Canonical writes a JSON value with sorted keys and without blanks, numbers as
// they stand: the same content gives the same bytes.
func Canonical(value []byte) ([]byte, error) {
	dec := json.NewDecoder(bytes.NewReader(value))
	dec.UseNumber()
	var v any
	if err := dec.Decode(&v); err != nil {
		return nil, err
	}
	if dec.More() {
		return nil, fmt.Errorf("more than one JSON value")
	}
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil { // maps are written by key
		return nil, err
	}
	return bytes.TrimSuffix(out.Bytes(), []byte("\n")), nil
}

// Chain is the hash of a sealed text that follows a record of that hash.
func Chain(prev Hash, text string) Hash {
	h := sha256.New()
	h.Write(prev[:])
	h.Write([]byte(text))
	return Hash(h.Sum(nil))
}

// Seal writes the record as canonical JSON and chains it to the one before it:
// hash = SHA-256(hash before, text). Times are written in UTC to the
// microsecond, which is what the database keeps.
func Seal(rec Record, prev Hash) (text string, hash Hash, err error) {
	rec.settleTimes()
	plain, err := json.Marshal(rec)
	if err != nil {
		return "", Hash{}, fmt.Errorf("write record %s: %w", rec.ID, err)
	}
	sealed, err := Canonical(plain)
	if err != nil {
		return "", Hash{}, fmt.Errorf("write record %s: %w", rec.ID, err)
	}
	return string(sealed), Chain(prev, string(sealed)), nil
}

func (r *Record) settleTimes() {
	for _, t := range []*time.Time{&r.StartedAt, &r.FinishedAt, &r.RecordedAt, &r.ReentryAt} {
		if !t.IsZero() {
			*t = t.UTC().Truncate(time.Microsecond)
		}
	}
}

// Unseal reads a sealed text. What later versions of the program no longer know
// is passed over; the text stays what counts.
func Unseal(text string) (Record, error) {
	var r Record
	if err := json.Unmarshal([]byte(text), &r); err != nil {
		return Record{}, fmt.Errorf("read sealed record: %w", err)
	}
	return r, nil
}
