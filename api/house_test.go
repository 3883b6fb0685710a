package api

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/gorillamux"
	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/export"
	"thirdcut/internal/recordrule"
	"thirdcut/internal/schedule"
	"thirdcut/internal/testkit/build"
	"thirdcut/internal/testkit/pgtest"
	"thirdcut/internal/visit"
	"thirdcut/internal/workbook"
)

func TestMain(m *testing.M) { pgtest.Main(m) }

const password = "teasel-plover-7-harrow"

// house is a small company behind a server, with a sign-in for each role.
type house struct {
	*build.World
	t        testing.TB
	server   *Server
	document *openapi3.T
	routes   routers.Router
}

// people of the house, by sign-in name: lead is of the crew Birch, stranger of Elm.
var signIns = []string{"owner", "office", "lead", "stranger"}

func newHouse(t testing.TB) *house { return newHouseWith(t, func(*Config) {}) }

func newHouseWith(t testing.TB, change func(*Config)) *house {
	t.Helper()
	db := build.Open(t, pgtest.New(t))
	h := &house{World: build.Company(t, db), t: t}
	accounts := account.Accounts{Store: db, Hasher: account.NewHasher(0)}
	c := Config{DB: db, Accounts: accounts, Visits: visit.Service{Store: db},
		Schedule: &schedule.Service{Store: db, Real: db.Real, Iterations: 200},
		Exports: &export.Service{Store: db, Rules: recordrule.Standard(), Real: db.Real,
			NewBook:  func(out io.Writer) (export.Book, error) { return workbook.New(out, t.TempDir()) },
			NewTable: func(out io.Writer, header []string) (export.Table, error) { return workbook.NewCSV(out, header) }}}
	change(&c)
	for name, who := range map[string]struct {
		id   uuid.UUID
		role account.Role
	}{"owner": {h.Owner.ID, account.Owner}, "office": {h.Helper.ID, account.Office}, "lead": {h.Lead.ID, account.Technician}, "stranger": {h.Stranger.ID, account.Technician}} {
		a := account.Account{PersonID: who.id, SignInName: name, PasswordHash: passwordHash(t), Roles: []account.Role{who.role}}
		if _, err := db.CreateAccount(t.Context(), a, uuid.Nil); err != nil {
			t.Fatal(err)
		}
	}
	var err error
	if h.server, err = New(c); err != nil {
		t.Fatal(err)
	}
	h.document, h.routes = described(t, h.server)
	return h
}

// passwordHash is of password; one is enough for all tests.
func passwordHash(t testing.TB) string {
	hash, err := hashOnce()
	if err != nil {
		t.Fatal(err)
	}
	return hash
}

var hashOnce = sync.OnceValues(func() (string, error) { return account.NewHasher(1).Hash(context.Background(), password) })

// described is the served description, read and checked, with its paths.
func described(t testing.TB, s *Server) (*openapi3.T, routers.Router) {
	t.Helper()
	rec := httptest.NewRecorder()
	s.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, apiPrefix+"/openapi.json", nil))
	if rec.Code != http.StatusOK {
		t.Fatalf("the description answers %d: %s", rec.Code, rec.Body)
	}
	doc, err := openapi3.NewLoader().LoadFromData(rec.Body.Bytes())
	if err != nil {
		t.Fatalf("the description cannot be read: %v", err)
	}
	if err := doc.Validate(context.Background()); err != nil {
		t.Fatalf("the description is not OpenAPI %s: %v", doc.OpenAPI, err)
	}
	router, err := gorillamux.NewRouter(doc)
	if err != nil {
		t.Fatal(err)
	}
	return doc, router
}

// asker is somebody who sends requests: nobody, a session or a token.
type asker struct {
	h       *house
	cookies map[string]*http.Cookie
	token   string
}

func (h *house) nobody() *asker { return &asker{h: h, cookies: map[string]*http.Cookie{}} }

// signedIn is a browser in which that name has signed in.
func (h *house) signedIn(name string) *asker {
	h.t.Helper()
	a := h.nobody()
	if got := a.post("/sign-in", url.Values{"name": {name}, "password": {password}}); got.Code != http.StatusSeeOther {
		h.t.Fatalf("%s cannot sign in: %d %s", name, got.Code, got.Body)
	}
	return a
}

// withToken is a program with an API token of the person.
func (h *house) withToken(person uuid.UUID) (*asker, account.Token) {
	h.t.Helper()
	text, token, err := h.DB.NewToken(h.Ctx, person, "the test's")
	if err != nil {
		h.t.Fatal(err)
	}
	return &asker{h: h, token: text}, token
}

