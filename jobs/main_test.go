package jobs

import (
	"os"
	"testing"

	"thirdcut/internal/testkit/pgtest"
)

// victim makes the test program a worker that is to be killed.
const victim = "THIRDCUT_TEST_VICTIM"

func TestMain(m *testing.M) {
	if os.Getenv(victim) != "" {
		workUntilKilled()
		return
	}
	pgtest.Main(m)
}
