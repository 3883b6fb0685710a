// Package fault holds the one error type by which the business says no.
//
// An edge (the API, a page, a command) turns a fault into a status, a sentence
// and an exit code; every other error is a failure of the program itself and
// is shown without its inside detail.
package fault

import (
	"errors"
	"fmt"
	"strings"
)

// Kind says what sort of "no" a fault is. Its zero value is not valid.
type Kind int

// The kinds, with the HTTP status that the API answers for each.
const (
	Invalid      Kind = iota + 1 // 422: the input is wrong; Fields name the places
	NotFound                     // 404
	Conflict                     // 409: it collides with what is there
	Stale                        // 412: somebody changed it in between
	NeedsVersion                 // 428: an edit must say which version it changes
	SignIn                       // 401
	Forbidden                    // 403
	TooLarge                     // 413
	TooMany                      // 429
	Unavailable                  // 503: a part that is needed does not answer
	Rule                         // 422: a label, law or turf rule says no
	Gone                         // 410
	NotAllowed                   // 405: the address knows no such method
	BadRequest                   // 400: it could not be read at all
	Unsupported                  // 415
)

// Status is the HTTP status of a kind; an unknown kind is 500.
func (k Kind) Status() int {
	switch k {
	case Invalid, Rule:
		return 422
	case NotFound:
		return 404
	case Conflict:
		return 409
	case Stale:
		return 412
	case NeedsVersion:
		return 428
	case SignIn:
		return 401
	case Forbidden:
		return 403
	case TooLarge:
		return 413
	case TooMany:
		return 429
	case Unavailable:
		return 503
	case Gone:
		return 410
	case NotAllowed:
		return 405
	case BadRequest:
		return 400
	case Unsupported:
		return 415
	}
	return 500
}

// Field is one wrong place in the input. Pointer is a JSON Pointer ("/areas/0/area_sqft")
// or, for files, a place in words ("sheet Lawns, line 12, column C").
type Field struct {
	Pointer string `json:"pointer"`
	Detail  string `json:"detail"`
}

// Error is a domain error. Code is stable and machine-readable ("stale-visit");
// Detail is one plain sentence that names the place and the way out.
type Error struct {
	Kind   Kind
	Code   string
	Detail string
	Fields []Field
	Err    error // what lies behind it, never shown to people
}

// Error returns Detail, followed by the fields where there are any.
func (e *Error) Error() string {
	if len(e.Fields) == 0 {
		return e.Detail
	}
	parts := make([]string, 0, len(e.Fields))
	for _, f := range e.Fields {
		parts = append(parts, f.Pointer+": "+f.Detail)
	}
	return e.Detail + " (" + strings.Join(parts, "; ") + ")"
}

// Unwrap returns the error behind the fault.
func (e *Error) Unwrap() error { return e.Err }

// New makes a fault whose detail is formatted as by fmt.Sprintf.
func New(kind Kind, code, format string, args ...any) *Error {
	return &Error{Kind: kind, Code: code, Detail: fmt.Sprintf(format, args...)}
}

// With returns the fault with one more wrong place added.
func (e *Error) With(pointer, format string, args ...any) *Error {
	e.Fields = append(e.Fields, Field{Pointer: pointer, Detail: fmt.Sprintf(format, args...)})
	return e
}

// Because returns the fault with the error behind it set.
func (e *Error) Because(err error) *Error {
	e.Err = err
	return e
}

// As returns the fault inside err, or nil when there is none.
func As(err error) *Error {
	var e *Error
	if errors.As(err, &e) {
		return e
	}
	return nil
}

// Is says whether err is a fault of that kind.
func Is(err error, kind Kind) bool {
	e := As(err)
	return e != nil && e.Kind == kind
}

// HasCode says whether err is a fault with that code.
func HasCode(err error, code string) bool {
	e := As(err)
	return e != nil && e.Code == code
}
