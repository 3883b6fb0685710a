package application

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

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

// Facts is what is on file when a record is built. Maps may be nil.
type Facts struct {
	Site  Site
	Zone  *time.Location // of the business
	Now   time.Time      // business time of recording
	Rules []recordrule.Rule

	CloseOutID, VisitID uuid.UUID
	VisitEnd            time.Time  // end of the visit, later than or at the end of the application
	On                  civil.Date // day of an application without times of its own; zero: that of VisitEnd

	Product      product.Product
	PlannedLabel uuid.UUID // label version that the plan was checked against; Nil: none

	Areas          map[uuid.UUID]property.TurfArea // of the property, retired ones too
	WaterDistance  *unit.Length                    // nil: none on file
	People         map[uuid.UUID]crew.Person
	Reporter       crew.Person
	CrewSupervisor uuid.UUID // answers for the crew's applications; Nil: nobody
	Machines       []crew.Machine
	Lots           map[uuid.UUID]stock.Lot
	Past           []Past
	Cuts           map[uuid.UUID][]civil.Date // done and planned cuts by area
	Days           map[civil.Date]weather.Day // weather of the property's place
}

// SiteOf takes what a record says of the place and the company from the files.
func SiteOf(p property.Property, c property.Customer, s company.Settings) Site {
	return Site{PropertyID: p.ID, CustomerName: c.Name, CustomerAddress: c.BillingAddress, CustomerPhone: c.Phone,
		PropertyOwner: p.OwnerName, SiteAddress: p.Address, Municipality: p.Municipality, County: p.County, State: p.State,
		ZIPCode: p.ZIPCode, BusinessName: s.Name, BusinessAddress: s.Address, BusinessLicense: s.BusinessLicense}
}

// Built is a record that waits for its seal, with what it takes out of the shed.
type Built struct {
	Record Record
	Moves  []stock.Move
}

// Build makes the record of what a person told. It is made whatever the label
// or a rule says of it: what they say stands in its findings. Amounts are kept
// as entered with their conversion; computed ones are in the label's unit.
//
// It fails only where there would be nothing to record: fault.Invalid
// "application" with a JSON pointer for each amount or area that cannot be
// read, and for a product, area or applicator that is not on file.
func Build(f Facts, t Told) (Built, error) {
	b := builder{f: f, t: t}
	if err := b.check(); err != nil {
		return Built{}, err
	}
	b.basics()
	b.label()
	b.lines()
	b.mix()
	b.people()
	b.weather()
	b.reentry()
	moves := b.stock()
	b.checkLabel()
	b.checkFeeding()
	b.reasons()
	slices.SortStableFunc(b.rec.Findings, func(x, y label.Finding) int { return rank(x.Severity) - rank(y.Severity) })
	return Built{b.rec, moves}, nil
}

// rank orders severities, the worst first.
func rank(s label.Severity) int {
	return slices.Index([]label.Severity{label.Refuse, label.Confirm, label.Note}, s)
}

type builder struct {
	f      Facts
	t      Told
	rec    Record
	areas  []unit.Area // treated, one a line
	parts  []label.Amount
	total  label.Amount
	limits label.Limits
	known  bool // limits are known
	air    *unit.Temperature
	wind   *unit.Speed
}

func (b *builder) say(s label.Severity, code, got, limit, source, text string, args ...any) {
	b.rec.Findings = append(b.rec.Findings, label.Finding{Severity: s, Code: code, Text: fmt.Sprintf(text, args...),
		Got: got, Limit: limit, Source: source})
}

// check reads amounts and areas and says what makes a record impossible.
func (b *builder) check() error {
	bad := fault.New(fault.Invalid, "application", "the application cannot be recorded as told; correct the places named")
	t, f := b.t, b.f
	if t.ID == uuid.Nil {
		bad.With("/id", "is missing")
	}
	if f.Product.ID == uuid.Nil || f.Product.ID != t.ProductID {
		bad.With("/product_id", "there is no such product on file; add it, or name the one used")
	}
	if _, ok := f.People[t.ApplicatorID]; !ok {
		bad.With("/applicator_id", "nobody of that id is on file; name who applied it")
	}
	if len(t.Lines) == 0 {
		bad.With("/lines", "name at least one turf area with the amount it got")
	}
	seen := map[uuid.UUID]bool{}
	for i, l := range t.Lines {
		b.readLine(bad, fmt.Sprintf("/lines/%d", i), l, seen)
	}
	for i, part := range b.parts {
		if part.Liquid != b.parts[0].Liquid {
			bad.With(fmt.Sprintf("/lines/%d/amount", i), "%q is of another kind than %q; give all by weight or all by volume", part.Entered, b.parts[0].Entered)
		}
	}
	if len(bad.Fields) > 0 {
		return bad
	}
	return nil
}

