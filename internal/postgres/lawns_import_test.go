package postgres_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/postgres"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
)

// bigSheet is a sheet of n properties, each of its own customer with two areas and a plan.
func bigSheet(n int) property.Import {
	var s property.Import
	for i := range n {
		line := fmt.Sprintf("line %d", i+2)
		s.Customers = append(s.Customers, property.ImportCustomer{Place: line, Key: fmt.Sprintf("C-%05d", i), Name: fmt.Sprintf("Customer %d", i),
			Phone: "555-0100", Properties: []property.ImportProperty{{Place: line, Address: fmt.Sprintf("%d Oak Street", i+1), ZIPCode: "21000", County: "Carroll",
				Latitude: ptr(39.0 + float64(i)/1e5), Longitude: ptr(-76.0 - float64(i)/1e5), Sensitivities: []string{"pets", `a "pond", {deep}`},
				AllowedFrom: ptr(civil.TimeOfDay(480)), AllowedTo: ptr(civil.TimeOfDay(1440)), ClosedWeekdays: []int{7},
				Areas: []property.ImportArea{
					{Place: line, Name: "Front", AreaSqFt: ptr(5200.1), CuttingHeightIn: ptr(3.1), Species: turf.TallFescue, Irrigated: ptr(true),
						Outline: []byte(`{"type":"Polygon","coordinates":[[[-76.0010,39],[-76.001,39.001],[-76,39.001],[-76.001,39]]]}`), AreaMeasuredOn: civil.MustDate("2026-03-01")},
					{Place: line, Name: "Back", AreaSqFt: ptr(800.7), CuttingHeightIn: ptr(3.0), NLbPerThousandYear: ptr(2.2)},
				},
				Plan: &property.ImportPlan{Place: line, SeasonFrom: &civil.MonthDay{Month: 3, Day: 15}, SeasonTo: &civil.MonthDay{Month: 11, Day: 30},
					LeastDays: ptr(5), PriceCents: ptr(int64(5500)), Services: []turf.Work{turf.Mow, turf.Edge}}}}})
	}
	return s
}

var sheetFile = postgres.ImportFile{Name: "lawns.xlsx", SHA256: make([]byte, 32)}

func (h *house) importLawns(s property.Import, file postgres.ImportFile) postgres.ImportResult {
	h.t.Helper()
	res, err := h.ImportLawns(h.ctx, s, file)
	h.ok(err)
	return res
}

func TestImportLawnsTwice(t *testing.T) {
	h := newHouse(t)
	dry := sheetFile
	dry.DryRun = true
	res := h.importLawns(bigSheet(3), dry)
	if res.Added != 15 || h.count(`select count(*) from customer`) != 0 || h.count(`select count(*) from job_outbox`) != 0 || h.count(`select count(*) from import_run`) != 0 {
		t.Fatalf("dry run: %+v", res)
	}
	if real := h.importLawns(bigSheet(3), sheetFile); fmt.Sprint(real) != fmt.Sprint(res) {
		t.Errorf("the dry run said %+v, the import did %+v", res, real)
	}
	if n := h.count(`select count(*) from job_outbox where kind = 'windows:refresh' and payload ? 'property_id'`); n != 3 {
		t.Errorf("windows of %d properties asked for, want 3", n)
	}
	all, err := h.Properties(h.ctx, postgres.PropertyFilter{})
	h.ok(err)
	if p := all[0]; len(all) != 3 || p.Address != "1 Oak Street" || len(p.Areas) != 2 || p.Plan == nil || p.Plan.AgreedOn != civil.MustDate("2026-06-02") ||
		p.Sensitivities[1] != `a "pond", {deep}` || *p.AllowedTo != 1440 || p.ClosedWeekdays[0] != 7 || !p.Areas[1].Irrigated || p.Areas[1].AreaSqFt != 5200.1 {
		t.Errorf("property %+v", all[0])
	}

	h.now = h.now.Add(24 * time.Hour)
	res = h.importLawns(bigSheet(3), sheetFile)
	if res.Added+res.Changed != 0 || res.Unchanged != 15 {
		t.Errorf("again: %+v", res)
	}
	versions := h.count(`select (select max(version) from customer) + (select max(version) from property) + (select max(version) from turf_area) + (select max(version) from service_plan)`)
	if versions != 4 || h.count(`select count(*) from job_outbox`) != 3 || h.count(`select count(*) from service_plan`) != 3 {
		t.Errorf("again: versions add up to %d, %d jobs, %d plans", versions, h.count(`select count(*) from job_outbox`), h.count(`select count(*) from service_plan`))
	}
	runs, err := h.ImportRuns(h.ctx, 5)
	h.ok(err)
	if len(runs) != 2 || runs[0].Unchanged != 15 || runs[1].Added != 15 || runs[1].FileName != "lawns.xlsx" {
		t.Errorf("runs %+v", runs)
	}
}

