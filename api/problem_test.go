package api

import (
	"context"
	"errors"
	"maps"
	"mime"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/fault"
	"thirdcut/internal/testkit/build"
)

// programText is what people must never read: SQL, Go and the inside of libraries.
var programText = regexp.MustCompile(`(?i)pq:|\bsql|select .* from|panic|goroutine|\.go:\d|nil pointer|\bjson:|strconv|unmarshal|unexpected end of|invalid character|reflect|http: |%!|validation failed|invalid UUID|parsing time|\[\]|map\[`)

// problem fails the test unless the answer is a whole problem of that status.
func (a answer) problem(status int, code string) Problem {
	a.t.Helper()
	a.is(status)
	if kind, _, _ := mime.ParseMediaType(a.Header().Get("Content-Type")); kind != problemType {
		a.t.Errorf("the answer %d is of the type %q: %.200s", a.Code, a.Header().Get("Content-Type"), a.Body)
	}
	var members map[string]any
	a.into(&members)
	for _, name := range []string{"type", "title", "status", "detail", "instance"} {
		if members[name] == nil || members[name] == "" {
			a.t.Errorf("the problem lacks %s: %s", name, a.Body)
		}
	}
	var p Problem
	a.into(&p)
	if p.Status != status || !strings.HasPrefix(p.Type, "/problems/") || code != "" && p.Type != "/problems/"+code {
		a.t.Errorf("the problem is %s of status %d, want %q of %d", p.Type, p.Status, code, status)
	}
	if p.Instance != "urn:uuid:"+a.Header().Get("X-Request-Id") {
		a.t.Errorf("the instance %s is not the request %s", p.Instance, a.Header().Get("X-Request-Id"))
	}
	texts := []string{p.Title, p.Detail}
	for _, f := range p.Errors {
		texts = append(texts, f.Detail, f.Pointer)
	}
	for _, text := range texts {
		if found := programText.FindString(text); found != "" {
			a.t.Errorf("the problem speaks of the program (%q): %s", found, a.Body)
		}
	}
	return p
}

// bodies is for each operation with a JSON body one that is taken as to its form.
func (h *house) bodies() map[string]map[string]any {
	id := uuid.Must(uuid.NewV7())
	area := map[string]any{"id": id, "name": "Front", "area_sqft": 5200.0, "area_method": "tape", "area_measured_on": "", "species": "tall_fescue", "cutting_height_in": 3.5,
		"mower": "rotary", "exposure": "sun", "slope_percent": 2.0, "soil": "loam", "irrigated": false, "n_lb_per_1000sqft_year": nil}
	return map[string]map[string]any{
		"edit-company": {"name": "Fernwick Grounds", "address": "1 Yard Road", "phone": "555-0101", "business_license": "MD-B-0001", "time_zone": "America/New_York", "state": "MD",
			"work_week": []int{1, 2, 3, 4, 5}, "holidays": []string{}, "jurisdictions": []string{"us-md"}, "weather_place_id": "shop"},
		"add-customer":   {"id": id, "name": "Ida Fern", "email": "", "phone": "555-0107", "billing_address": "3 Fern Way"},
		"edit-customer":  {"id": h.Customer.ID, "name": "Ada Marsh", "email": "", "phone": "555-0109", "billing_address": "2 Fern Way"},
		"edit-property":  {"gate_code": "2468"},
		"edit-turf-area": area,
		"add-product": {"id": id, "name": "Sample Feed", "kind": "fertiliser", "form": "dry", "epa_reg_no": "", "active_ingredient": "", "concentration_percent": nil,
			"restricted_use": false, "n_percent": 20.0},
		"add-label-version":    {"id": id, "revision": "B", "pattern": "turf", "in_force_from": "2026-02-01", "limits": h.Weed.Labels[0].Limits},
		"ask-plan":             {"from": "2026-06-04", "days": 5},
		"withdraw-visit":       {"reason": "the customer is away"},
		"field-batch":          {"entries": []any{map[string]any{"kind": "close_out"}}},
		"ask-export":           {"rule_id": "us-md", "format": "csv", "from": "2026-01-01", "to": "2026-06-03"},
		"settle-waiting-entry": {"how": "asked the crew and entered it anew"},
		"correct-record":       {"reason": "the wind was written down wrong", "wind_mph": 5.0},
	}
}