// answer is what came back.
type answer struct {
	*httptest.ResponseRecorder
	t testing.TB
}

// header is a header of a request: name and value.
type header [2]string

func ifMatch(tag string) header { return header{"If-Match", tag} }

// ask sends a request; body is nil, text as it stands or what JSON is made of.
func (a *asker) ask(method, path string, body any, more ...header) answer {
	a.h.t.Helper()
	var data []byte
	switch b := body.(type) {
	case nil:
	case string:
		data = []byte(b)
	case []byte:
		data = b
	default:
		var err error
		if data, err = json.Marshal(b); err != nil {
			a.h.t.Fatal(err)
		}
	}
	r := httptest.NewRequest(method, path, bytes.NewReader(data))
	if body == nil {
		r = httptest.NewRequest(method, path, nil)
	} else {
		r.Header.Set("Content-Type", "application/json")
	}
	for _, m := range more {
		r.Header.Set(m[0], m[1])
	}
	return a.send(r)
}

// post sends a form as a browser does.
func (a *asker) post(path string, form url.Values, more ...header) answer {
	a.h.t.Helper()
	return a.ask(http.MethodPost, path, form.Encode(), append([]header{{"Content-Type", "application/x-www-form-urlencoded"}, {"Accept", "text/html"}}, more...)...)
}

func (a *asker) send(r *http.Request) answer {
	a.h.t.Helper()
	for _, c := range a.cookies {
		r.AddCookie(c)
	}
	if a.token != "" {
		r.Header.Set("Authorization", "Bearer "+a.token)
	}
	rec := httptest.NewRecorder()
	a.h.server.ServeHTTP(rec, r)
	if a.cookies != nil {
		for _, c := range rec.Result().Cookies() {
			if a.cookies[c.Name] = c; c.MaxAge < 0 {
				delete(a.cookies, c.Name)
			}
		}
	}
	if strings.HasPrefix(r.URL.Path, apiPrefix) {
		a.h.asDescribed(r, rec)
	}
	return answer{rec, a.h.t}
}

// asDescribed holds an answer of the API to the description: an operation's to
// what the operation declares, any other to the shape of a problem.
func (h *house) asDescribed(r *http.Request, rec *httptest.ResponseRecorder) {
	h.t.Helper()
	if strings.HasPrefix(r.URL.Path, apiPrefix+"/openapi") && rec.Code == http.StatusOK {
		return // the description does not describe itself
	}
	route, parameters, err := h.routes.FindRoute(r)
	if err != nil {
		h.problemShape(r, rec)
		return
	}
	in := &openapi3filter.ResponseValidationInput{
		RequestValidationInput: &openapi3filter.RequestValidationInput{Request: r, PathParams: parameters, Route: route},
		Status:                 rec.Code, Header: rec.Header(), Options: &openapi3filter.Options{IncludeResponseStatus: true, MultiError: true}}
	in.SetBodyBytes(rec.Body.Bytes())
	if err := openapi3filter.ValidateResponse(h.Ctx, in); err != nil {
		h.t.Errorf("%s %s: the answer %d is not as described: %v\n%.600s", r.Method, r.URL.Path, rec.Code, err, rec.Body)
	}
}

func (h *house) problemShape(r *http.Request, rec *httptest.ResponseRecorder) {
	h.t.Helper()
	var value any
	if err := json.Unmarshal(rec.Body.Bytes(), &value); err != nil {
		h.t.Errorf("%s %s answers %d with no JSON: %v: %.300s", r.Method, r.URL.Path, rec.Code, err, rec.Body)
		return
	}
	if err := h.document.Components.Schemas["Problem"].Value.VisitJSON(value, openapi3.EnableJSONSchema2020()); err != nil {
		h.t.Errorf("%s %s answers %d with no problem: %v", r.Method, r.URL.Path, rec.Code, err)
	}
}

// is fails the test unless the status is that one.
func (a answer) is(status int) answer {
	a.t.Helper()
	if a.Code != status {
		a.t.Fatalf("the answer is %d, want %d: %.600s", a.Code, status, a.Body)
	}
	return a
}

// into reads the body.
func (a answer) into(v any) answer {
	a.t.Helper()
	if err := json.Unmarshal(a.Body.Bytes(), v); err != nil {
		a.t.Fatalf("the answer cannot be read: %v: %.300s", err, a.Body)
	}
	return a
}
