package visit

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/application"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
)

// Who sends reports from the field.
type Who struct {
	PersonID        uuid.UUID
	CrewIDs         []uuid.UUID // the crews of the person
	MayReportForAll bool        // the office: its reports of any crew's visit carry no mark
}

// Store is what the service needs of the database.
type Store interface {
	// CloseVisit keeps one report with everything that follows from it, all or
	// nothing; decide is called with the visit held. A report that is there
	// already gives its first answer again; one of that id with another content
	// is fault.Conflict "other-content". An unknown visit is fault.NotFound "visit".
	CloseVisit(ctx context.Context, c Closing, decide func(Facts) (Decision, error)) (Kept, error)
	// Quarantine keeps an entry that could not be taken in, once; settled says
	// that the office has dealt with that very entry already.
	Quarantine(ctx context.Context, q Quarantined) (settled bool, err error)
}

// Closing is one report on its way into the store.
type Closing struct {
	Entry   Entry
	Content string // canonical JSON
	Hash    [sha256.Size]byte
	By      uuid.UUID
}

// Kept is the answer to a report that is in the store.
type Kept struct {
	Already  bool
	Findings []label.Finding
	Marks    []string
}

// Quarantined is an entry that could not be taken in, kept whole for the office.
type Quarantined struct {
	ID         int64
	EntryID    string
	Content    string
	Hash       [sha256.Size]byte
	Code       string
	Reason     string
	SentBy     uuid.UUID
	ReceivedAt time.Time
	SettledAt  time.Time
	SettledBy  uuid.UUID
	SettledHow string
}

// Service takes in what the field reports.
type Service struct{ Store Store }

// Batch takes in entries one by one and answers each in its place. A report
// that broke a rule is kept, with findings; one that cannot be a report, or
// names what is not on file, goes to quarantine and needs a person. One bad
// entry never blocks the rest.
func (s Service) Batch(ctx context.Context, who Who, raw []json.RawMessage) []Result {
	results := make([]Result, len(raw))
	for i, entry := range raw {
		results[i] = s.one(ctx, who, entry)
		if results[i].Findings == nil {
			results[i].Findings = []label.Finding{}
		}
	}
	return results
}

func (s Service) one(ctx context.Context, who Who, raw json.RawMessage) Result {
	e, content, err := decode(raw)
	hash := sha256.Sum256([]byte(content))
	q := Quarantined{EntryID: entryID(raw, hash), Content: content, Hash: hash, SentBy: who.PersonID}
	if err != nil {
		return s.needsYou(ctx, q, err)
	}
	kept, err := s.Store.CloseVisit(ctx, Closing{Entry: e, Content: content, Hash: hash, By: who.PersonID},
		func(f Facts) (Decision, error) { return Decide(who, e, f) })
	switch {
	case fault.As(err) != nil && !fault.Is(err, fault.Unavailable):
		return s.needsYou(ctx, q, err)
	case err != nil:
		return tryAgain(q.EntryID)
	}
	r := Result{ID: q.EntryID, Outcome: Accepted, Findings: kept.Findings, Marks: kept.Marks}
	if kept.Already {
		r.Outcome = Already
	}
	return r
}

// needsYou puts the entry into quarantine and says why in the fault's words.
func (s Service) needsYou(ctx context.Context, q Quarantined, why error) Result {
	f := fault.As(why)
	q.Code, q.Reason = f.Code, f.Detail
	for _, field := range f.Fields {
		q.Reason += fmt.Sprintf("; %s: %s", field.Pointer, field.Detail)
	}
	settled, err := s.Store.Quarantine(ctx, q)
	switch {
	case err != nil:
		return tryAgain(q.EntryID)
	case settled: // the device may let go of it
		return Result{ID: q.EntryID, Outcome: Already}
	}
	return Result{ID: q.EntryID, Outcome: NeedsYou, Problem: &Trouble{Code: q.Code, Detail: q.Reason}}
}

func tryAgain(id string) Result {
	return Result{ID: id, Outcome: TryAgain, Problem: &Trouble{Code: "try-again",
		Detail: "the report could not be kept just now and nothing of it was; it stays on the device, send it again"}}
}

