package property

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/turf"
)

func sheet() Import {
	return Import{Customers: []ImportCustomer{{
		Place: "line 2", Key: "C-1", Name: "Ada Marsh", Phone: "555-0100",
		Properties: []ImportProperty{{
			Place: "line 2", Address: "12 North Oak Street", Municipality: "Fernwick", ZIPCode: "21000", GateCode: "1999",
			Areas: []ImportArea{
				{Place: "line 2", Name: "Front", AreaSqFt: ptr(5200.0), CuttingHeightIn: ptr(3.0), Species: turf.TallFescue},
				{Place: "line 3", Name: "Back", AreaSqFt: ptr(800.0), CuttingHeightIn: ptr(3.0)},
			},
			Plan: &ImportPlan{Place: "line 2", SeasonFrom: &civil.MonthDay{Month: 3, Day: 15},
				SeasonTo: &civil.MonthDay{Month: 11, Day: 30}, Services: []turf.Work{turf.Mow}, PriceCents: ptr(int64(5500))},
		}},
	}}}
}

var importDay = civil.MustDate("2026-04-02")

func mustPlan(t *testing.T, s Import, known Known) ImportPlanned {
	t.Helper()
	p, err := PlanImport(s, known, "MD", importDay)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// after is what is known once the planned import is stored.
func after(p ImportPlanned) Known {
	var k Known
	k.Customers = append(k.Customers, p.AddCustomers...)
	for _, prop := range p.AddProperties {
		for _, a := range p.AddAreas {
			if a.PropertyID == prop.ID {
				prop.Areas = append(prop.Areas, a)
			}
		}
		for _, s := range p.AddPlans {
			if s.PropertyID == prop.ID {
				prop.Plan = &s
			}
		}
		k.Properties = append(k.Properties, prop)
	}
	return k
}

func TestImportIntoNothing(t *testing.T) {
	p := mustPlan(t, sheet(), Known{})
	if got, want := p.Total(), (ImportCount{Added: 5}); got != want {
		t.Fatalf("counts %+v, want %+v", got, want)
	}
	if p.AddProperties[0].State != "MD" || p.AddProperties[0].AddressKey != "12 n oak st|md|21000" {
		t.Errorf("property %+v", p.AddProperties[0])
	}
	if back := p.AddAreas[1]; back.Species != turf.UnknownSpecies || back.Exposure != turf.Sun || back.AreaMethod != "given" {
		t.Errorf("defaults of %+v", back)
	}
	if plan := p.AddPlans[0]; plan.AgreedOn != importDay || plan.PriceBasis != "per_visit" || plan.Version != 1 {
		t.Errorf("plan %+v", plan)
	}
	if len(p.Refresh) != 1 {
		t.Errorf("asks for the windows of %d properties, want 1", len(p.Refresh))
	}
}

func TestImportTwiceChangesNothing(t *testing.T) {
	known := after(mustPlan(t, sheet(), Known{}))
	p := mustPlan(t, sheet(), known)
	if got, want := p.Total(), (ImportCount{Unchanged: 5}); got != want {
		t.Errorf("counts %+v, want %+v", got, want)
	}
	if len(p.Refresh)+len(p.ChangeCustomers)+len(p.ChangeProperties)+len(p.ChangeAreas)+len(p.AddPlans)+len(p.EndPlans) != 0 {
		t.Errorf("something is left to write: %+v", p)
	}
}

func TestEmptyCellsTakeNothingAway(t *testing.T) {
	known := after(mustPlan(t, sheet(), Known{}))
	bare := Import{Customers: []ImportCustomer{{Place: "line 2", Key: "C-1", Name: "Ada Marsh",
		Properties: []ImportProperty{{Place: "line 2", Address: "12 N Oak St", ZIPCode: "21000",
			Areas: []ImportArea{{Place: "line 2", Name: "front"}},
			Plan:  &ImportPlan{Place: "line 2"}}}}}}
	bare.Customers[0].Properties[0].Address = "12 North Oak Street"
	if got, want := mustPlan(t, bare, known).Total(), (ImportCount{Unchanged: 4}); got != want {
		t.Errorf("counts %+v, want %+v", got, want)
	}
}

func TestImportChangesWhatTheSheetSays(t *testing.T) {
	known := after(mustPlan(t, sheet(), Known{}))
	s := sheet()
	prop := &s.Customers[0].Properties[0]
	prop.Areas[0].CuttingHeightIn = ptr(3.5)
	prop.GateCode = "2024"
	prop.Plan.PriceCents = ptr(int64(6000))
	p := mustPlan(t, s, known)
	if got, want := p.Total(), (ImportCount{Changed: 3, Unchanged: 2}); got != want {
		t.Fatalf("counts %+v, want %+v", got, want)
	}
	if a := p.ChangeAreas[0]; a.CuttingHeightIn != 3.5 || a.Version != 2 || a.ID != known.Properties[0].Areas[0].ID {
		t.Errorf("area %+v", a)
	}
	if v := p.ChangeProperties[0]; v.GateCode != "2024" || v.Version != 2 {
		t.Errorf("property %+v", v)
	}
	if !slices.Equal(p.EndPlans, []uuid.UUID{known.Properties[0].Plan.ID}) || p.AddPlans[0].Version != 2 || *p.AddPlans[0].PriceCents != 6000 {
		t.Errorf("plans: end %v, add %+v", p.EndPlans, p.AddPlans)
	}
}

func TestImportFindsWhatWasEnteredByHand(t *testing.T) {
	known := after(mustPlan(t, sheet(), Known{}))
	known.Customers[0].ImportKey = "" // entered by hand
	known.Customers[0].Name = "ada  marsh"
	known.Properties[0].ZIPCode, known.Properties[0].AddressKey = "", MakeAddressKey("12 North Oak Street", "Fernwick", "MD", "")
	p := mustPlan(t, sheet(), known)
	if len(p.AddCustomers)+len(p.AddProperties) != 0 {
		t.Fatalf("added %d customers and %d properties that were there", len(p.AddCustomers), len(p.AddProperties))
	}
	if c := p.ChangeCustomers[0]; c.ImportKey != "C-1" || c.ID != known.Customers[0].ID {
		t.Errorf("customer %+v", c)
	}
	if v := p.ChangeProperties[0]; v.AddressKey != "12 n oak st|md|21000" {
		t.Errorf("property key %q", v.AddressKey)
	}
}

func TestImportNamesEveryWrongPlaceAndWritesNothing(t *testing.T) {
	s := sheet()
	prop := &s.Customers[0].Properties[0]
	prop.Areas[0].CuttingHeightIn = ptr(30.0)
	prop.Areas[1].AreaSqFt = nil
	s.Customers = append(s.Customers, ImportCustomer{Place: "line 9", Key: "C-2", Name: "Ben Rowe",
		Properties: []ImportProperty{{Place: "line 9", Address: "12 N. Oak St", ZIPCode: "21000"}}})
	p, err := PlanImport(s, Known{}, "MD", importDay)
	f := fault.As(err)
	if f == nil || f.Code != "import" {
		t.Fatalf("err %v", err)
	}
	for i, want := range []string{"line 2", "line 3", "line 9"} {
		if i >= len(f.Fields) || f.Fields[i].Pointer != want {
			t.Fatalf("fields %v, want place %d to be %s", f.Fields, i, want)
		}
	}
	if !strings.Contains(f.Fields[2].Detail, "line 2") {
		t.Errorf("%q does not name where the address stands first", f.Fields[2].Detail)
	}
	if p.Total() != (ImportCount{}) || len(p.AddCustomers) != 0 {
		t.Errorf("something is left to write: %+v", p)
	}
}

func TestTwoCustomersOfOneName(t *testing.T) {
	known := Known{Customers: []Customer{{ID: uuid.New(), ImportKey: "name:ada marsh", Name: "Ada Marsh", Email: "a@one.example", Phone: "555-0100"}}}
	other := Import{Customers: []ImportCustomer{{Place: "line 2", Name: "Ada Marsh", Email: "b@two.example", Phone: "555-0199"}}}
	if _, err := PlanImport(other, known, "MD", importDay); !fault.HasCode(err, "import") {
		t.Errorf("another person of the same name: %v", err)
	}
	other.Customers[0].Phone = "555-0100" // same person, new e-mail
	if p := mustPlan(t, other, known); p.Customers.Changed != 1 {
		t.Errorf("counts %+v", p.Customers)
	}
}

func TestImportNotesMovesAndRetired(t *testing.T) {
	known := after(mustPlan(t, sheet(), Known{}))
	known.Properties[0].RetiredOn = civil.MustDate("2025-12-01")
	s := sheet()
	s.Customers[0].Key, s.Customers[0].Name = "C-7", "Cora Lund"
	p := mustPlan(t, s, known)
	if len(p.Notes) != 2 || !strings.Contains(p.Notes[0], "retired") || !strings.Contains(p.Notes[1], "from Ada Marsh to Cora Lund") {
		t.Errorf("notes %q", p.Notes)
	}
}