// unknownPath is the operation's address with names of nothing.
func unknownPath(path string) string {
	return strings.NewReplacer("{id}", "0199c0de-0000-7000-8000-00000000dead", "{crew}", "0199c0de-0000-7000-8000-00000000dead",
		"{date}", "2026-06-03", "{number}", "999999").Replace(path)
}

func jsonBody(op *openapi3.Operation) *openapi3.Schema {
	if op.RequestBody == nil {
		return nil
	}
	if m := op.RequestBody.Value.Content["application/json"]; m != nil {
		return m.Schema.Value
	}
	return nil
}

func with(m map[string]any, key string, value any) map[string]any {
	m = maps.Clone(m)
	m[key] = value
	return m
}

func without(m map[string]any, key string) map[string]any {
	m = maps.Clone(m)
	delete(m, key)
	return m
}

// wrongType is a value that the property cannot have.
func wrongType(s *openapi3.Schema) any {
	if s.Type != nil && s.Type.Includes("string") {
		return 7
	}
	return "soup"
}

func TestEveryOperationRefusesBadBodiesWithProblems(t *testing.T) {
	h := newHouse(t)
	owner := h.signedIn("owner")
	bodies := h.bodies()
	tag := ifMatch(`"1"`)
	eachOperation(h.document, func(method, path string, op *openapi3.Operation) {
		path = unknownPath(path)
		if op.RequestBody != nil {
			owner.ask(method, path+"?place=shop", strings.Repeat("x", uploadLimit+1), tag, header{"Content-Type", "application/octet-stream"}).problem(http.StatusRequestEntityTooLarge, "too-large")
		}
		schema := jsonBody(op)
		if schema == nil {
			return
		}
		body, ok := bodies[op.OperationID]
		if !ok {
			t.Fatalf("the test has no body for %s", op.OperationID)
		}
		t.Run(op.OperationID, func(t *testing.T) {
			owner := &asker{h: &house{World: h.World, t: t, server: h.server, document: h.document, routes: h.routes}, cookies: owner.cookies}
			owner.ask(method, path, `{"`, tag).problem(http.StatusBadRequest, "unreadable")
			owner.ask(method, path, "", tag).problem(http.StatusBadRequest, "unreadable")
			owner.ask(method, path, `[1, 2]`, tag).problem(http.StatusUnprocessableEntity, "invalid")
			owner.ask(method, path, body, tag, header{"Content-Type", "text/xml"}).problem(http.StatusUnsupportedMediaType, "unsupported")
			p := owner.ask(method, path, with(body, "colour_of_the_sky", 1), tag).problem(http.StatusUnprocessableEntity, "invalid")
			pointsTo(t, p, "/colour_of_the_sky")
			if body["id"] != nil {
				owner.ask(method, path, with(body, "id", "soup"), tag).problem(http.StatusUnprocessableEntity, "invalid")
			}
			for _, name := range slices.Sorted(maps.Keys(schema.Properties)) {
				property := schema.Properties[name].Value
				if len(property.Properties) == 0 && property.Type == nil || property.ReadOnly {
					continue // any JSON is taken, or the server writes it
				}
				p := owner.ask(method, path, with(body, name, wrongType(property)), tag).problem(http.StatusUnprocessableEntity, "invalid")
				pointsTo(t, p, "/"+name)
				if slices.Contains(schema.Required, name) {
					p := owner.ask(method, path, without(body, name), tag).problem(http.StatusUnprocessableEntity, "invalid")
					if len(p.Errors) == 0 || !strings.Contains(p.Errors[0].Detail, name) {
						t.Errorf("nothing says that %s is missing: %+v", name, p)
					}
				}
			}
		})
	})
}