func (b *builder) readLine(bad *fault.Error, at string, l ToldLine, seen map[uuid.UUID]bool) {
	if _, ok := b.f.Areas[l.TurfAreaID]; !ok {
		bad.With(at+"/turf_area_id", "is no turf area of this property; name one of its areas")
	}
	if seen[l.TurfAreaID] {
		bad.With(at+"/turf_area_id", "stands there twice; put the two amounts of the area together")
	}
	seen[l.TurfAreaID] = true
	area, err := unit.ParseArea(l.AreaTreated, 0)
	switch {
	case err != nil:
		bad.With(at+"/area_treated", "%v", err)
	case !(round(area.SquareFeet()) > 0) || area > 1000*unit.Acre:
		bad.With(at+"/area_treated", "%q is no area that can have been treated", l.AreaTreated)
	}
	amount, err := label.ParseAmount(l.Amount, label.Form(b.f.Product.Form))
	switch {
	case fault.As(err) != nil:
		bad.With(at+"/amount", "%s", fault.As(err).Detail)
	case err != nil:
		bad.With(at+"/amount", "%v", err)
	case !(round(stored(amount)) > 0) || stored(amount) > 1e6:
		bad.With(at+"/amount", "%q is no amount that can have been used", l.Amount)
	}
	b.areas, b.parts = append(b.areas, area), append(b.parts, amount)
}

// round keeps nine decimals: a microgram, and less than float64 can hold of a
// season's stock, so that what is stored, sealed and added is the same number.
func round(v float64) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'f', 9, 64), 64)
	if err != nil {
		return v
	}
	return r
}

// stored is the amount in the unit in which it is stored, kg or L.
func stored(a label.Amount) float64 {
	if a.Liquid {
		return a.Volume.Litres()
	}
	return a.Mass.Kilograms()
}

func storedUnit(liquid bool) string {
	if liquid {
		return "L"
	}
	return "kg"
}

func amountOf(a label.Amount) Amount {
	return Amount{Entered: a.Entered, Value: round(stored(a)), Unit: storedUnit(a.Liquid)}
}

// words writes a number with up to six digits and its unit.
func words(v float64, unitName string) string {
	return strconv.FormatFloat(round(v), 'g', 6, 64) + " " + unitName
}

// end is the end of the application, or of the visit where only that is known.
func (b *builder) end() time.Time {
	if !b.t.FinishedAt.IsZero() {
		return b.t.FinishedAt
	}
	return b.f.VisitEnd
}

func (b *builder) basics() {
	f, t := b.f, b.t
	begun := t.StartedAt
	if begun.IsZero() {
		begun = b.end()
	}
	on := civil.DateOf(begun, f.Zone)
	if !f.On.IsZero() && t.StartedAt.IsZero() && t.FinishedAt.IsZero() {
		on = f.On
	}
	p := f.Product
	b.rec = Record{ID: t.ID, CloseOutID: f.CloseOutID, VisitID: f.VisitID, AppliedOn: on,
		StartedAt: t.StartedAt, FinishedAt: t.FinishedAt, RecordedAt: f.Now, Zone: f.Zone.String(),
		Goods: GoodsOf(p), Site: f.Site, Spot: t.Spot, Target: t.Target, Method: t.Method, Equipment: t.Equipment,
		Assistants: t.Assistants, AuthorisedBy: t.AuthorisedBy, SignPosted: t.SignPosted, SignNote: t.SignNote,
		NoticeGiven: t.NoticeGiven, Note: t.Note, Incident: t.Incident, Findings: []label.Finding{}}
	for _, m := range f.Machines {
		if strings.EqualFold(m.Name, strings.TrimSpace(t.Equipment)) && !m.CalibratedOn.IsZero() {
			b.rec.Calibration = "calibrated " + m.CalibratedOn.String()
		}
	}
}