func TestImportLawnsChangesOnlyWhatTheSheetSays(t *testing.T) {
	h := newHouse(t)
	h.importLawns(bigSheet(2), sheetFile)
	before, err := h.Properties(h.ctx, postgres.PropertyFilter{})
	h.ok(err)
	_, err = h.SaveProperty(h.ctx, before[0].ID, 1, func(p *property.Property) error { p.GateCode = "1999"; return nil })
	h.ok(err)
	s := bigSheet(2)
	p := &s.Customers[0].Properties[0]
	p.Areas[0].CuttingHeightIn, p.Areas[0].AreaSqFt = ptr(3.5), nil
	p.Plan.PriceCents = ptr(int64(6000))
	res := h.importLawns(s, sheetFile)
	if res.Changed != 2 || res.Unchanged != 8 || res.Areas.Changed != 1 || res.Plans.Changed != 1 {
		t.Errorf("result %+v", res)
	}
	got, err := h.Property(h.ctx, before[0].ID)
	h.ok(err)
	if front := got.Areas[1]; front.CuttingHeightIn != 3.5 || front.AreaSqFt != 5200.1 || front.Version != 2 || front.ID != before[0].Areas[1].ID {
		t.Errorf("front %+v", front)
	}
	if got.GateCode != "1999" || *got.Plan.PriceCents != 6000 || got.Plan.Version != 2 {
		t.Errorf("property %+v, plan %+v", got, got.Plan)
	}
	plans, err := h.ServicePlans(h.ctx, got.ID)
	h.ok(err)
	if len(plans) != 2 || plans[1].EndedOn != civil.MustDate("2026-06-01") {
		t.Errorf("plans %+v", plans)
	}
	if n := h.refreshes(got.ID); n != 2 {
		t.Errorf("windows asked for %d times, want 2", n)
	}
}

func TestImportLawnsIsAllOrNothing(t *testing.T) {
	h := newHouse(t)
	s := bigSheet(20)
	s.Customers[19].Properties[0].Areas[1].CuttingHeightIn = ptr(30.0)
	_, err := h.ImportLawns(h.ctx, s, sheetFile)
	h.refused(err, fault.Invalid, "import")
	if f := fault.As(err); f == nil || len(f.Fields) != 1 || f.Fields[0].Pointer != "line 21" {
		t.Errorf("fields %+v", f)
	}
	s = bigSheet(20)
	s.Customers[19].Properties[0].WeatherPlaceID = "nowhere" // only the database knows
	_, err = h.ImportLawns(h.ctx, s, sheetFile)
	h.refused(err, fault.Invalid, "no-such-weather-place")
	if n := h.count(`select (select count(*) from customer) + (select count(*) from property) + (select count(*) from job_outbox) + (select count(*) from import_run)`); n != 0 {
		t.Errorf("%d rows were kept", n)
	}
}

func TestTwoImportsAtOnceAddOnce(t *testing.T) {
	h := newHouse(t)
	done := make(chan postgres.ImportResult, 2)
	for range 2 {
		go func() {
			res, err := h.ImportLawns(h.ctx, bigSheet(30), sheetFile)
			if err != nil {
				t.Error(err)
			}
			done <- res
		}()
	}
	one, two := <-done, <-done
	if one.Added+two.Added != 150 || one.Unchanged+two.Unchanged != 150 {
		t.Errorf("one %+v, the other %+v", one, two)
	}
}

// A whole county's lawns in one file. Times are logged; the limit only catches
// work that grows faster than the file.
func TestImportTenThousandProperties(t *testing.T) {
	h := newHouse(t)
	s := bigSheet(10_000)
	start := time.Now()
	res := h.importLawns(s, sheetFile)
	first := time.Since(start)
	if res.Added != 50_000 || h.refreshes(uuid.Nil) != 1 || h.count(`select count(*) from job_outbox`) != 1 {
		t.Fatalf("result %+v", res)
	}
	start = time.Now()
	res = h.importLawns(s, sheetFile)
	second := time.Since(start)
	if res.Unchanged != 50_000 {
		t.Fatalf("again %+v", res)
	}
	start = time.Now()
	all, err := h.Properties(h.ctx, postgres.PropertyFilter{WithoutOutlines: true})
	h.ok(err)
	read := time.Since(start)
	start = time.Now()
	page, err := h.PropertiesPage(h.ctx, postgres.PropertyQuery{PageQuery: postgres.PageQuery{Search: "customer 9999"}})
	h.ok(err)
	t.Logf("10,000 properties: import %v, again %v, read %v, search %v", first, second, read, time.Since(start))
	if len(all) != 10_000 || len(page.Items) != 1 {
		t.Errorf("read %d properties, found %d", len(all), len(page.Items))
	}
	if first > 2*time.Minute || second > 2*time.Minute {
		t.Errorf("import took %v, again %v", first, second)
	}
}
