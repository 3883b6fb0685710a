package api

import (
	"context"
	"net/url"
	"reflect"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humagin"

	"thirdcut/internal/account"
	"thirdcut/internal/fault"
)

// operation adds one typed operation to the API: who may call it is asked
// before its input is read, and its errors become problems.
func operation[I, O any](s *Server, method, path, id, summary string, action account.Action,
	do func(ctx context.Context, who account.Account, in *I) (*O, error), change ...func(*huma.Operation)) {
	op := huma.Operation{
		Method: method, Path: apiPrefix + path, OperationID: id, Summary: summary,
		Tags:     []string{strings.Split(strings.Trim(path, "/"), "/")[0]},
		Security: []map[string][]string{{"session": {}}, {"token": {}}},
		Middlewares: huma.Middlewares{func(c huma.Context, next func(huma.Context)) {
			if err := mayCall(c.Context(), action); err != nil {
				g := humagin.Unwrap(c)
				writeProblem(g.Writer, g.Request, problemOf(c.Context(), err))
				return
			}
			next(c)
		}},
	}
	for _, f := range change {
		f(&op)
	}
	s.declareProblems(&op)
	huma.Register(s.api, op, func(ctx context.Context, in *I) (*O, error) {
		who, _ := accountFrom(ctx)
		out, err := do(ctx, who, in)
		if err != nil {
			return nil, problemOf(ctx, err)
		}
		return out, nil
	})
}

// declareProblems says in the description that every refusal and failure is a
// problem document. Other problems than these are not written by any operation.
func (s *Server) declareProblems(op *huma.Operation) {
	if op.Responses == nil {
		op.Responses = map[string]*huma.Response{}
	}
	schema := s.api.OpenAPI().Components.Schemas.Schema(reflect.TypeFor[Problem](), true, "Problem")
	for status, words := range map[string]string{"4XX": "refused, with the reason and the way out", "5XX": "failed; nothing was half-written"} {
		op.Responses[status] = &huma.Response{Description: words, Content: map[string]*huma.MediaType{problemType: {Schema: schema}}}
	}
}

// mayCall is nil when the signed-in account may do the action.
func mayCall(ctx context.Context, action account.Action) error {
	who, ok := accountFrom(ctx)
	if !ok {
		return fault.New(fault.SignIn, "sign-in", "sign in first, or send a valid API token as a bearer token")
	}
	if !account.May(who, action) {
		return fault.New(fault.Forbidden, "forbidden", "your role may not do this; ask the owner or the office")
	}
	return nil
}

// answers sets the status of success, for operations that do not answer 200.
func answers(status int) func(*huma.Operation) {
	return func(op *huma.Operation) { op.DefaultStatus = status }
}

// Paged is the input of every list. It and the other parts of inputs are
// exported because huma passes over embedded types that are not.
type Paged struct {
	After string `query:"after" doc:"cursor from a Link header; opaque"`
	Limit int    `query:"limit" minimum:"1" maximum:"200" default:"50"`
}

// pageLinks is the Link header of a list (RFC 8288): first, and next where there is more.
func pageLinks(path string, query url.Values, limit int, next string) string {
	query.Del("after")
	query.Set("limit", strconv.Itoa(limit))
	links := []string{"<" + apiPrefix + path + "?" + query.Encode() + `>; rel="first"`}
	if next != "" {
		query.Set("after", next)
		links = append(links, "<"+apiPrefix+path+"?"+query.Encode()+`>; rel="next"`)
	}
	return strings.Join(links, ", ")
}

// etag is the strong entity tag of a version.
func etag(version int) string { return `"` + strconv.Itoa(version) + `"` }

// matchVersion reads If-Match: which version an edit changes. Absent is
// fault.NeedsVersion, unreadable fault.Stale.
func matchVersion(ifMatch string) (int, error) {
	if ifMatch == "" {
		return 0, fault.New(fault.NeedsVersion, "needs-version", "send If-Match with the ETag that you read, so that nobody's change is lost")
	}
	v, err := strconv.Atoi(strings.Trim(strings.TrimSpace(ifMatch), `"`))
	if err != nil {
		return 0, fault.New(fault.Stale, "stale", "the If-Match given is not the ETag of any version; read it again")
	}
	return v, nil
}

// FieldMatch is the input of an edit.
type FieldMatch struct {
	IfMatch string `header:"If-Match" doc:"ETag of the version that you change; without it 428"`
}
