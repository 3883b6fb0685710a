package application_test

import (
	"crypto/sha256"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"thirdcut/internal/application"
)

func TestCanonicalJSONIsTheSameForTheSameContent(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{`{ "b" : 1.50 , "a" : [ 1 , {"y":null,"x":"<&>"} ] }`, `{"a":[1,{"x":"<&>","y":null}],"b":1.50}`},
		{`  "3 1/4\u0022"  `, `"3 1/4\""`},
		{`12345678901234567890.123`, `12345678901234567890.123`},
	} {
		got, err := application.Canonical([]byte(c.in))
		if err != nil || string(got) != c.want {
			t.Errorf("%s: %s %v", c.in, got, err)
		}
		again, _ := application.Canonical(got)
		if string(again) != string(got) {
			t.Errorf("%s is not settled: %s", got, again)
		}
	}
	for _, bad := range []string{``, `{`, `{} {}`, `nul`, `{"a":1}x`} {
		if got, err := application.Canonical([]byte(bad)); err == nil {
			t.Errorf("%q is read as %s", bad, got)
		}
	}
}

func TestTheHashIsThatOfTheOneBeforeAndTheText(t *testing.T) {
	prev := application.Hash{1, 2, 3}
	text, hash, err := application.Seal(build(t, files(), told()).Record, prev)
	if err != nil {
		t.Fatal(err)
	}
	if want := sha256.Sum256(append(prev[:], text...)); application.Hash(want) != hash {
		t.Errorf("hash %s", hash)
	}
	if _, other, _ := application.Seal(build(t, files(), told()).Record, application.Hash{}); other == hash {
		t.Error("the hash does not depend on the record before")
	}
	if strings.Contains(text, "SpotAcres") || !strings.Contains(text, `"entered":"5.2 fl oz"`) {
		t.Errorf("sealed text %s", text)
	}
}

// Times are kept in UTC to the microsecond, so that what the database gives
// back seals to the same text.
func TestTimesAreSettled(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := application.Record{FinishedAt: time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "s"), rapid.Int64Range(0, 999_999_999).Draw(t, "ns")).In(zone)}
		r.StartedAt = r.FinishedAt.Add(-time.Minute)
		text, _, err := application.Seal(r, application.Hash{})
		if err != nil {
			t.Fatal(err)
		}
		r.FinishedAt = r.FinishedAt.UTC().Truncate(time.Microsecond)
		r.StartedAt = r.StartedAt.Truncate(time.Microsecond)
		if again, _, _ := application.Seal(r, application.Hash{}); again != text {
			t.Fatalf("%s\n%s", text, again)
		}
	})
}
