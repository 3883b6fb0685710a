package application

import (
	"strings"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
	"thirdcut/internal/label"
	"thirdcut/internal/product"
	"thirdcut/internal/recordrule"
	"thirdcut/internal/stock"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

// LicenseFor is the kind of licence that the product asks for: of pesticides
// where it is one, else of fertilisers.
func LicenseFor(p product.Product) crew.LicenseKind {
	if p.Pesticide() {
		return crew.Pesticide
	}
	return crew.Fertiliser
}

const licenses = "licences on file"

// CheckLicenses says what the licences on file allow: a person with one of the
// product's kind in the state and in force on the day may apply it; another
// only under such a person. A zero supervisor is nobody.
//
// Not every state licenses fertiliser work, so a missing fertiliser licence
// asks for a reason, while a missing pesticide licence is refused. Helpers need
// a registration in many states; where none is on file that is said.
func CheckLicenses(p product.Product, applicator, supervisor crew.Person, state string, on civil.Date) []label.Finding {
	kind := LicenseFor(p)
	if _, ok := applicator.FindLicense(kind, state, on); ok {
		return nil
	}
	severity := label.Refuse
	if kind == crew.Fertiliser {
		severity = label.Confirm
	}
	got := lastLicense(applicator, kind, state)
	limit := string(kind) + " licence of " + state + " on " + on.String()
	if supervisor.ID == uuid.Nil || supervisor.ID == applicator.ID {
		return []label.Finding{{Severity: severity, Code: "license", Got: got, Limit: limit, Source: licenses,
			Text: applicator.Name + " has no licence in force for " + p.Name + " on that day and no licensed person is named who answers for it"}}
	}
	if _, ok := supervisor.FindLicense(kind, state, on); !ok {
		return []label.Finding{{Severity: severity, Code: "supervisor-license", Got: lastLicense(supervisor, kind, state), Limit: limit, Source: licenses,
			Text: "neither " + applicator.Name + " nor " + supervisor.Name + ", who answers for it, has a licence in force for " + p.Name + " on that day"}}
	}
	if _, ok := applicator.FindLicense(crew.Training, state, on); ok || kind == crew.Fertiliser {
		return []label.Finding{{Severity: label.Note, Code: "supervised", Got: got, Limit: limit, Source: licenses,
			Text: applicator.Name + " works under the licence of " + supervisor.Name}}
	}
	return []label.Finding{{Severity: label.Confirm, Code: "not-registered", Got: got, Limit: limit, Source: licenses,
		Text: applicator.Name + " works under the licence of " + supervisor.Name + ", but no registration or training is on file; states ask for one"}}
}

// lastLicense says in words which licence of the kind the person holds or held.
func lastLicense(p crew.Person, kind crew.LicenseKind, state string) string {
	var last crew.License
	for _, l := range p.Licenses {
		if l.Kind == kind && l.State == state && (last.Number == "" || l.ValidTo.After(last.ValidTo)) {
			last = l
		}
	}
	if last.Number == "" {
		return "none on file"
	}
	return last.Number + ", " + last.ValidFrom.String() + " to " + last.ValidTo.String()
}

// people names who applied it and who answers for it. Where a person without a
// licence names nobody, the crew's own supervisor answers.
func (b *builder) people() {
	f, on := b.f, b.rec.AppliedOn
	kind := LicenseFor(f.Product)
	who := func(p crew.Person) Who {
		l, _ := p.FindLicense(kind, f.Site.State, on)
		return Who{PersonID: p.ID, Name: p.Name, License: l.Number}
	}
	applicator := f.People[b.t.ApplicatorID]
	b.rec.Applicator = who(applicator)
	over := b.t.SupervisorID
	if over == uuid.Nil && b.rec.Applicator.License == "" {
		over = f.CrewSupervisor
	}
	supervisor, ok := f.People[over]
	if over != uuid.Nil && !ok {
		b.say(label.Confirm, "supervisor-unknown", over.String(), "", licenses, "nobody on file has the id given for the licensed person who answers for it")
	}
	if ok {
		b.rec.Supervisor = who(supervisor)
	}
	b.rec.Findings = append(b.rec.Findings, CheckLicenses(f.Product, applicator, supervisor, f.Site.State, on)...)
}

// stock takes what was used out of the lots told, in their order, each as far
// as it goes and the rest out of the last: below zero where the books hold
// less, since it has been used.
func (b *builder) stock() []stock.Move {
	var lots []stock.Lot
	for _, id := range b.t.LotIDs {
		lot, ok := b.f.Lots[id]
		switch {
		case !ok:
			b.say(label.Note, "lot-unknown", id.String(), "", "lots on file", "no lot of the id given is on file; nothing is taken out of it")
			continue
		case lot.ProductID != b.f.Product.ID:
			b.say(label.Confirm, "lot-other-product", lot.Number, b.f.Product.Name, "lots on file", "lot %s is of another product; nothing is taken out of it", lot.Number)
			continue
		case lot.LeftUnit != b.rec.Total.Unit:
			b.say(label.Note, "lot-unit", b.rec.Total.Unit, lot.LeftUnit, "lots on file",
				"lot %s is kept in %s and the amount was given by another kind of measure; count the lot", lot.Number, lot.LeftUnit)
		default:
			lots = append(lots, lot)
		}
		b.rec.Lots = append(b.rec.Lots, Lot{lot.ID, lot.Number})
		if on := b.rec.AppliedOn; !lot.ExpiresOn.IsZero() && on.After(lot.ExpiresOn) {
			b.say(label.Confirm, "lot-out-of-date", on.String(), lot.ExpiresOn.String(), "lots on file", "lot %s was out of date", lot.Number)
		}
	}
	if len(b.t.LotIDs) == 0 {
		b.say(label.Note, "lot-unsaid", "", "", "lots on file", "the lot was not said, so nothing is taken out of the stock")
	}
	return b.moves(lots)
}

func (b *builder) moves(lots []stock.Lot) []stock.Move {
	var moves []stock.Move
	need := b.rec.Total.Value
	for i, lot := range lots {
		take := min(max(lot.Left, 0), need)
		if i == len(lots)-1 {
			take = need
		}
		take = round(take)
		if take <= 0 {
			continue
		}
		need = round(need - take)
		if left := round(lot.Left - take); left < 0 {
			b.say(label.Note, "stock-below-zero", words(take, lot.LeftUnit), words(lot.Left, lot.LeftUnit), "lots on file",
				"more was used of lot %s than the books hold; count the lot", lot.Number)
		}
		moves = append(moves, stock.Move{LotID: lot.ID, Kind: "used", Amount: -take, Unit: lot.LeftUnit, Entered: b.rec.Total.Entered,
			RecordID: b.rec.ID, At: b.end(), ByPerson: b.rec.Applicator.PersonID})
	}
	return moves
}

// checkLabel compares what each area got with the label. A finding names its
// area where there are several.
func (b *builder) checkLabel() {
	if !b.known {
		return
	}
	for i, l := range b.rec.Lines {
		a := b.f.Areas[l.TurfAreaID]
		use := label.Use{Product: b.f.Product.Name, Form: label.Form(b.f.Product.Form), Amount: b.parts[i], AreaTreated: b.areas[i],
			AreaOnFile: unit.Area(a.AreaSqFt) * unit.SquareFoot, Species: a.Species, Date: b.rec.AppliedOn,
			Others: b.others(a.ID), AirTemp: b.air, Wind: b.wind, Water: b.f.WaterDistance, Cuts: b.f.Cuts[a.ID]}
		b.add(l, label.Check(b.limits, use))
	}
}

func (b *builder) add(l Line, findings []label.Finding) {
	for _, f := range findings {
		if len(b.rec.Lines) > 1 {
			f.Text = l.Name + ": " + f.Text
		}
		b.rec.Findings = append(b.rec.Findings, f)
	}
}

func (b *builder) others(area uuid.UUID) []label.Application {
	var list []label.Application
	for _, p := range b.f.Past {
		if p.TurfAreaID == area && p.ProductID == b.f.Product.ID && p.RecordID != b.t.ID {
			list = append(list, label.Application{On: p.On, Amount: p.Amount, Area: p.Area})
		}
	}
	return list
}

// checkFeeding compares the nutrients with the fertiliser limits of the place.
func (b *builder) checkFeeding() {
	p := b.f.Product
	if !p.Feeds() || !positive(p.NPercent) && !positive(p.P2O5Percent) || len(b.f.Rules) == 0 {
		return
	}
	if b.total.Liquid {
		b.say(label.Note, "nutrients-unknown", "", "", "products on file",
			"how much nitrogen and phosphate %s holds by volume is not on file, so the limits on nutrients were not compared", p.Name)
		return
	}
	for i, l := range b.rec.Lines {
		feed := b.feed(l, b.parts[i].Mass, b.areas[i])
		for _, r := range b.f.Rules {
			if r.InForce(b.rec.AppliedOn) {
				b.add(l, recordrule.CheckFertiliser(r, feed))
			}
		}
	}
}

func positive(percent *float64) bool { return percent != nil && *percent > 0 }

func share(percent *float64) float64 {
	if percent == nil {
		return 0
	}
	return *percent / 100
}

func (b *builder) feed(l Line, mass unit.Mass, area unit.Area) recordrule.Feed {
	p := b.f.Product
	f := recordrule.Feed{On: b.rec.AppliedOn, Professional: true, Species: turf.Species(l.Species), Water: b.f.WaterDistance,
		N: mass.Times(share(p.NPercent)).Over(area), SlowN: unit.Fraction(share(p.NSlowPercent)),
		P2O5: mass.Times(share(p.P2O5Percent)).Over(area), P2O5Of: unit.Fraction(share(p.P2O5Percent))}
	for _, past := range b.f.Past {
		if past.TurfAreaID != l.TurfAreaID || past.On.Year != f.On.Year || past.RecordID == b.t.ID || past.Amount.Liquid || !(past.Area > 0) {
			continue
		}
		f.NYear += past.Amount.Mass.Times(share(past.NPercent)).Over(past.Area)
		f.P2O5Year += past.Amount.Mass.Times(share(past.P2O5Percent)).Over(past.Area)
	}
	return f
}

// RulesAt returns the rules of those that bind work at a place: federal ones,
// those that the company or the property names, and those of the state. Of a
// state with several rules for several kinds of licence, those named count;
// where none is named, all do.
func RulesAt(all []recordrule.Rule, state string, named []string) []recordrule.Rule {
	prefix := "us-" + strings.ToLower(state)
	ofState := func(id string) bool { return id == prefix || strings.HasPrefix(id, prefix+"-") }
	isNamed := map[string]bool{}
	stateNamed := false
	for _, id := range named {
		isNamed[id] = true
	}
	for _, r := range all {
		stateNamed = stateNamed || ofState(r.ID) && isNamed[r.ID]
	}
	var rules []recordrule.Rule
	for _, r := range all {
		if strings.HasPrefix(r.ID, "us-federal-") || isNamed[r.ID] || ofState(r.ID) && !stateNamed {
			rules = append(rules, r)
		}
	}
	return rules
}
