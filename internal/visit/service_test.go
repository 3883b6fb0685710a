package visit_test

import (
	"context"
	"encoding/json"
	"errors"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thirdcut/internal/fault"
	"thirdcut/internal/visit"
)

// shelf is a store in memory that fails where it is told to.
type shelf struct {
	kept       map[string]string
	quarantine map[string]visit.Quarantined
	closeErr   error
	keepErr    error
}

func newShelf() *shelf {
	return &shelf{kept: map[string]string{}, quarantine: map[string]visit.Quarantined{}}
}

func (s *shelf) CloseVisit(_ context.Context, c visit.Closing, decide func(visit.Facts) (visit.Decision, error)) (visit.Kept, error) {
	if s.closeErr != nil {
		return visit.Kept{}, s.closeErr
	}
	if have, ok := s.kept[c.Entry.ID.String()]; ok {
		if have != c.Content {
			return visit.Kept{}, fault.New(fault.Conflict, "other-content", "other content")
		}
		return visit.Kept{Already: true}, nil
	}
	if _, err := decide(facts()); err != nil {
		return visit.Kept{}, err
	}
	s.kept[c.Entry.ID.String()] = c.Content
	return visit.Kept{}, nil
}

func (s *shelf) Quarantine(_ context.Context, q visit.Quarantined) (bool, error) {
	if s.keepErr != nil {
		return false, s.keepErr
	}
	key := q.EntryID + string(q.Hash[:])
	have, ok := s.quarantine[key]
	if !ok {
		s.quarantine[key] = q
	}
	return !have.SettledAt.IsZero(), nil
}

func text(t testing.TB, e visit.Entry) string {
	t.Helper()
	b, err := json.Marshal(e)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func batch(s visit.Store, entries ...string) []visit.Result {
	var raw []json.RawMessage
	for _, e := range entries {
		raw = append(raw, json.RawMessage(e))
	}
	return visit.Service{Store: s}.Batch(context.Background(), member(), raw)
}

func TestTheFormOfAnEntry(t *testing.T) {
	good := text(t, report())
	for _, c := range []struct{ name, entry, code, says string }{
		{"unknown field", strings.Replace(good, `"kind"`, `"speed":3,"kind"`, 1), "unknown-field", "speed"},
		{"unknown field deep inside", strings.Replace(good, `"work"`, `"depth":3,"work"`, 1), "unknown-field", "depth"},
		{"unknown kind", strings.Replace(good, "close_out", "photo", 1), "unknown-kind", "photo"},
		{"no JSON", `{"id":`, "malformed", ""},
		{"a zero byte", strings.Replace(good, `"work":"mow"`, `"work":"mow","note":"a\u0000b"`, 1), "malformed", ""},
		{"a word for a time", strings.Replace(good, `"finished_at":"2026`, `"finished_at":"soon2026`, 1), "malformed", ""},
		{"a year long gone", strings.Replace(good, `"finished_at":"2026`, `"finished_at":"1926`, 1), "malformed", "/finished_at"},
		{"no end", strings.Replace(good, `"finished_at":"`, `"device_id":"`, 1), "malformed", "/finished_at"},
		{"outcome", strings.Replace(good, `"outcome":"done"`, `"outcome":"maybe"`, 1), "malformed", "/outcome"},
		{"no visit", strings.Replace(good, id(theVisit).String(), "00000000-0000-0000-0000-000000000000", 1), "malformed", "/visit_id"},
		{"work", strings.Replace(good, `"work":"mow"`, `"work":"dance"`, 1), "malformed", "/tasks/0/work"},
		{"clippings", strings.Replace(good, `"work":"mow"`, `"work":"mow","clippings":"eaten"`, 1), "malformed", "/tasks/0/clippings"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newShelf()
			r := batch(s, c.entry)[0]
			if r.Outcome != visit.NeedsYou || r.Problem.Code != c.code || !strings.Contains(r.Problem.Detail, c.says) {
				t.Fatalf("%s: %+v", r.Outcome, r.Problem)
			}
			if len(s.kept) != 0 || len(s.quarantine) != 1 {
				t.Errorf("%d kept, %d in quarantine", len(s.kept), len(s.quarantine))
			}
			if c.name != "no JSON" && r.ID != id(entry).String() {
				t.Errorf("the answer names %q", r.ID)
			}
			if r.Findings == nil {
				t.Error("findings are null in the answer")
			}
		})
	}
}

// The order of keys and blanks make no other content.
func TestContentIsComparedAsContent(t *testing.T) {
	s := newShelf()
	good := text(t, report())
	var anyOrder map[string]any
	if err := json.Unmarshal([]byte(good), &anyOrder); err != nil {
		t.Fatal(err)
	}
	sorted, _ := json.MarshalIndent(anyOrder, "", "  ")
	other := report()
	other.DeviceID = "another"
	for i, r := range batch(s, good, string(sorted), text(t, other), good) {
		want := []visit.Outcome{visit.Accepted, visit.Already, visit.NeedsYou, visit.Already}[i]
		if r.Outcome != want {
			t.Errorf("%d: %s, want %s", i, r.Outcome, want)
		}
	}
}

func TestAFailureOfTheStoreLosesNothing(t *testing.T) {
	s := newShelf()
	s.closeErr = errors.New("connection reset")
	good := text(t, report())
	if r := batch(s, good)[0]; r.Outcome == visit.Accepted || r.Outcome == visit.Already {
		t.Errorf("not kept, and answered %s", r.Outcome)
	}
	s.closeErr, s.keepErr = nil, errors.New("disk full")
	if r := batch(s, `{"id":"x"}`)[0]; r.Outcome == visit.Accepted || r.Outcome == visit.Already || r.Outcome == visit.NeedsYou {
		t.Errorf("in no quarantine, and answered %s", r.Outcome)
	}
	s.keepErr = nil
	if r := batch(s, good)[0]; r.Outcome != visit.Accepted {
		t.Errorf("sent again: %s", r.Outcome)
	}
}

// Whatever bytes a device sends, each entry gets an answer in its place and
// what is not kept is in quarantine.
func TestAnyBytesGetAnAnswer(t *testing.T) {
	good := text(t, report())
	rapid.Check(t, func(t *rapid.T) {
		s := newShelf()
		entries := rapid.SliceOfN(rapid.OneOf(rapid.String(), rapid.Just(good), rapid.Custom(func(t *rapid.T) string {
			b := []byte(good)
			i := rapid.IntRange(0, len(b)-1).Draw(t, "at")
			b[i] = rapid.Byte().Draw(t, "byte")
			return string(b)
		})), 1, 6).Draw(t, "entries")
		results := batch(s, entries...)
		if len(results) != len(entries) {
			t.Fatalf("%d answers to %d entries", len(results), len(entries))
		}
		for i, r := range results {
			switch r.Outcome {
			case visit.Accepted, visit.Already:
				if _, ok := s.kept[r.ID]; !ok && r.ID == id(entry).String() {
					t.Fatalf("%q answered %s but is not kept", entries[i], r.Outcome)
				}
			case visit.NeedsYou:
				if r.Problem == nil || r.Problem.Code == "" || r.Problem.Detail == "" || len(s.quarantine) == 0 {
					t.Fatalf("%q: %+v", entries[i], r)
				}
			default:
				t.Fatalf("%q answered %s", entries[i], r.Outcome)
			}
		}
	})
}
