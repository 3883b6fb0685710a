package golden

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// watched is a test that is let fail.
type watched struct {
	testing.TB
	said string
}

func (w *watched) Helper()                   {}
func (w *watched) Errorf(f string, a ...any) { w.said += fmt.Sprintf(f, a...) }
func (w *watched) Fatalf(f string, a ...any) { w.Errorf(f, a...); runtime.Goexit() }

func judged(file, got string) string {
	w := &watched{}
	done := make(chan bool)
	go func() {
		defer close(done)
		Equal(w, file, []byte(got))
	}()
	<-done
	return w.said
}

func TestDifferenceIsShown(t *testing.T) {
	file := filepath.Join(t.TempDir(), "page.golden")
	if said := judged(file, "a"); !strings.Contains(said, "-update") {
		t.Errorf("a missing file is said so: %q", said)
	}
	if err := os.WriteFile(file, []byte("one\ntwo\nthree\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if said := judged(file, "one\ntwo\nthree\n"); said != "" {
		t.Errorf("the same is called different: %q", said)
	}
	for got, want := range map[string]string{"one\n2\nthree\n": "byte 4", "one\ntwo\n": "byte 8", "": "byte 0", "one\ntwo\nthree\nfour\n": "byte 14"} {
		if said := judged(file, got); !strings.Contains(said, want) || !strings.Contains(said, file) {
			t.Errorf("of %q it said %q, want %q in it", got, said, want)
		}
	}
}

func TestUpdateRewritesTheFile(t *testing.T) {
	file := filepath.Join(t.TempDir(), "deep", "page.golden")
	*update = true
	defer func() { *update = false }()
	if said := judged(file, "new"); said != "" {
		t.Fatalf("it said %q", said)
	}
	*update = false
	if said := judged(file, "new"); said != "" {
		t.Errorf("what was written differs: %q", said)
	}
}
