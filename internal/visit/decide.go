package visit

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
	"thirdcut/internal/product"
	"thirdcut/internal/property"
	"thirdcut/internal/recordrule"
	"thirdcut/internal/stock"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/weather"
)

// Marks that a report can carry for the office.
const (
	MarkOtherCrew    = "other_crew"    // sent by somebody who is not of the visit's crew
	MarkWithdrawn    = "withdrawn"     // the office had taken the visit off
	MarkSecondReport = "second_report" // there was a report of the visit already
	MarkOtherDay     = "other_day"     // done on another day than the visit now stands on
	MarkClock        = "clock"         // finished in the future, or more than 14 days ago
	MarkOverLimit    = "over_limit"    // the label, or a law or licence, would have refused what was done
)

// Bounds of a believable clock, ours.
const (
	clockAhead  = 10 * time.Minute
	clockBehind = 14 * 24 * time.Hour
)

// Facts is what is on file around a report, as it stands while the visit is held.
type Facts struct {
	Visit          Visit
	Reports        int       // earlier reports of the visit
	LastTry        time.Time // latest end that earlier reports give; zero: none
	Company        company.Settings
	Customer       property.Customer
	Property       property.Property
	Areas          map[uuid.UUID]property.TurfArea // of the property, retired ones too
	Products       map[uuid.UUID]product.Product
	People         map[uuid.UUID]crew.Person
	Lots           map[uuid.UUID]stock.Lot
	CrewSupervisor uuid.UUID // answers for the crew's applications; Nil: nobody
	Machines       []crew.Machine
	KnownMachines  map[uuid.UUID]bool // ids of the machines named that are on file, retired ones too
	Recorded       map[uuid.UUID]bool // ids of the applications named that have a record already
	Past           []application.Past
	Cuts           map[uuid.UUID][]civil.Date
	Days           map[civil.Date]weather.Day
	Now            time.Time // business time
}

// Decision is what a report comes to.
type Decision struct {
	State        State
	Reason       string
	Marks        []string
	Findings     []label.Finding
	Tasks        []Done
	Readings     []Reading
	Applications []application.Built
	Learn        []uuid.UUID // turf areas whose growth there is something to learn of
}

// Done is one task report as it is kept.
type Done struct {
	TaskReport
	On    civil.Date
	SetIn *float64 // inches
}

// Reading is one observation as it is kept. A nil Value is words, or a reading
// that cannot be right; Entered is what the person wrote either way.
type Reading struct {
	ID         uuid.UUID
	TurfAreaID uuid.UUID
	Kind       string
	Value      *float64
	Unit       string // in, 1-9, empty for words
	Entered    string
}

// Decide says what follows from a report. A broken rule is a finding; the error
// is for what cannot be kept at all: fault.Invalid "no-such-area" and those of
// application.Build.
func Decide(who Who, e Entry, f Facts) (Decision, error) {
	d := decider{who: who, entry: e, facts: f}
	d.out.State, d.out.Reason = after(f.Visit, e, f.LastTry)
	d.out.Marks = d.marks()
	if e.Outcome == "not_done" && strings.TrimSpace(e.Reason) == "" {
		d.find(label.Note, "no-reason", "entry", "the report does not say why the visit was not done; ask the crew")
	}
	if err := d.tasks(); err != nil {
		return Decision{}, err
	}
	if err := d.readings(); err != nil {
		return Decision{}, err
	}
	if err := d.applications(); err != nil {
		return Decision{}, err
	}
	if worst, _ := label.Worst(d.out.Findings); worst == label.Refuse {
		d.out.Marks = append(d.out.Marks, MarkOverLimit)
	}
	return d.out, nil
}

// after is where the visit stands after the report. What was done stays done,
// whichever of two reports comes first; a withdrawn visit is the office's to settle.
// Of several tries the reason of the latest counts, in whatever order they come in.
func after(v Visit, e Entry, lastTry time.Time) (State, string) {
	switch {
	case v.State == Withdrawn || v.State == Closed:
		return v.State, v.Reason
	case e.Outcome == "done":
		return Closed, ""
	case v.State == Returned && lastTry.After(e.FinishedAt):
		return v.State, v.Reason
	}
	return Returned, e.Reason
}

type decider struct {
	who   Who
	entry Entry
	facts Facts
	out   Decision
}

func (d *decider) find(s label.Severity, code, source, text string, args ...any) {
	d.out.Findings = append(d.out.Findings, label.Finding{Severity: s, Code: code, Text: fmt.Sprintf(text, args...), Source: source})
}