func pointsTo(t *testing.T, p Problem, pointer string) {
	t.Helper()
	if !slices.ContainsFunc(p.Errors, func(f fault.Field) bool { return f.Pointer == pointer && f.Detail != "" }) {
		t.Errorf("no error points to %s: %+v", pointer, p.Errors)
	}
}

func TestEveryOperationSaysWhatIsUnknownAndWantsTheVersion(t *testing.T) {
	h := newHouse(t)
	owner := h.signedIn("owner")
	bodies := h.bodies()
	ids, edits := 0, 0
	eachOperation(h.document, func(method, path string, op *openapi3.Operation) {
		var body any
		if jsonBody(op) != nil {
			body = bodies[op.OperationID]
		}
		var tags []header
		for _, p := range op.Parameters {
			if p.Value.In == "header" && p.Value.Name == "If-Match" {
				edits++
				owner.ask(method, unknownPath(path), body).problem(http.StatusPreconditionRequired, "needs-version")
				owner.ask(method, unknownPath(path), body, ifMatch("soup")).problem(http.StatusPreconditionFailed, "stale")
				tags = []header{ifMatch(`"1"`)}
			}
		}
		if strings.Contains(path, "{id}") {
			ids++
			owner.ask(method, unknownPath(path), body, tags...).problem(http.StatusNotFound, "")
			owner.ask(method, strings.ReplaceAll(path, "{id}", "no-id"), body, tags...).problem(http.StatusUnprocessableEntity, "invalid")
		}
		if strings.Contains(path, "{number}") {
			owner.ask(method, unknownPath(path), body, tags...).problem(http.StatusNotFound, "")
			owner.ask(method, strings.ReplaceAll(path, "{number}", "x"), body, tags...).problem(http.StatusUnprocessableEntity, "invalid")
		}
	})
	if ids < 14 || edits < 7 {
		t.Errorf("%d operations with an id and %d edits were tried; there are more", ids, edits)
	}
}

func TestStaleEditsAreRefused(t *testing.T) {
	h := newHouse(t)
	owner := h.signedIn("owner")
	v := h.Visit(h.Crew, h.Property, build.Day)
	var plan planJSON
	owner.ask(http.MethodPost, apiPrefix+"/plans", h.bodies()["ask-plan"]).is(http.StatusAccepted).into(&plan)
	for _, c := range []struct{ operation, method, path string }{
		{"edit-company", http.MethodPut, "/company"},
		{"edit-customer", http.MethodPut, "/customers/" + h.Customer.ID.String()},
		{"edit-property", http.MethodPatch, "/properties/" + h.Property.ID.String()},
		{"edit-turf-area", http.MethodPatch, "/turf-areas/" + build.Front(h.Property).ID.String()},
		{"withdraw-visit", http.MethodPost, "/visits/" + v.ID.String() + "/withdraw"},
		{"accept-plan", http.MethodPost, "/plans/" + plan.ID.String() + "/accept"},
		{"drop-plan", http.MethodPost, "/plans/" + plan.ID.String() + "/drop"},
	} {
		t.Run(c.operation, func(t *testing.T) {
			var body any
			if b, ok := h.bodies()[c.operation]; ok {
				body = b
			}
			owner.ask(c.method, apiPrefix+c.path, body, ifMatch(`"98765"`)).problem(http.StatusPreconditionFailed, "")
		})
	}
}

