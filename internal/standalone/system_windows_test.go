package standalone

import (
	"context"
	"strings"
	"testing"

	"thirdcut/internal/fault"
)

// Here there is no private PostgreSQL, and the sentence says what to do.
func TestPrivateServerIsRefusedWithTheWayOut(t *testing.T) {
	s, err := Start(context.Background(), Options{Dir: t.TempDir(), NoFetch: true})
	if err == nil {
		s.Stop()
	}
	if !fault.HasCode(err, "not-here") || !strings.Contains(err.Error(), "DATABASE_URL") {
		t.Errorf("got %v", err)
	}
}