// decode reads an entry strictly and writes its content canonically. Content
// that is no JSON is kept as it came, as far as it is text.
func decode(raw json.RawMessage) (e Entry, content string, err error) {
	canonical, err := application.Canonical(raw)
	if err != nil {
		content = strings.ReplaceAll(strings.ToValidUTF8(string(raw), "\ufffd"), "\x00", "\ufffd")
		return e, content, fault.New(fault.Invalid, "malformed", "the entry is no JSON that can be read; it is kept for the office to look at").Because(err)
	}
	content = string(canonical)
	if strings.Contains(content, `\u0000`) {
		return e, content, fault.New(fault.Invalid, "malformed", "the entry holds a character that no text has (NUL); write it again")
	}
	var kind struct {
		Kind string `json:"kind"`
	}
	if json.Unmarshal(canonical, &kind) == nil && kind.Kind != "close_out" {
		return e, content, fault.New(fault.Invalid, "unknown-kind", "there is no entry of the kind %q; this version takes close_out", kind.Kind)
	}
	dec := json.NewDecoder(bytes.NewReader(canonical))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&e); err != nil {
		return e, content, misread(err)
	}
	return e, content, e.check()
}

// misread says what a strict reading did not understand.
func misread(err error) error {
	var wrong *json.UnmarshalTypeError
	switch {
	case errors.As(err, &wrong):
		return fault.New(fault.Invalid, "malformed", "%s cannot be a %s", wrong.Field, wrong.Value).Because(err)
	case strings.Contains(err.Error(), "unknown field"):
		name := strings.TrimPrefix(err.Error(), "json: unknown field ")
		return fault.New(fault.Invalid, "unknown-field", "the entry has the field %s, which this version does not know; update the program or the device", name).Because(err)
	case errors.Is(err, io.EOF):
		return fault.New(fault.Invalid, "malformed", "the entry is empty")
	}
	return fault.New(fault.Invalid, "malformed", "the entry cannot be read: %s", strings.TrimPrefix(err.Error(), "json: ")).Because(err)
}

// entryID is the id that the sender knows the entry by; without one, the start of its hash.
func entryID(raw json.RawMessage, hash [sha256.Size]byte) string {
	var e struct {
		ID string `json:"id"`
	}
	if json.Unmarshal(raw, &e) == nil {
		if id := strings.ReplaceAll(e.ID, "\x00", ""); id != "" && len(id) <= 200 {
			return id
		}
	}
	return "sha256:" + hex.EncodeToString(hash[:8])
}

// check says what keeps the entry from being a report at all.
func (e Entry) check() error {
	bad := fault.New(fault.Invalid, "malformed", "the report cannot be taken in like this")
	if e.ID == uuid.Nil {
		bad = bad.With("/id", "is missing")
	}
	if e.VisitID == uuid.Nil {
		bad = bad.With("/visit_id", "is missing; say which visit this reports")
	}
	if e.Outcome != "done" && e.Outcome != "not_done" {
		bad = bad.With("/outcome", "%q is neither done nor not_done", e.Outcome)
	}
	for pointer, t := range map[string]time.Time{"/finished_at": e.FinishedAt, "/started_at": e.StartedAt, "/device_at": e.DeviceAt} {
		if (pointer == "/finished_at" || !t.IsZero()) && (t.Year() < 2000 || t.Year() > 2199) {
			bad = bad.With(pointer, "is no time of this century; set the clock of the device")
		}
	}
	e.checkTasks(bad)
	for i, o := range e.Observations {
		if !knownReading(o.Kind) {
			bad = bad.With(fmt.Sprintf("/observations/%d/kind", i), "%q is no kind of observation", o.Kind)
		}
	}
	seen := map[uuid.UUID]bool{}
	for i, a := range e.Applications {
		if seen[a.ID] {
			bad = bad.With(fmt.Sprintf("/applications/%d/id", i), "is that of another application of the report")
		}
		seen[a.ID] = true
	}
	if len(bad.Fields) > 0 {
		return bad
	}
	return nil
}

func (e Entry) checkTasks(bad *fault.Error) {
	type task struct {
		area uuid.UUID
		work string
	}
	seen := map[task]bool{}
	for i, t := range e.Tasks {
		at := fmt.Sprintf("/tasks/%d", i)
		if !t.Work.Known() {
			bad.With(at+"/work", "%q is no kind of work", t.Work)
		}
		if t.Clippings != "" && t.Clippings != "left" && t.Clippings != "bagged" {
			bad.With(at+"/clippings", "%q is neither left nor bagged", t.Clippings)
		}
		key := task{t.TurfAreaID, string(t.Work)}
		if seen[key] {
			bad.With(at, "stands there twice")
		}
		seen[key] = true
	}
}
