package postgres_test

import (
	"testing"

	"thirdcut/internal/testkit/pgtest"
)

func TestMain(m *testing.M) { pgtest.Main(m) }
