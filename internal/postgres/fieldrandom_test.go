package postgres_test

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"thirdcut/internal/testkit/build"
	"thirdcut/internal/visit"
)

// tablet is a device with the entries that it has not let go of. An entry that
// needs a person stays listed on it and is not sent by itself.
type tablet struct {
	waiting []visit.Entry
	listed  []visit.Entry
}

// round is one round of random devices: reports of a few visits, some sent
// from two devices, some changed under the same id, some that are no reports.
type round struct {
	w       *build.World
	t       *rapid.T
	tablets []*tablet
	entries []visit.Entry
}

// draw makes the reports and hands them out.
func (r *round) draw(visits []visit.Visit) {
	for range 3 {
		r.tablets = append(r.tablets, &tablet{})
	}
	for i := range rapid.IntRange(1, 6).Draw(r.t, "reports") {
		v := rapid.SampledFrom(visits).Draw(r.t, "visit")
		e := r.w.Mown(v, r.w.Property)
		e.FinishedAt = e.FinishedAt.Add(time.Duration(i) * time.Second)
		switch rapid.SampledFrom([]string{"done", "done", "not done", "sprayed", "bad amount", "no such visit", "bad kind"}).Draw(r.t, "kind") {
		case "not done":
			e.Outcome, e.Reason, e.Tasks, e.Observations = "not_done", fmt.Sprintf("reason %d", i), nil, nil
		case "sprayed":
			e.Applications = []visit.Application{r.w.Sprayed(r.w.Property)}
			e.Applications[0].Lines[0].Amount = fmt.Sprintf("%d fl oz", 1+i)
		case "bad amount":
			e.Applications = []visit.Application{r.w.Sprayed(r.w.Property)}
			e.Applications[0].Lines[0].Amount = "some"
		case "no such visit":
			e.VisitID = uuid.New()
		case "bad kind":
			e.Kind = "photo"
		}
		r.hand(e)
		if rapid.IntRange(0, 3).Draw(r.t, "handed over") == 0 {
			r.hand(e) // the same entry on another device, by a file
		}
		if rapid.IntRange(0, 5).Draw(r.t, "changed") == 0 {
			e.DeviceID = "changed"
			r.hand(e)
		}
	}
}

func (r *round) hand(e visit.Entry) {
	r.entries = append(r.entries, e)
	d := rapid.SampledFrom(r.tablets).Draw(r.t, "device")
	d.waiting = append(d.waiting, e)
}

// send hands in what waits on a device, in any order, doubled or cut off. What
// is not answered, or whose answer is lost, stays on the device.
func (r *round) send(d *tablet, mishaps bool) {
	order := rapid.Permutation(d.waiting).Draw(r.t, "order")
	ctx, cancel := context.WithCancel(r.w.Ctx)
	defer cancel()
	var store visit.Store = r.w.DB
	lost := false
	if mishaps {
		if len(order) > 0 && rapid.Bool().Draw(r.t, "doubled") {
			order = append(order, order[0])
		}
		if rapid.IntRange(0, 3).Draw(r.t, "cut off") == 0 {
			store = cutStore{r.w.DB, cancel}
		}
		lost = rapid.Bool().Draw(r.t, "answer lost")
	}
	raw := make([]json.RawMessage, len(order))
	for i, e := range order {
		b, err := json.Marshal(e)
		if err != nil {
			r.t.Fatal(err)
		}
		raw[i] = b
	}
	results := visit.Service{Store: store}.Batch(ctx, build.Who(r.w.Lead, r.w.Crew), raw)
	for i, result := range results {
		if lost {
			continue
		}
		same := func(e visit.Entry) bool { return e.ID == order[i].ID && e.DeviceID == order[i].DeviceID }
		switch result.Outcome {
		case visit.Accepted, visit.Already:
			d.waiting = slices.DeleteFunc(d.waiting, same)
		case visit.NeedsYou:
			if slices.ContainsFunc(d.waiting, same) {
				d.listed = append(d.listed, order[i])
			}
			d.waiting = slices.DeleteFunc(d.waiting, same)
		}
	}
}