// GoodsOf takes what a record says of the product from the files.
func GoodsOf(p product.Product) Goods {
	return Goods{ProductID: p.ID, ProductName: p.Name, EPARegNo: p.EPARegNo, ActiveIngredient: p.ActiveIngredient,
		ConcentrationPercent: p.ConcentrationPercent, Formulation: p.Formulation, Pesticide: p.Pesticide(), Fertiliser: p.Feeds(),
		RestrictedUse: p.RestrictedUse, NPercent: p.NPercent, P2O5Percent: p.P2O5Percent, NSlowPercent: p.NSlowPercent}
}

// label finds the limits that bound the use: the version told, else the one of
// the plan, else the confirmed one in force on the day.
func (b *builder) label() {
	p, on := b.f.Product, b.rec.AppliedOn
	v, found := product.LabelVersion{}, false
	for _, want := range []uuid.UUID{b.t.LabelVersionID, b.f.PlannedLabel} {
		i := slices.IndexFunc(p.Labels, func(l product.LabelVersion) bool { return l.ID == want })
		if !found && want != uuid.Nil && i >= 0 {
			v, found = p.Labels[i], true
		}
	}
	if !found {
		v, found = p.LabelOn("", on)
	}
	if !found {
		b.say(label.Confirm, "no-label", "", "", "products on file",
			"no confirmed label limits of %s are on file, so nothing could be compared with its label", p.Name)
		return
	}
	b.limits, b.known = v.Limits, true
	b.rec.LabelVersionID, b.rec.LabelRevision, b.rec.LabelPattern = v.ID, v.Revision, v.Pattern
	if !v.Confirmed() {
		b.say(label.Confirm, "label-unconfirmed", "", "", "products on file",
			"nobody has confirmed the limits of revision %s of %s against the label yet", v.Revision, p.Name)
	}
	if now, ok := p.LabelOn(v.Pattern, on); ok && now.ID != v.ID {
		b.say(label.Note, "label-other", v.Revision, now.Revision, "products on file",
			"the limits of revision %s were compared; on that day revision %s was in force", v.Revision, now.Revision)
	}
}

func (b *builder) lines() {
	var whole unit.Area
	b.total = label.Amount{Liquid: b.parts[0].Liquid}
	for i, l := range b.t.Lines {
		a := b.f.Areas[l.TurfAreaID]
		whole += b.areas[i]
		b.total.Mass += b.parts[i].Mass
		b.total.Volume += b.parts[i].Volume
		b.rec.Lines = append(b.rec.Lines, Line{TurfAreaID: a.ID, Name: a.Name, Species: string(a.Species),
			AreaTreated: Amount{Entered: strings.TrimSpace(l.AreaTreated), Value: round(b.areas[i].SquareFeet()), Unit: "sq ft"},
			Amount:      amountOf(b.parts[i])})
	}
	b.total.Entered = b.parts[0].Entered
	if len(b.parts) > 1 {
		b.total.Entered = b.inUnit(b.total)
	}
	b.rec.Total = amountOf(b.total)
	b.rec.AreaTreated = Amount{Entered: b.rec.Lines[0].AreaTreated.Entered, Value: round(whole.SquareFeet()), Unit: "sq ft"}
	if len(b.parts) > 1 {
		b.rec.AreaTreated.Entered = words(whole.SquareFeet(), "sq ft")
	}
	b.rec.Rate = b.total.Over(whole).In(b.limits.RateUnit)
	b.rec.SiteType = "turf: " + strings.Join(b.grasses(), ", ")
}

// inUnit writes a computed amount in the label's unit, else in pounds or fluid ounces.
func (b *builder) inUnit(a label.Amount) string {
	if name := b.limits.RateUnit.AmountUnit(); name != "" {
		if v, ok := a.In(name); ok {
			return words(v, name)
		}
	}
	if a.Liquid {
		return words(a.Volume.FluidOunces(), "fl oz")
	}
	return words(a.Mass.Pounds(), "lb")
}

func (b *builder) grasses() []string {
	var names []string
	for _, l := range b.rec.Lines {
		if w := turf.Species(l.Species).Words(); !slices.Contains(names, w) {
			names = append(names, w)
		}
	}
	return names
}

