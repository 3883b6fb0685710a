package api

import (
	"bytes"
	"encoding/json"
	"maps"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"thirdcut/internal/testkit/golden"
)

func TestDescriptionIsTheOneThatWasLookedAt(t *testing.T) {
	h := newHouse(t)
	got := h.nobody().ask(http.MethodGet, apiPrefix+"/openapi.json", nil).is(http.StatusOK)
	var text bytes.Buffer
	if err := json.Indent(&text, got.Body.Bytes(), "", "  "); err != nil {
		t.Fatal(err)
	}
	text.WriteByte('\n')
	golden.Equal(t, "../testdata/api/openapi.json", text.Bytes())
	if !h.document.IsOpenAPI31OrLater() {
		t.Errorf("the description is of OpenAPI %s, want 3.1", h.document.OpenAPI)
	}
}

// eachOperation calls f for every operation of the description.
func eachOperation(doc *openapi3.T, f func(method, path string, op *openapi3.Operation)) {
	paths := doc.Paths.Map()
	for _, path := range slices.Sorted(maps.Keys(paths)) {
		ops := paths[path].Operations()
		for _, method := range slices.Sorted(maps.Keys(ops)) {
			f(method, path, ops[method])
		}
	}
}

var ginParameter = regexp.MustCompile(`:(\w+)`)

func TestEveryRouteIsDescribedAndEveryPathIsServed(t *testing.T) {
	h := newHouse(t)
	served, described := map[string]bool{}, map[string]bool{}
	for _, r := range h.server.engine.Routes() {
		path := ginParameter.ReplaceAllString(r.Path, "{$1}")
		if strings.HasPrefix(path, apiPrefix+"/") && !strings.HasPrefix(path, apiPrefix+"/openapi") {
			served[r.Method+" "+path] = true
		}
	}
	eachOperation(h.document, func(method, path string, _ *openapi3.Operation) { described[method+" "+path] = true })
	if len(served) < 30 {
		t.Errorf("only %d routes are served under %s", len(served), apiPrefix)
	}
	for route := range served {
		if !described[route] {
			t.Errorf("%s is served and not described", route)
		}
	}
	for route := range described {
		if !served[route] {
			t.Errorf("%s is described and not served", route)
		}
	}
}

func TestEveryOperationIsNamedOnceAndSaysHowItRefuses(t *testing.T) {
	h := newHouse(t)
	seen := map[string]string{}
	eachOperation(h.document, func(method, path string, op *openapi3.Operation) {
		where := method + " " + path
		if op.OperationID == "" || seen[op.OperationID] != "" {
			t.Errorf("%s: operationId %q is empty or that of %s too", where, op.OperationID, seen[op.OperationID])
		}
		seen[op.OperationID] = where
		if op.Summary == "" || op.Security == nil || len(*op.Security) == 0 {
			t.Errorf("%s lacks a summary or says not how to sign in", where)
		}
		for _, want := range []string{"4XX", "5XX"} {
			r := op.Responses.Value(want)
			if r == nil || r.Value.Content[problemType] == nil || r.Value.Content[problemType].Schema.Ref != "#/components/schemas/Problem" {
				t.Errorf("%s does not declare %s as a problem of %s", where, want, problemType)
			}
		}
	})
}
