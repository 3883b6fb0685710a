package postgres_test

import (
	"reflect"
	"testing"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/fault"
	"thirdcut/internal/postgres"
)

func TestCompanyIsCreatedOnceAndThenChangedByVersion(t *testing.T) {
	h := newHouse(t)
	s, err := h.Company(h.ctx)
	h.ok(err)
	if s.Name != "Fernwick Grounds" || s.Version != 1 || s.Zone.String() != "America/New_York" || !s.ClockAt.IsZero() {
		t.Fatalf("company %+v", s)
	}
	rename := func(name string) func(*company.Settings) error {
		return func(s *company.Settings) error { s.Name = name; return nil }
	}
	_, err = h.SaveCompany(h.ctx, 0, rename("X"))
	h.refused(err, fault.NeedsVersion, "version-needed")
	_, err = h.SaveCompany(h.ctx, 7, rename("X"))
	h.refused(err, fault.Stale, "stale")
	_, err = h.SaveCompany(h.ctx, 1, rename(""))
	h.refused(err, fault.Invalid, "company")
	_, err = h.SaveCompany(h.ctx, 1, func(s *company.Settings) error { s.WeatherPlaceID = "nowhere"; return nil })
	h.refused(err, fault.Invalid, "no-such-weather-place")

	s, err = h.SaveCompany(h.ctx, 1, rename("Fernwick Lawns"))
	h.ok(err)
	if s.Version != 2 || h.refreshes(uuid.Nil) != 0 {
		t.Errorf("a new name: version %d, windows asked for %d times", s.Version, h.refreshes(uuid.Nil))
	}
	s, err = h.SaveCompany(h.ctx, 2, rename("Fernwick Lawns"))
	h.ok(err)
	if s.Version != 2 {
		t.Errorf("nothing changed, yet the version is %d", s.Version)
	}
	s, err = h.SaveCompany(h.ctx, 2, func(s *company.Settings) error {
		s.Holidays, s.Jurisdictions = []civil.Date{civil.MustDate("2026-07-03")}, []string{"md"}
		return nil
	})
	h.ok(err)
	if h.refreshes(uuid.Nil) != 1 {
		t.Errorf("a holiday more: windows asked for %d times, want 1", h.refreshes(uuid.Nil))
	}
	read, err := h.Company(h.ctx)
	h.ok(err)
	if !reflect.DeepEqual(read, s) {
		t.Errorf("read %+v, saved %+v", read, s)
	}
}

func TestFrozenClock(t *testing.T) {
	h := newHouse(t)
	at := time.Date(2026, 7, 8, 2, 30, 0, 0, time.UTC) // still the 7th in Maryland
	h.ok(h.SetClock(h.ctx, at))
	s, err := h.Company(h.ctx)
	h.ok(err)
	if got := s.Clock(h.Real).Today(); got != civil.MustDate("2026-07-07") {
		t.Errorf("business day %s", got)
	}
	h.ok(h.SetClock(h.ctx, time.Time{}))
	s, err = h.Company(h.ctx)
	h.ok(err)
	if got := s.Clock(h.Real).Today(); got != civil.MustDate("2026-06-02") || h.refreshes(uuid.Nil) != 2 {
		t.Errorf("business day %s, windows asked for %d times", got, h.refreshes(uuid.Nil))
	}
}

func TestNoCompanyYet(t *testing.T) {
	h := newHouse(t)
	_, err := h.ExecContext(h.ctx, `delete from company`)
	h.ok(err)
	_, err = h.Company(h.ctx)
	h.refused(err, fault.NotFound, "no-company")
	h.refused(h.SetClock(h.ctx, h.now), fault.NotFound, "no-company")
}

// Every constraint that is answered in words must exist, or the words never come.
func TestEveryAnsweredConstraintExists(t *testing.T) {
	h := newHouse(t)
	for _, name := range postgres.AnsweredConstraints() {
		n := h.count(`select (select count(*) from pg_constraint where conname = $1)
			+ (select count(*) from pg_trigger where tgname = $1) + (select count(*) from pg_class where relname = $1 and relkind = 'i')`, name)
		if n == 0 {
			t.Errorf("no constraint is called %s", name)
		}
	}
}