// mix says what went out: with a carrier, the mix and its strength; without,
// nothing but the product itself. A dissolved solid's own volume is not
// counted, since its density is not known.
func (b *builder) mix() {
	text := strings.TrimSpace(b.t.Diluent)
	if text == "" {
		return
	}
	if m, err := unit.ParseMass(text, 0); err == nil && m > 0 {
		b.rec.Diluent = &Amount{Entered: text, Value: round(m.Pounds()), Unit: "lb"}
		return
	}
	v, err := unit.ParseVolume(text, 0)
	if err != nil || !(v > 0) {
		b.rec.Diluent = &Amount{Entered: text}
		b.say(label.Note, "diluent-unreadable", text, "", "entry", "the amount of water or carrier %q cannot be read; write it such as 5 gal", text)
		return
	}
	b.rec.Diluent = &Amount{Entered: text, Value: round(v.Gallons()), Unit: "gal"}
	whole := v
	if b.total.Liquid {
		whole += b.total.Volume
	}
	b.rec.DilutedVolume = &Amount{Entered: words(whole.Gallons(), "gal"), Value: round(whole.Gallons()), Unit: "gal"}
	b.rec.MixRate = b.perGallon(whole)
}

func (b *builder) perGallon(whole unit.Volume) string {
	name := b.limits.RateUnit.AmountUnit()
	v, ok := b.total.In(name)
	if !ok {
		name = "oz"
		if b.total.Liquid {
			name = "fl oz"
		}
		v, _ = b.total.In(name)
	}
	return words(v/whole.Gallons(), name+"/gal")
}

// weather keeps what was measured. Nothing measured: the wind of the day at the
// weather place stands there under its own origin. The day's highest and lowest
// temperature are no reading of the moment, so none is taken from them.
func (b *builder) weather() {
	t, w := b.t, Weather{AirTempEntered: strings.TrimSpace(b.t.AirTemp), WindEntered: strings.TrimSpace(b.t.Wind),
		WindDirection: strings.TrimSpace(b.t.WindDirection), Other: strings.TrimSpace(b.t.WeatherOther)}
	if w != (Weather{}) {
		w.Origin = Measured
	}
	if w.AirTempEntered != "" {
		if v, err := unit.ParseTemperature(t.AirTemp); err != nil {
			b.say(label.Note, "air-temp-unreadable", t.AirTemp, "", "entry", "the air temperature cannot be used: %v", err)
		} else if f := round(v.Fahrenheit()); f < -60 || f > 140 {
			b.say(label.Note, "air-temp-unreadable", t.AirTemp, "", "entry", "%q is no temperature that air has; look whether it is F or C", t.AirTemp)
		} else {
			b.air, w.AirTempF = &v, &f
		}
	}
	if w.WindEntered != "" {
		if v, err := unit.ParseSpeed(t.Wind, 0); err != nil {
			b.say(label.Note, "wind-unreadable", t.Wind, "", "entry", "the wind cannot be used: %v", err)
		} else if mph := round(v.MilesPerHour()); mph < 0 || mph > 150 {
			b.say(label.Note, "wind-unreadable", t.Wind, "", "entry", "%q is no wind in which anybody works", t.Wind)
		} else {
			b.wind, w.WindMPH = &v, &mph
		}
	}
	if b.wind != nil {
		w.WindOrigin = Measured
	} else {
		b.stationWind(&w)
	}
	b.rec.WeatherStart = w
}

// stationWind puts the day's mean at the weather place where no wind was
// measured, under its own origin.
func (b *builder) stationWind(w *Weather) {
	d, ok := b.f.Days[b.rec.AppliedOn]
	if !ok || d.Quality != weather.Observed && d.Quality != weather.Station || !(d.Wind >= 0) {
		return
	}
	mph := round(d.Wind.MilesPerHour())
	w.WindMPH, w.WindOrigin = &mph, FromStation
	if w.Origin == "" {
		w.Origin = FromStation
	}
}

func (b *builder) reentry() {
	b.rec.ReentryText, b.rec.ReentryHours = b.limits.ReentryText, b.limits.ReentryHours
	if at, ok := label.ReentryEnds(b.limits, b.end()); ok {
		b.rec.ReentryAt = at
	}
}

// reasons keeps what a person gave for going past a finding, also where no
// such finding came up: it was said.
func (b *builder) reasons() {
	codes := make([]string, 0, len(b.t.Reasons))
	for code := range b.t.Reasons {
		codes = append(codes, code)
	}
	slices.Sort(codes)
	for _, code := range codes {
		b.rec.Reasons = append(b.rec.Reasons, Reason{Code: code, Text: b.t.Reasons[code], Person: b.f.Reporter.Name})
	}
}
