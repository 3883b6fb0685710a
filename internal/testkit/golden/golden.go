// Package golden compares what a test made with a file that was looked at once.
package golden

import (
	"flag"
	"os"
	"path/filepath"
	"testing"
)

var update = flag.Bool("update", false, "rewrite the golden files with what the tests made; look at the difference before committing it")

// Equal fails the test when got differs from the file; with -update it
// rewrites the file.
func Equal(t testing.TB, file string, got []byte) {
	t.Helper()
	if *update {
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatalf("read the golden file: %v (run with -update to make it)", err)
	}
	if string(got) != string(want) {
		t.Errorf("differs from %s at byte %d; run with -update and look at the difference\n got: …%s…\nwant: …%s…",
			file, firstDifference(got, want), around(got, firstDifference(got, want)), around(want, firstDifference(got, want)))
	}
}

func firstDifference(a, b []byte) int {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return i
		}
	}
	return min(len(a), len(b))
}

func around(b []byte, at int) []byte { return b[max(0, at-60):min(len(b), at+120)] }
