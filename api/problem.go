package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"regexp"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"thirdcut/internal/fault"
	"thirdcut/internal/label"
)

// Problem is the one shape of every error of the API (RFC 9457).
type Problem struct {
	Type     string          `json:"type" doc:"stable address of the kind of problem; it opens as a page" example:"/problems/stale"`
	Title    string          `json:"title" doc:"the kind of problem in words"`
	Status   int             `json:"status" doc:"the HTTP status of the answer"`
	Detail   string          `json:"detail" doc:"what is wrong here and the way out"`
	Instance string          `json:"instance" doc:"this very request, as in the log" example:"urn:uuid:0199c0de-0000-7000-8000-000000000000"`
	Errors   []fault.Field   `json:"errors,omitempty" doc:"the wrong places of the input"`
	Findings []label.Finding `json:"findings,omitempty" doc:"what a label or rule says, with the numbers compared"`
}

// Error is the detail.
func (p *Problem) Error() string { return p.Detail }

// GetStatus is the HTTP status.
func (p *Problem) GetStatus() int { return p.Status }

// ContentType is application/problem+json whatever was asked for.
func (p *Problem) ContentType(string) string { return problemType }

const problemType = "application/problem+json"

// problemOf turns any error into a problem. A fault keeps its sentence; every
// other error is logged whole and shown without its inside.
func problemOf(ctx context.Context, err error) *Problem {
	var p *Problem
	if errors.As(err, &p) {
		return p
	}
	if f := fault.As(err); f != nil {
		p := newProblem(ctx, f.Kind.Status(), f.Code, f.Detail)
		p.Errors = f.Fields
		if f.Err != nil {
			slog.InfoContext(ctx, "refused", "request", requestID(ctx), "code", f.Code, "because", f.Err)
		}
		return p
	}
	if errors.Is(err, context.Canceled) {
		return newProblem(ctx, 499, "gone-away", "the asker went away before the answer")
	}
	slog.ErrorContext(ctx, "failed", "request", requestID(ctx), "err", err)
	return newProblem(ctx, http.StatusInternalServerError, "internal",
		"the program failed here, not you; nothing was half-written. Try again, and tell the office the request number if it stays.")
}

func newProblem(ctx context.Context, status int, code, detail string) *Problem {
	return &Problem{
		Type: "/problems/" + code, Title: problemTitle(code, status), Status: status,
		Detail: detail, Instance: "urn:uuid:" + requestID(ctx),
	}
}

// problemTitle is the words for a code; codes without their own take the status's.
func problemTitle(code string, status int) string {
	if t, ok := problemTitles[code]; ok {
		return t
	}
	if status == 499 {
		return "Request ended"
	}
	if t := http.StatusText(status); t != "" {
		return t
	}
	return "Problem"
}

// problemTitles names the problems of the edge itself. Codes of the business
// carry their meaning in their detail and are titled by their status.
var problemTitles = map[string]string{
	"internal":        "The program failed",
	"invalid":         "The input is wrong",
	"unreadable":      "The input cannot be read",
	"sign-in":         "Sign in first",
	"forbidden":       "Not for this role",
	"no-such-page":    "Nothing at this address",
	"no-such-method":  "This address does not take that method",
	"cross-origin":    "Sent from another site",
	"needs-version":   "Say which version you change",
	"stale":           "Changed in between",
	"too-large":       "Too large",
	"unsupported":     "Not in this form",
	"not-acceptable":  "Not available in that form",
	"request-timeout": "Took too long to arrive",
}

// writeProblem answers with a problem outside huma (middleware, 404, 405, panics).
func writeProblem(w http.ResponseWriter, r *http.Request, p *Problem) {
	w.Header().Set("Content-Type", problemType)
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(p.Status)
	if r.Method != http.MethodHead {
		_ = json.NewEncoder(w).Encode(p) // the client may be gone; nothing is left to do then
	}
}

// humaProblems makes huma speak in problems. It is global in huma, and the
// same for every server of the process.
func humaProblems() {
	huma.NewError = func(status int, msg string, errs ...error) huma.StatusError {
		return humaProblem(context.Background(), status, msg, errs...)
	}
	huma.NewErrorWithContext = func(c huma.Context, status int, msg string, errs ...error) huma.StatusError {
		ctx := context.Background()
		if c != nil {
			ctx = c.Context()
		}
		return humaProblem(ctx, status, msg, errs...)
	}
}

func humaProblem(ctx context.Context, status int, msg string, errs ...error) huma.StatusError {
	for _, err := range errs {
		if status == http.StatusInternalServerError && err != nil {
			return problemOf(ctx, err)
		}
	}
	code, detail := humaCode(status, msg)
	p := newProblem(ctx, status, code, detail)
	for _, err := range errs {
		if err == nil {
			continue
		}
		field := fault.Field{Detail: err.Error()}
		if d, ok := err.(huma.ErrorDetailer); ok {
			e := d.ErrorDetail()
			field = fault.Field{Pointer: pointerOf(e.Location), Detail: plainWords(e.Message)}
		}
		p.Errors = append(p.Errors, field)
	}
	return p
}

func humaCode(status int, msg string) (code, detail string) {
	switch status {
	case http.StatusBadRequest:
		if msg == "validation failed" { // huma's words for a body that no JSON reader understands
			msg = "its body is no JSON; check that it is whole and written in UTF-8"
		}
		return "unreadable", "the request cannot be read: " + msg
	case http.StatusUnprocessableEntity:
		return "invalid", "some of what was sent is not as the API takes it; each place is named under errors"
	case http.StatusRequestEntityTooLarge:
		return "too-large", "the request is larger than this address takes; send less at once"
	case http.StatusUnsupportedMediaType:
		return "unsupported", "send the body as application/json"
	case http.StatusNotAcceptable:
		return "not-acceptable", "this address answers application/json only"
	case http.StatusRequestTimeout:
		return "request-timeout", "the request took too long to arrive; send it again"
	}
	if msg == "" {
		msg = http.StatusText(status)
	}
	return "invalid", msg
}

// readerWords begin what Go's own readers say; people get plainWords in their place.
var readerWords = regexp.MustCompile(`^(invalid value: )?(json: |invalid character|unexpected end of|unexpected EOF|invalid UUID|strconv\.|parsing time|uuid: )`)

// plainWords is the message, unless it speaks of the program.
func plainWords(message string) string {
	if readerWords.MatchString(message) {
		return "cannot be read; look in the API's description for the form that is wanted here"
	}
	return message
}

var indexInLocation = regexp.MustCompile(`\[(\d+)\]`)

// pointerOf turns huma's "body.items[3].tags" into the JSON Pointer
// "/items/3/tags"; places outside the body keep their words ("query limit").
func pointerOf(location string) string {
	where, rest, _ := strings.Cut(location, ".")
	if where == "body" || strings.HasPrefix(where, "body[") {
		all := indexInLocation.ReplaceAllString(strings.TrimPrefix(location, "body"), ".$1")
		return strings.ReplaceAll(all, ".", "/")
	}
	if rest == "" {
		return location
	}
	return fmt.Sprintf("%s %s", where, rest)
}
