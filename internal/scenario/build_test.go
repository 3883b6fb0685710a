package scenario

import (
	"math"
	"testing"
	"time"

	"thirdcut/internal/civil"
	"thirdcut/internal/postgres"
	"thirdcut/internal/schedule"
	"thirdcut/internal/testkit/pgtest"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
	"thirdcut/internal/weather"
)

func TestMain(m *testing.M) { pgtest.Main(m) }

func openHouse(t *testing.T) House {
	t.Helper()
	db, err := postgres.Open(t.Context(), pgtest.New(t), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return House{DB: db, Schedule: &schedule.Service{Store: db, Real: time.Now}, Visits: visit.Service{Store: db}, Seed: Seed, Properties: 60}
}

func TestBuildMakesALivingCompany(t *testing.T) {
	h := openHouse(t)
	made, err := Build(t.Context(), h)
	if err != nil {
		t.Fatal(err)
	}
	if len(made.Properties) != 60 || len(made.Crews) != 6 {
		t.Errorf("%d properties and %d crews, want 60 and 6", len(made.Properties), len(made.Crews))
	}
	if got := made.Company.Clock(time.Now).Now().In(made.Company.Zone).Format("2006-01-02 15:04"); got != "2026-07-06 06:00" {
		t.Errorf("business time stands at %s", got)
	}
	if made.Closed < 200 {
		t.Errorf("only %d visits of the season are closed", made.Closed)
	}
	verified, err := h.DB.VerifyRecords(t.Context(), nil)
	if err != nil || !verified.OK() || verified.Records < 20 {
		t.Errorf("%d records, %v, %v", verified.Records, verified.Problems, err)
	}
	waiting, err := h.DB.QuarantineOpen(t.Context())
	if err != nil || len(waiting) != 1 {
		t.Errorf("%d reports need a person, want 1 (%v)", len(waiting), err)
	}
	open, _, err := h.DB.DueCounts(t.Context(), DefaultDate)
	if err != nil || open == 0 {
		t.Errorf("no lawn is due on the day of the demo (%v)", err)
	}
	jobs, err := h.DB.JobFigures(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if jobs.Waiting != 0 {
		t.Errorf("%d jobs are left undone: %+v", jobs.Waiting, jobs)
	}
}

// The spread of the areas' own factors is what the demo put in, so what has
// been learned must spread too, and not lie at the prior.
func TestLawnsTeachWhatTheyAre(t *testing.T) {
	h := openHouse(t)
	if _, err := Build(t.Context(), h); err != nil {
		t.Fatal(err)
	}
	factors, err := h.DB.Factors(t.Context(), DefaultDate.Year)
	if err != nil {
		t.Fatal(err)
	}
	xs := factors[turf.TallFescue]
	if len(xs) < 20 {
		t.Fatalf("%d areas of tall fescue have taught something", len(xs))
	}
	mean, sum := 0.0, 0.0
	for _, x := range xs {
		mean += x / float64(len(xs))
	}
	for _, x := range xs {
		sum += (x - mean) * (x - mean)
	}
	if sd := math.Sqrt(sum / float64(len(xs))); sd < 0.08 || sd > 0.4 {
		t.Errorf("learned ln factors have a spread of %.3f, the truth's is %.2f", sd, growthSpread)
	}
	if math.Abs(mean) > 0.25 {
		t.Errorf("learned ln factors have a mean of %.3f, the truth's is 0", mean)
	}
}

func TestCloseDayReportsWhatWasSent(t *testing.T) {
	h := openHouse(t)
	made, err := Build(t.Context(), h)
	if err != nil {
		t.Fatal(err)
	}
	k, p := made.Crews[1], made.Properties[0]
	if _, err := h.DB.AddVisits(t.Context(), []visit.Visit{{PropertyID: p.ID, CrewID: k.ID, Date: DefaultDate, Arrive: 480, Leave: 520,
		Tasks: []visit.Task{{TurfAreaID: p.Areas[0].ID, Work: turf.Mow, Minutes: 30}}}}); err != nil {
		t.Fatal(err)
	}
	if done, err := CloseDay(t.Context(), h, made, DefaultDate); err != nil || done.Closed != 0 {
		t.Errorf("%d visits that were not sent are closed (%v)", done.Closed, err)
	}
	if _, err := h.DB.SendSheet(t.Context(), k.ID, DefaultDate); err != nil {
		t.Fatal(err)
	}
	done, err := CloseDay(t.Context(), h, made, DefaultDate)
	if err != nil || done.Closed != 1 || done.Returned != 0 {
		t.Errorf("closed %+v, %v; want the one visit", done, err)
	}
}

func TestShiftToPutsTheLastFullYearOnTheDemos(t *testing.T) {
	days := Weather(1, civil.MustDate("2023-01-01"), civil.MustDate("2025-03-10"))
	moved, note, err := shiftTo(days, 2026)
	if err != nil {
		t.Fatal(err)
	}
	// 2024 is the last full year: it stands for 2026, which has no 29 February.
	if first, last := moved[0].Date, moved[len(moved)-1].Date; first != civil.MustDate("2025-01-01") || last != civil.MustDate("2026-12-31") {
		t.Errorf("moved days run from %s to %s", first, last)
	}
	if len(moved) != 365+365 || note == "" {
		t.Errorf("%d days, note %q", len(moved), note)
	}
	for _, d := range moved {
		if d.Quality != weather.Observed {
			t.Fatalf("%s is %s", d.Date, d.Quality)
		}
	}
	if _, _, err := shiftTo(days[:100], 2026); err == nil {
		t.Error("a file without a whole year is taken")
	}
}