// Whatever devices do, in the end each report is kept once or waits in
// quarantine, and visits, records and stock stand as the reports say, in
// whatever order and however often they came in.
func TestRandomDevicesEndInOneState(t *testing.T) {
	w := newWorld(t)
	// Each round is dozens of transactions: 20 rounds, unless more are asked for
	// with -rapid.checks. No other test of the package reads the flag.
	if f := flag.Lookup("rapid.checks"); f != nil && f.Value.String() == f.DefValue {
		if err := f.Value.Set("20"); err != nil {
			t.Fatal(err)
		}
	}
	used := 0.0
	rapid.Check(t, func(rt *rapid.T) {
		r := &round{w: w, t: rt}
		visits := []visit.Visit{w.Visit(w.Crew, w.Property, build.Day), w.Visit(w.Crew, w.Property, build.Day)}
		r.draw(visits)
		for range rapid.IntRange(0, 4).Draw(rt, "sendings") {
			r.send(rapid.SampledFrom(r.tablets).Draw(rt, "sender"), true)
		}
		for _, d := range r.tablets {
			r.send(d, false)
			if len(d.waiting) != 0 {
				rt.Fatalf("%d entries got no answer", len(d.waiting))
			}
		}
		kept := r.kept()
		for _, e := range kept {
			for _, a := range e.Applications {
				used += float64(a.Lines[0].Amount[0]-'0') * 0.0295735295625
			}
		}
		for _, v := range visits {
			r.visitStands(v, kept)
		}
		r.stock(used)
	})
	if v, err := w.VerifyRecords(w.Ctx, nil); err != nil || !v.OK() {
		t.Errorf("the chain: %+v, %v", v, err)
	}
	// One effect each: a report has the tasks and records that it says, and no more.
	var doubled int
	err := w.GetContext(w.Ctx, &doubled, `select count(*) from close_out c
		where (select count(*) from task_report where close_out_id = c.id) <> coalesce(jsonb_array_length(c.content::jsonb->'tasks'), 0)
		or (select count(*) from application_record where close_out_id = c.id) <> coalesce(jsonb_array_length(c.content::jsonb->'applications'), 0)
		or (select count(*) from observation where close_out_id = c.id) <> coalesce(jsonb_array_length(c.content::jsonb->'observations'), 0)`)
	if err != nil || doubled != 0 {
		t.Errorf("%d reports with more or less than they say, %v", doubled, err)
	}
}

// kept returns the entries that are reports in the database, and fails where an
// entry is neither there nor in quarantine, or in both.
func (r *round) kept() []visit.Entry {
	r.t.Helper()
	var kept []visit.Entry
	seen := map[uuid.UUID]bool{}
	for _, e := range r.entries {
		var content []string
		if err := r.w.SelectContext(r.w.Ctx, &content, `select content from close_out where id = $1`, e.ID); err != nil {
			r.t.Fatal(err)
		}
		var waits int
		if err := r.w.GetContext(r.w.Ctx, &waits, `select count(*) from field_quarantine where entry_id = $1 and content like '%' || $2 || '%'`,
			e.ID.String(), fmt.Sprintf(`"device_id":%q`, e.DeviceID)); err != nil {
			r.t.Fatal(err)
		}
		stored := len(content) == 1 && strings.Contains(content[0], fmt.Sprintf(`"device_id":%q`, e.DeviceID))
		if stored == (waits > 0) || waits > 1 {
			r.t.Fatalf("entry %s of device %q: stored %v, %d times in quarantine", e.ID, e.DeviceID, stored, waits)
		}
		listed := slices.ContainsFunc(r.tablets, func(d *tablet) bool {
			return slices.ContainsFunc(d.listed, func(l visit.Entry) bool { return l.ID == e.ID && l.DeviceID == e.DeviceID })
		})
		if listed == stored {
			r.t.Fatalf("entry %s: stored %v, listed on its device %v", e.ID, stored, listed)
		}
		if stored && !seen[e.ID] {
			seen[e.ID] = true
			kept = append(kept, e)
		}
	}
	return kept
}

// visitStands compares the visit with what the kept reports say of it.
func (r *round) visitStands(v visit.Visit, kept []visit.Entry) {
	r.t.Helper()
	want, reason, last := visit.Planned, "", time.Time{}
	for _, e := range kept {
		switch {
		case e.VisitID != v.ID:
		case e.Outcome == "done":
			want = visit.Closed
		case want != visit.Closed && !e.FinishedAt.Before(last):
			want, reason, last = visit.Returned, e.Reason, e.FinishedAt
		}
	}
	if want == visit.Closed {
		reason = ""
	}
	have, err := r.w.DB.Visit(r.w.Ctx, v.ID)
	if err != nil || have.State != want || have.Reason != reason {
		r.t.Fatalf("visit %s is %s %q (%v), want %s %q", v.ID, have.State, have.Reason, err, want, reason)
	}
}

// stock compares what is left of the lot with what all rounds used.
func (r *round) stock(used float64) {
	r.t.Helper()
	lots, err := r.w.Lots(r.w.Ctx, r.w.Weed.ID)
	if err != nil {
		r.t.Fatal(err)
	}
	if want := r.w.WeedLot.Left - used; math.Abs(lots[0].Left-want) > 1e-6 {
		r.t.Fatalf("%v L left, want %v", lots[0].Left, want)
	}
}
