package fault

import (
	"errors"
	"fmt"
	"io"
	"testing"
)

// Statuses: RFC 9110 section 15 (400 to 422, 503), RFC 6585 (428, 429).
func TestEveryKindHasItsStatus(t *testing.T) {
	want := map[Kind]int{Invalid: 422, NotFound: 404, Conflict: 409, Stale: 412, NeedsVersion: 428, SignIn: 401, Forbidden: 403,
		TooLarge: 413, TooMany: 429, Unavailable: 503, Rule: 422, Gone: 410, NotAllowed: 405, BadRequest: 400, Unsupported: 415}
	for k, status := range want {
		if k.Status() != status {
			t.Errorf("kind %d answers %d, want %d", k, k.Status(), status)
		}
	}
	// The list above is whole: one past the last kind, and the zero value, are none.
	for _, k := range []Kind{0, Kind(len(want) + 1), -1} {
		if k.Status() != 500 {
			t.Errorf("kind %d, which is none, answers %d", k, k.Status())
		}
	}
}

func TestFaultIsFoundUnderWrapping(t *testing.T) {
	inner := New(Stale, "stale-visit", "%s changed this visit at %s; look at both", "Edda", "10:04").Because(io.ErrUnexpectedEOF)
	err := fmt.Errorf("close visit: %w", fmt.Errorf("save: %w", inner))
	if As(err) != inner || !Is(err, Stale) || Is(err, Conflict) || !HasCode(err, "stale-visit") || HasCode(err, "stale") {
		t.Errorf("the fault under %v is not told", err)
	}
	if !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Error("the error behind the fault is lost")
	}
	if inner.Error() != "Edda changed this visit at 10:04; look at both" {
		t.Errorf("a person reads %q, which must not show what lies behind", inner.Error())
	}
	for _, none := range []error{nil, io.EOF, fmt.Errorf("read: %w", io.EOF)} {
		if As(none) != nil || Is(none, Invalid) || HasCode(none, "") {
			t.Errorf("%v was taken for a fault", none)
		}
	}
}

func TestFieldsAreSaidInOrder(t *testing.T) {
	err := New(Invalid, "bad-area", "the area cannot be kept").With("/area_sqft", "%g is negative", -4.0).With("sheet Lawns, line 12, column C", "no unit")
	want := "the area cannot be kept (/area_sqft: -4 is negative; sheet Lawns, line 12, column C: no unit)"
	if err.Error() != want {
		t.Errorf("said %q, want %q", err.Error(), want)
	}
	if len(err.Fields) != 2 || err.Fields[0].Pointer != "/area_sqft" || err.Fields[1].Detail != "no unit" {
		t.Errorf("fields %+v", err.Fields)
	}
}