func (d *decider) marks() []string {
	marks := []string{}
	v, e := d.facts.Visit, d.entry
	if !d.who.MayReportForAll && !slices.Contains(d.who.CrewIDs, v.CrewID) {
		marks = append(marks, MarkOtherCrew)
	}
	if v.State == Withdrawn {
		marks = append(marks, MarkWithdrawn)
	}
	if d.facts.Reports > 0 || v.State == Closed || v.State == Returned {
		marks = append(marks, MarkSecondReport)
	}
	if civil.DateOf(e.FinishedAt, d.facts.Company.Zone) != v.Date {
		marks = append(marks, MarkOtherDay)
	}
	if e.FinishedAt.After(d.facts.Now.Add(clockAhead)) || e.FinishedAt.Before(d.facts.Now.Add(-clockBehind)) ||
		!e.StartedAt.IsZero() && e.StartedAt.After(e.FinishedAt) {
		marks = append(marks, MarkClock)
	}
	return marks
}

func (d *decider) noArea(pointer string) error {
	return fault.New(fault.Invalid, "no-such-area", "the report names a turf area that is not of %s", d.facts.Property.Address).
		With(pointer, "is no area of this property")
}

// tasks keeps what was reported of each task. "done" without a list means that
// all that was planned was done, except product, which needs its own entry.
func (d *decider) tasks() error {
	reports := d.entry.Tasks
	if len(reports) == 0 && d.entry.Outcome == "done" {
		for _, t := range d.facts.Visit.Tasks {
			if !t.Work.Treats() {
				reports = append(reports, TaskReport{TurfAreaID: t.TurfAreaID, Work: t.Work, Done: true})
			}
		}
	}
	on := civil.DateOf(d.entry.FinishedAt, d.facts.Company.Zone)
	for i, t := range reports {
		area, ok := d.facts.Areas[t.TurfAreaID]
		if !ok {
			return d.noArea(fmt.Sprintf("/tasks/%d/turf_area_id", i))
		}
		if slices.ContainsFunc(d.out.Tasks, func(o Done) bool { return o.TurfAreaID == t.TurfAreaID && o.Work == t.Work }) {
			continue // planned twice
		}
		if t.MachineID != uuid.Nil && !d.facts.KnownMachines[t.MachineID] {
			d.find(label.Note, "machine-unknown", "entry", "%s: the machine named is not on the list", area.Name)
			t.MachineID = uuid.Nil
		}
		done := Done{TaskReport: t, On: on}
		if text := strings.TrimSpace(t.HeightSet); text != "" {
			done.SetIn = d.height(area.Name, text)
		}
		if t.Done && (t.Work == turf.Mow || t.Work == turf.FirstCut) {
			d.learn(area.ID)
		}
		if t.Done && t.Work.Treats() && !d.treated(t.TurfAreaID) {
			d.find(label.Confirm, "no-application", "entry", "%s: product was put down, but the report does not say which and how much; enter the application", area.Name)
		}
		d.out.Tasks = append(d.out.Tasks, done)
	}
	return nil
}

func (d *decider) treated(area uuid.UUID) bool {
	return slices.ContainsFunc(d.entry.Applications, func(a Application) bool {
		return slices.ContainsFunc(a.Lines, func(l ApplicationLine) bool { return l.TurfAreaID == area })
	})
}

func (d *decider) learn(area uuid.UUID) {
	if !slices.Contains(d.out.Learn, area) {
		d.out.Learn = append(d.out.Learn, area)
	}
}

const tallestIn = 24 // inches; taller stands no lawn that anybody mows

// height reads a height in inches; nil with a finding when it cannot be right.
func (d *decider) height(area, text string) *float64 {
	l, err := unit.ParseLength(text, 0)
	inches := round(l.Inches())
	if err != nil || !(inches > 0) || inches > tallestIn {
		d.impossible(area, text, "a height of grass with its unit, over 0 and up to 24 in, such as 3 1/4 in")
		return nil
	}
	return &inches
}

// round keeps a millionth, so that 3.1 in stays 3.1 through metres and back.
func round(v float64) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'f', 6, 64), 64)
	if err != nil {
		return v
	}
	return r
}

func (d *decider) impossible(area, text, want string) {
	d.out.Findings = append(d.out.Findings, label.Finding{Severity: label.Note, Code: "impossible-reading", Source: "entry",
		Got: text, Text: fmt.Sprintf("%s: %q cannot be %s; it is kept as written and counts for nothing", area, text, want)})
}

func knownReading(kind string) bool {
	return slices.Contains([]string{"height_before", "height_left", "height", "colour", "density", "weeds", "disease", "note"}, kind)
}

func (d *decider) readings() error {
	for i, o := range d.entry.Observations {
		area, ok := d.facts.Areas[o.TurfAreaID]
		if !ok {
			return d.noArea(fmt.Sprintf("/observations/%d/turf_area_id", i))
		}
		r := Reading{ID: o.ID, TurfAreaID: o.TurfAreaID, Kind: o.Kind, Entered: o.Value}
		if r.ID == uuid.Nil {
			r.ID = uuid.NewSHA1(d.entry.ID, []byte("observation "+strconv.Itoa(i)))
		}
		switch o.Kind {
		case "height_before", "height_left", "height":
			r.Unit, r.Value = "in", d.height(area.Name, o.Value)
			if r.Value != nil {
				d.learn(area.ID)
			}
		case "colour", "density":
			r.Unit, r.Value = "1-9", d.rating(area.Name, o.Value)
		}
		d.out.Readings = append(d.out.Readings, r)
	}
	return nil
}