func TestAddressesThatAreNotThereAndWrongMethods(t *testing.T) {
	h := newHouse(t)
	owner := h.signedIn("owner")
	owner.ask(http.MethodGet, apiPrefix+"/moon", nil).problem(http.StatusNotFound, "no-such-page")
	owner.ask(http.MethodGet, apiPrefix+"/company/", nil).problem(http.StatusNotFound, "no-such-page")
	owner.ask(http.MethodGet, "/moon", nil).problem(http.StatusNotFound, "no-such-page")
	paths := h.document.Paths.Map()
	for path, item := range paths {
		for _, method := range []string{http.MethodGet, http.MethodPut, http.MethodPost, http.MethodPatch, http.MethodDelete} {
			if item.GetOperation(method) == nil && !servedByPattern(h, method, path) {
				got := owner.ask(method, unknownPath(path), nil)
				got.problem(http.StatusMethodNotAllowed, "no-such-method")
				if got.Header().Get("Allow") == "" {
					t.Errorf("%s %s is refused without saying in Allow which methods there are (RFC 9110, 15.5.6)", method, path)
				}
			}
		}
	}
}

// servedByPattern says whether another path with a parameter takes the method,
// as /records/{id} takes GET /records/gaps.
func servedByPattern(h *house, method, path string) bool {
	r, err := http.NewRequest(method, unknownPath(path), nil)
	if err != nil {
		h.t.Fatal(err)
	}
	_, _, err = h.routes.FindRoute(r)
	return err == nil
}

func TestPanicsAndFailuresTellNothingOfTheProgram(t *testing.T) {
	h := newHouse(t)
	h.server.engine.GET(apiPrefix+"/breaks", func(*gin.Context) { panic("runtime error: nil pointer in select * from secrets") })
	h.server.engine.GET("/breaks", h.server.page(func(*gin.Context) error { return errors.New(`pq: relation "secrets" does not exist`) }))
	operation(h.server, http.MethodGet, "/breaks-typed", "breaks", "breaks", account.SeeCompany,
		func(context.Context, account.Account, *struct{}) (*struct{}, error) {
			return nil, errors.New(`pq: relation "secrets" does not exist`)
		})
	operation(h.server, http.MethodGet, "/panics-typed", "panics", "panics", account.SeeCompany,
		func(context.Context, account.Account, *struct{}) (*struct{}, error) { panic("nil pointer") })
	owner := h.signedIn("owner")
	for _, path := range []string{apiPrefix + "/breaks", "/breaks", apiPrefix + "/breaks-typed", apiPrefix + "/panics-typed"} {
		got := owner.ask(http.MethodGet, path, nil)
		got.problem(http.StatusInternalServerError, "internal")
		if strings.Contains(got.Body.String(), "secrets") {
			t.Errorf("%s tells of the inside: %s", path, got.Body)
		}
	}
	page := owner.ask(http.MethodGet, "/breaks", nil, header{"Accept", "text/html"}).is(http.StatusInternalServerError)
	if s := page.Body.String(); !strings.Contains(s, "<html") || strings.Contains(s, "secrets") || strings.Contains(s, "pq:") {
		t.Errorf("the page of a failure: %s", s)
	}
}

// A code becomes part of an address, and what it opens as is a page.
func TestProblemTypesOpenAsPages(t *testing.T) {
	h := newHouse(t)
	for code := range problemTitles {
		got := h.nobody().ask(http.MethodGet, "/problems/"+code, nil, header{"Accept", "text/html"}).is(http.StatusOK)
		if !strings.Contains(got.Body.String(), problemTitles[code]) {
			t.Errorf("/problems/%s does not name %q", code, problemTitles[code])
		}
	}
}

func TestPointersOfHuma(t *testing.T) {
	for location, want := range map[string]string{"body": "", "body.name": "/name", "body.items[3].tags[0]": "/items/3/tags/0", "body[2].x": "/2/x",
		"query.limit": "query limit", "path.id": "path id", "header.If-Match": "header If-Match"} {
		if got := pointerOf(location); got != want {
			t.Errorf("pointerOf(%q) = %q, want %q", location, got, want)
		}
	}
}
