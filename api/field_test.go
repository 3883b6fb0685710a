package api

import (
	"encoding/json"
	"net/http"
	"strings"
	"sync"
	"testing"

	"github.com/google/uuid"

	"thirdcut/internal/testkit/build"
	"thirdcut/internal/visit"
)

type batchAnswerJSON struct{ Results []visit.Result }

func (a *asker) batch(entries ...any) []visit.Result {
	a.h.t.Helper()
	var got batchAnswerJSON
	a.ask(http.MethodPost, apiPrefix+"/field/batch", map[string]any{"entries": entries}).is(http.StatusOK).into(&got)
	if len(got.Results) != len(entries) {
		a.h.t.Fatalf("%d entries got %d answers", len(entries), len(got.Results))
	}
	return got.Results
}

func TestBatchAnswersEachEntryByItself(t *testing.T) {
	h := newHouse(t)
	lead, office := h.signedIn("lead"), h.signedIn("office")
	mine, others := h.Visit(h.Crew, h.Property, build.Day), h.Visit(h.Other, h.Lawn("4 Fern Way"), build.Day)
	first := h.Mown(mine, h.Property)
	elm := visit.Entry{ID: uuid.Must(uuid.NewV7()), Kind: "close_out", VisitID: others.ID, Outcome: "not_done", Reason: "gate locked", StartedAt: h.At("09:00"), FinishedAt: h.At("09:05"), DeviceID: "tablet-1"}
	unknown := elm
	unknown.ID, unknown.VisitID = uuid.Must(uuid.NewV7()), uuid.Must(uuid.NewV7())
	got := lead.batch(first, json.RawMessage(`{"kind":"close_out","id":7}`), json.RawMessage(`"soup"`), elm, unknown, first)
	want := []visit.Outcome{visit.Accepted, visit.NeedsYou, visit.NeedsYou, visit.Accepted, visit.NeedsYou, visit.Already}
	for i, r := range got {
		if r.Outcome != want[i] {
			t.Errorf("entry %d is answered %s, want %s: %+v", i, r.Outcome, want[i], r.Problem)
		}
		if (r.Outcome == visit.NeedsYou) != (r.Problem != nil && r.Problem.Detail != "") {
			t.Errorf("entry %d: %s with the problem %+v", i, r.Outcome, r.Problem)
		}
	}
	if len(got[3].Marks) == 0 {
		t.Errorf("a report about another crew's visit carries no mark: %+v", got[3])
	}
	changed := first
	changed.DeviceID = "tablet-2"
	if r := lead.batch(changed)[0]; r.Outcome != visit.NeedsYou {
		t.Errorf("the same id with other content is answered %s", r.Outcome)
	}
	var waiting struct{ Items []waitingJSON }
	office.ask(http.MethodGet, apiPrefix+"/field/waiting", nil).is(http.StatusOK).into(&waiting)
	if len(waiting.Items) != 4 {
		t.Fatalf("%d reports wait for a person, want 4: %+v", len(waiting.Items), waiting.Items)
	}
	settle := apiPrefix + "/field/waiting/" + itoa(int(waiting.Items[0].Number)) + "/settle"
	office.ask(http.MethodPost, settle, map[string]any{"how": "asked the crew"}).is(http.StatusNoContent)
	office.ask(http.MethodGet, apiPrefix+"/field/waiting", nil).is(http.StatusOK).into(&waiting)
	if len(waiting.Items) != 3 {
		t.Errorf("%d reports wait after one was settled, want 3", len(waiting.Items))
	}
}

func TestManySendsOfOneReportHaveOneEffect(t *testing.T) {
	h := newHouse(t)
	lead, v := h.signedIn("lead"), h.Visit(h.Crew, h.Property, build.Day)
	body, err := json.Marshal(map[string]any{"entries": []any{h.Mown(v, h.Property)}})
	if err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	outcomes := map[visit.Outcome]int{}
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			one := &asker{h: h, cookies: nil}
			got := one.ask(http.MethodPost, apiPrefix+"/field/batch", body, header{"Cookie", lead.cookie()})
			var answer batchAnswerJSON
			if err := json.Unmarshal(got.Body.Bytes(), &answer); err != nil || len(answer.Results) != 1 {
				t.Errorf("the answer %d is %s", got.Code, got.Body)
				return
			}
			mu.Lock()
			outcomes[answer.Results[0].Outcome]++
			mu.Unlock()
		})
	}
	all.Wait()
	if outcomes[visit.Accepted] != 1 || outcomes[visit.Already] != 7 {
		t.Errorf("eight sends of one report were answered %v", outcomes)
	}
}