// rating reads the trade's scale of 1 (worst) to 9 (best).
func (d *decider) rating(area, text string) *float64 {
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil || !(v >= 1 && v <= 9) {
		d.impossible(area, text, "a rating from 1 to 9")
		return nil
	}
	return &v
}

// applications makes the record of each product put down.
func (d *decider) applications() error {
	lots := map[uuid.UUID]stock.Lot{}
	for id, l := range d.facts.Lots {
		lots[id] = l
	}
	for i, a := range d.entry.Applications {
		if d.facts.Recorded[a.ID] {
			d.find(label.Confirm, "already-recorded", "records", "application %d of the report has a record already, which stays as it is; correct the record if this report is right", i+1)
			continue
		}
		built, err := application.Build(d.given(a, lots), a)
		if err != nil {
			return err
		}
		for _, m := range built.Moves { // the next application of the report finds less
			l := lots[m.LotID]
			l.Left += m.Amount
			lots[m.LotID] = l
		}
		d.out.Applications = append(d.out.Applications, built)
		d.out.Findings = append(d.out.Findings, built.Record.Findings...)
	}
	d.together()
	return nil
}

// given is what is on file when the application is built, after those of this
// report that are built already.
func (d *decider) given(a Application, lots map[uuid.UUID]stock.Lot) application.Facts {
	g := d.facts.For(d.entry, a, d.who.PersonID)
	g.Lots, g.Past, g.Cuts = lots, d.past(), d.cuts()
	return g
}

// For is what is on file for the record of one application of the report, which
// by sends.
func (f Facts) For(e Entry, a Application, by uuid.UUID) application.Facts {
	g := application.Facts{Site: application.SiteOf(f.Property, f.Customer, f.Company), Zone: f.Company.Zone, Now: f.Now,
		CloseOutID: e.ID, VisitID: f.Visit.ID, VisitEnd: e.FinishedAt, Product: f.Products[a.ProductID],
		Areas: f.Areas, People: f.People, Reporter: f.People[by], CrewSupervisor: f.CrewSupervisor,
		Machines: f.Machines, Lots: f.Lots, Past: f.Past, Cuts: f.Cuts, Days: f.Days,
		Rules: application.RulesAt(recordrule.All(), f.Property.State, append(slices.Clone(f.Company.Jurisdictions), f.Property.Jurisdictions...))}
	if ft := f.Property.WaterDistanceFt; ft != nil {
		far := unit.Length(*ft) * unit.Foot
		g.WaterDistance = &far
	}
	for _, t := range f.Visit.Tasks {
		if t.ProductID == a.ProductID && t.LabelVersionID != uuid.Nil {
			g.PlannedLabel = t.LabelVersionID
		}
	}
	return g
}

// past adds the applications of this report that are built already.
func (d *decider) past() []application.Past {
	past := slices.Clone(d.facts.Past)
	for _, b := range d.out.Applications {
		past = append(past, b.Record.Past()...)
	}
	return past
}

// cuts adds those of this report, each day once.
func (d *decider) cuts() map[uuid.UUID][]civil.Date {
	cuts := map[uuid.UUID][]civil.Date{}
	for area, days := range d.facts.Cuts {
		cuts[area] = slices.Clone(days)
	}
	for _, t := range d.out.Tasks {
		if t.Done && (t.Work == turf.Mow || t.Work == turf.FirstCut) && !slices.Contains(cuts[t.TurfAreaID], t.On) {
			cuts[t.TurfAreaID] = append(cuts[t.TurfAreaID], t.On)
		}
	}
	return cuts
}

// together finds what only several products on one area show.
func (d *decider) together() {
	parts := map[uuid.UUID][]label.Part{}
	for _, b := range d.out.Applications {
		p := d.facts.Products[b.Record.ProductID]
		for _, v := range p.Labels {
			if v.ID != b.Record.LabelVersionID {
				continue
			}
			for _, l := range b.Record.Lines {
				parts[l.TurfAreaID] = append(parts[l.TurfAreaID], label.Part{Product: p.Name, Limits: v.Limits})
			}
		}
	}
	areas := slices.Collect(maps.Values(d.facts.Areas))
	slices.SortFunc(areas, func(a, b property.TurfArea) int { return strings.Compare(a.Name, b.Name) })
	for _, a := range areas {
		for _, f := range label.CheckTogether(parts[a.ID]) {
			f.Text = a.Name + ": " + f.Text
			d.out.Findings = append(d.out.Findings, f)
		}
	}
}
