package application_test

import (
	"errors"
	"testing"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
)

// correct corrects a record of files() as change makes it.
func correct(t *testing.T, f application.Facts, old application.Record, change func(*application.Record)) application.Record {
	t.Helper()
	changed, told, err := old.Changed(func(r *application.Record) error { change(r); return nil })
	if err != nil {
		t.Fatal(err)
	}
	told.ID = id(90)
	rec, err := application.Correct(old, changed, told, f, "read wrong", application.Who{PersonID: id(olive), Name: "Olive Rook"})
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

func TestACorrectionIsJudgedAnew(t *testing.T) {
	f, tell := files(), told()
	tell.Lines[0].Amount = "52 fl oz" // a slip of the pen
	tell.Reasons = map[string]string{"label-other": "same limits"}
	old := build(t, f, tell).Record
	if severity(old.Findings, "rate-over") != label.Refuse {
		t.Fatal("the slip is not over the label")
	}
	rec := correct(t, f, old, func(r *application.Record) { r.Lines[0].Amount.Entered = "5.2 fl oz" })
	if severity(rec.Findings, "rate-over") != "" || rec.Rate != "1 fl oz/1000 sq ft" || rec.Total.Entered != "5.2 fl oz" || rec.MixRate != "0.517896 fl oz/gal" {
		t.Errorf("corrected to %q at %q, mix %q: %+v", rec.Total.Entered, rec.Rate, rec.MixRate, rec.Findings)
	}
	if rec.SupersedesID != old.ID || rec.ID != id(90) || rec.Correction != "read wrong" || rec.CorrectedBy.Name != "Olive Rook" || !rec.RecordedAt.Equal(f.Now) {
		t.Errorf("correction %+v", rec)
	}
	if rec.Reasons[0].Person != "Hal Sedge" {
		t.Errorf("the reason is now %s's", rec.Reasons[0].Person)
	}
	back := correct(t, f, rec, func(r *application.Record) { r.Lines[0].Amount.Entered = "9 fl oz" })
	if severity(back.Findings, "rate-over") != label.Refuse {
		t.Error("an amount over the label comes in by correction unmarked")
	}
}

func TestANumberAlteredAloneIsToldByTheNumber(t *testing.T) {
	f, tell := files(), told()
	tell.Wind, tell.AirTemp = "", ""
	old := build(t, f, tell).Record
	rec := correct(t, f, old, func(r *application.Record) {
		r.WeatherStart.WindMPH, r.WeatherStart.WindOrigin = ptr(11.0), application.Measured
		r.WeatherStart.AirTempF, r.WeatherStart.Origin = ptr(71.0), application.Measured
		r.Lines[0].Amount.Value = 0.2
	})
	if rec.WeatherStart.WindEntered != "11 mph" || *rec.WeatherStart.AirTempF != 71 || rec.Lines[0].Amount.Entered != "0.2 L" {
		t.Errorf("weather %+v, amount %+v", rec.WeatherStart, rec.Lines[0].Amount)
	}
	if severity(rec.Findings, "wind-over") != label.Refuse {
		t.Error("the wind is not compared")
	}
	if again := correct(t, f, rec, func(r *application.Record) { r.Note = "seen" }); again.WeatherStart != rec.WeatherStart && *again.WeatherStart.WindMPH != 11 {
		t.Errorf("a note changed the weather: %+v", again.WeatherStart)
	}
}

func TestWhatIsNotAlteredStaysAsItWasNamed(t *testing.T) {
	f := files()
	old := build(t, f, told()).Record
	f.Site.CustomerName, f.Site.PropertyID = "Somebody Else", id(99) // sold since
	area := f.Areas[id(front)]
	area.Name = "Street side"
	f.Areas[id(front)] = area
	f.Product.Name = "New Name"
	rec := correct(t, f, old, func(r *application.Record) { r.County = "Howard" })
	if rec.CustomerName != "Ada Marsh" || rec.PropertyID != id(9) || rec.Lines[0].Name != "Front" || rec.ProductName != "Sample Sedge Out" || rec.County != "Howard" {
		t.Errorf("correction %+v", rec)
	}
}

func TestTheDayFollowsFromTheTimes(t *testing.T) {
	f := files()
	old := build(t, f, told()).Record
	_, _, err := old.Changed(func(r *application.Record) error { r.AppliedOn = day.AddDays(-1); return nil })
	if !fault.HasCode(err, "correction") {
		t.Errorf("got %v", err)
	}
	rec := correct(t, f, old, func(r *application.Record) {
		r.StartedAt, r.FinishedAt = r.StartedAt.AddDate(0, 0, -1), r.FinishedAt.AddDate(0, 0, -1)
		r.AppliedOn = civil.DateOf(r.StartedAt, zone)
	})
	if rec.AppliedOn != day.AddDays(-1) || !rec.ReentryAt.Equal(old.ReentryAt.AddDate(0, 0, -1)) {
		t.Errorf("applied on %v, re-entry %v", rec.AppliedOn, rec.ReentryAt)
	}
}

func TestWithoutTimesTheDayCanBeCorrected(t *testing.T) {
	f, tell := files(), told()
	tell.StartedAt, tell.FinishedAt = time.Time{}, time.Time{}
	old := build(t, f, tell).Record
	rec := correct(t, f, old, func(r *application.Record) { r.AppliedOn = day.AddDays(-1) })
	if rec.AppliedOn != day.AddDays(-1) {
		t.Errorf("applied on %v", rec.AppliedOn)
	}
}

func TestWhatIsNoCorrection(t *testing.T) {
	f := files()
	old := build(t, f, told()).Record
	changed, tell, err := old.Changed(func(*application.Record) error { return nil })
	if err != nil || tell.ID != uuid.Nil {
		t.Fatalf("%v, id %s", err, tell.ID)
	}
	tell.ID = id(90)
	if _, err := application.Correct(old, changed, tell, f, " ", application.Who{}); !fault.HasCode(err, "correction-reason") {
		t.Errorf("without a reason: %v", err)
	}
	tell.Lines = nil
	if _, err := application.Correct(old, changed, tell, f, "gone", application.Who{}); !fault.HasCode(err, "application") {
		t.Errorf("without a line: %v", err)
	}
	no := errors.New("no")
	if _, _, err := old.Changed(func(*application.Record) error { return no }); !errors.Is(err, no) {
		t.Errorf("got %v", err)
	}
	old.Changed(func(r *application.Record) error { r.Lines[0].Name = "x"; r.Diluent.Entered = "y"; return nil })
	if old.Lines[0].Name != "Front" || old.Diluent.Entered != "10 gal" {
		t.Error("the old record was changed")
	}
}