// cookie is the session as a header.
func (a *asker) cookie() string {
	var all []string
	for _, c := range a.cookies {
		all = append(all, c.Name+"="+c.Value)
	}
	return strings.Join(all, "; ")
}

func TestTwoEditsOfOneCustomerLoseNothing(t *testing.T) {
	h := newHouse(t)
	path := apiPrefix + "/customers/" + h.Customer.ID.String()
	owner, office := h.signedIn("owner"), h.signedIn("office")
	tag := owner.ask(http.MethodGet, path, nil).is(http.StatusOK).Header().Get("ETag")
	if other := office.ask(http.MethodGet, path, nil).Header().Get("ETag"); other != tag || !strings.HasPrefix(tag, `"`) {
		t.Fatalf("the entity tags are %s and %s; they are strong and the same", tag, other)
	}
	var mu sync.Mutex
	codes := map[int]int{}
	var both sync.WaitGroup
	names := map[*asker]string{owner: "Ada Marsh-Fern", office: "Ada Marsh-Reed"}
	winner := ""
	for who, name := range names {
		both.Go(func() {
			body := with(h.bodies()["edit-customer"], "name", name)
			got := (&asker{h: h}).ask(http.MethodPut, path, body, ifMatch(tag), header{"Cookie", who.cookie()})
			mu.Lock()
			defer mu.Unlock()
			if codes[got.Code]++; got.Code == http.StatusOK {
				winner = name
			}
		})
	}
	both.Wait()
	if codes[http.StatusOK] != 1 || codes[http.StatusPreconditionFailed] != 1 {
		t.Fatalf("two edits of one version are answered %v, want one 200 and one 412", codes)
	}
	var now customerJSON
	got := owner.ask(http.MethodGet, path, nil).into(&now)
	if now.Name != winner || got.Header().Get("ETag") == tag {
		t.Errorf("%q won and the customer is %q with the tag %s", winner, now.Name, got.Header().Get("ETag"))
	}
	// What was read can be sent back whole, what the server writes too.
	now.Phone = "555-0199"
	owner.ask(http.MethodPut, path, now, ifMatch(got.Header().Get("ETag"))).is(http.StatusOK)
}

// FuzzFieldBatch sends any body: the answer is never a failure of the program,
// and always as described.
func FuzzFieldBatch(f *testing.F) {
	h := newHouse(f)
	lead := h.signedIn("lead")
	v := h.Visit(h.Crew, h.Property, build.Day)
	good, err := json.Marshal(map[string]any{"entries": []any{h.Mown(v, h.Property)}})
	if err != nil {
		f.Fatal(err)
	}
	for _, seed := range []string{string(good), `{"entries":[{}]}`, `{"entries":[null,1,"\u0000",[[]],{"kind":"close_out"}]}`, `{"entries":[]}`, `{"entries":null}`, `[]`, `{`, "",
		`{"entries":[{"kind":"close_out","id":"0199c0de-0000-7000-8000-00000000dead","started_at":"9999-12-31T23:59:60Z"}]}`, "{\"entries\":[{\"note\":\"\xff\"}]}",
		`{"entries":[{"kind":"close_out","kind":"close_out"}]}`, `{"entries":[1e999]}`, strings.Repeat("[", 20000)} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		a := &asker{h: &house{World: h.World, t: t, server: h.server, document: h.document, routes: h.routes}, cookies: lead.cookies}
		got := a.ask(http.MethodPost, apiPrefix+"/field/batch", body)
		switch got.Code {
		case http.StatusOK, http.StatusBadRequest, http.StatusUnprocessableEntity, http.StatusRequestEntityTooLarge:
		default:
			t.Errorf("the answer is %d: %.300s", got.Code, got.Body)
		}
	})
}
