package export

import (
	"testing"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
)

// full is a record in which everything that can be told is told.
func full(t *testing.T) (application.Record, *time.Location) {
	t.Helper()
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	day, n := civil.MustDate("2026-06-02"), 4.0
	r := application.Record{ID: uuid.New(), Seq: 1, AppliedOn: day, StartedAt: day.At(500, zone), FinishedAt: day.At(540, zone),
		RecordedAt: day.At(600, zone), Zone: "America/New_York", LabelVersionID: uuid.New(), LabelRevision: "A",
		Lines: []application.Line{{Name: "Front", AreaTreated: application.Amount{Entered: "5,200 sq ft", Value: 5200, Unit: "sq ft"}}},
		Total: application.Amount{Entered: "4.5 oz", Value: 0.1276, Unit: "kg"}, AreaTreated: application.Amount{Entered: "5,200 sq ft", Value: 5200, Unit: "sq ft"},
		Rate: "0.87 oz/1000 sq ft", MixRate: "0.9 oz/gal", Diluent: &application.Amount{Entered: "5 gal", Value: 5, Unit: "gal"},
		DilutedVolume: &application.Amount{Entered: "5 gal", Value: 5, Unit: "gal"}, Target: "crabgrass", SiteType: "turf", Method: "broadcast",
		Equipment: "boom", Applicator: application.Who{PersonID: uuid.New(), Name: "Dana Pell", License: "L-1"},
		Supervisor: application.Who{PersonID: uuid.New(), Name: "Lee Alder", License: "L-2"}, Assistants: []string{"Hal Sedge"},
		AuthorisedBy: "Ada Quill", ReentryText: "12 hours", ReentryHours: &n, ReentryAt: day.At(1260, zone), SignPosted: true, NoticeGiven: true,
		Incident: "none spilled", WeatherStart: application.Weather{AirTempF: &n, AirTempEntered: "4 F", WindMPH: &n, WindEntered: "4 mph",
			WindDirection: "NW", Other: "clear", Origin: application.Measured, WindOrigin: application.Measured}}
	r.ProductName, r.EPARegNo, r.ActiveIngredient, r.ConcentrationPercent, r.Formulation, r.Pesticide = "Greenfield 4L", "000-111", "examplin", &n, "granule", true
	r.SiteAddress, r.Municipality, r.County, r.State, r.ZIPCode = "12 Elm Row", "Fernwick", "Carroll", "MD", "21000"
	r.CustomerName, r.CustomerAddress, r.CustomerPhone, r.PropertyOwner = "Ada Quill", "1 Oak Row", "555-0100", "Ben Quill"
	r.BusinessName, r.BusinessAddress, r.BusinessLicense = "Fernwick Grounds", "1 Mill Lane", "B-1"
	return r, zone
}

func TestACellIsFilledWhereTheElementIs(t *testing.T) {
	r, zone := full(t)
	c := cells{r, r.Judged(), zone}
	if len(c.judged.Fields) < 40 {
		t.Fatalf("only %d elements are filled", len(c.judged.Fields))
	}
	for id := range c.judged.Fields {
		if v := c.of(id); v == nil || v == "" {
			t.Errorf("%s counts as filled, its column is empty", id)
		}
	}
	none := cells{application.Record{Zone: r.Zone}, application.Record{Zone: r.Zone}.Judged(), zone}
	for id := range headers {
		v := none.of(id)
		if d, ok := v.(civil.Date); ok && d.IsZero() {
			v = nil
		}
		if v != nil && v != "" {
			t.Errorf("an empty record says %s is %v", id, v)
		}
	}
}

func TestCellsSayWhatWasEntered(t *testing.T) {
	r, zone := full(t)
	c := cells{r, r.Judged(), zone}
	for id, want := range map[string]any{
		"start_time": "08:20", "end_time": "09:00", "application_time": "08:20 to 09:00", "amount_applied": "4.5 oz",
		"diluent_amount": "5 gal", "wind_speed": "4 mph", "air_temp": "4 F", "site_location": "12 Elm Row, Fernwick (Front)",
		"posted": "yes", "supervisor_name": "Lee Alder", "date": civil.MustDate("2026-06-02"), "active_ingredient_concentration": 4.0,
	} {
		if got := c.of(id); got != want {
			t.Errorf("%s is %v, want %v", id, got, want)
		}
	}
	if got, ok := c.of("reentry_datetime").(time.Time); !ok || got.Format("2006-01-02 15:04 MST") != "2026-06-02 21:00 EDT" {
		t.Errorf("re-entry is %v", c.of("reentry_datetime"))
	}
	mph := 6.25
	c.WeatherStart = application.Weather{WindMPH: &mph, WindOrigin: application.FromStation}
	if got := c.of("wind_speed"); got != "6.25 (day's mean of a station)" {
		t.Errorf("a station's wind is written as %v", got)
	}
	c.Spot = true
	c.judged = c.Record.Judged()
	if got := c.of("site_location"); got != "spot application: Front, 12 Elm Row, Fernwick" {
		t.Errorf("spot work is at %v", got)
	}
}

func TestSpotWorkOfADayIsAddedUpByApplicator(t *testing.T) {
	one, two := uuid.New(), uuid.New()
	spot := func(who uuid.UUID, sqft float64, corrected int64) Row {
		r := Row{CorrectedBySeq: corrected}
		r.Spot, r.Applicator.PersonID = true, who
		r.Lines = []application.Line{{AreaTreated: application.Amount{Value: sqft}}}
		return r
	}
	day := []Row{spot(one, 2178, 0), spot(two, 435.6, 0), spot(one, 2178, 0), spot(two, 9999, 7), {}}
	fillSpotAcres(day)
	for i, want := range []float64{0.1, 0.01, 0.1, 0.01} {
		if got := day[i].SpotAcresOfDay; got == nil || round(*got, 9) != want {
			t.Errorf("record %d: %v acres, want %v", i, got, want)
		}
	}
	if day[4].SpotAcresOfDay != nil {
		t.Error("work that is no spot work got an area")
	}
}
