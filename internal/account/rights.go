package account

import (
	"slices"

	"github.com/google/uuid"

	"thirdcut/internal/fault"
)

// Action is something that a route does or a field that a person may see.
type Action string

// The actions.
const (
	SeeCompany  Action = "see_company"
	EditCompany Action = "edit_company"
	SetClock    Action = "set_clock"
	SeePeople   Action = "see_people" // names, crews, licences, machines
	EditPeople  Action = "edit_people"

	SeeCustomers  Action = "see_customers" // who pays, with contacts and billing address
	EditCustomers Action = "edit_customers"
	SeePrices     Action = "see_prices"

	SeeProperties  Action = "see_properties" // every property, area and due window
	EditProperties Action = "edit_properties"
	SeeLawnCard    Action = "see_lawn_card" // a property of one's own crew's route sheets
	SeeGateCode    Action = "see_gate_code" // any day; see MaySeeGateCode for the crew of the day

	SeePlan           Action = "see_plan" // board, due list, proposals
	Plan              Action = "plan"     // ask for a proposal, move and pin stops
	AcceptPlan        Action = "accept_plan"
	SeeRouteSheet     Action = "see_route_sheet" // one's own crew's
	SeeAllRouteSheets Action = "see_all_route_sheets"

	SendFieldBatch   Action = "send_field_batch"
	SettleQuarantine Action = "settle_quarantine"

	SeeOwnRecords  Action = "see_own_records" // those that one's own crew made
	SeeRecords     Action = "see_records"
	CorrectRecords Action = "correct_records"
	ExportRecords  Action = "export_records"

	SeeProducts   Action = "see_products" // with label limits: the law in the field
	EditProducts  Action = "edit_products"
	ConfirmLabels Action = "confirm_labels" // product.Confirm asks for the licence
	SeeStock      Action = "see_stock"
	EditStock     Action = "edit_stock"

	SeeWeather    Action = "see_weather"
	ImportWeather Action = "import_weather"
	ImportLawns   Action = "import_lawns"

	SeeJobs        Action = "see_jobs"
	RetryJobs      Action = "retry_jobs"
	SeeAudit       Action = "see_audit"
	ManageAccounts Action = "manage_accounts"
	ManageTokens   Action = "manage_tokens" // one's own
)

var (
	everyone = []Role{Owner, Office, Technician}
	desk     = []Role{Owner, Office}
	owner    = []Role{Owner}
	field    = []Role{Owner, Technician} // who goes out, and who answers for it
)

// Rights is the one table of which roles may do what. What is not in it nobody may.
var Rights = map[Action][]Role{
	SeeCompany: everyone, EditCompany: owner, SetClock: owner,
	SeePeople: everyone, EditPeople: owner,
	SeeCustomers: desk, EditCustomers: desk, SeePrices: desk,
	SeeProperties: desk, EditProperties: desk, SeeLawnCard: everyone, SeeGateCode: desk,
	SeePlan: desk, Plan: desk, AcceptPlan: desk, SeeRouteSheet: everyone, SeeAllRouteSheets: desk,
	SendFieldBatch: everyone, SettleQuarantine: desk,
	SeeOwnRecords: everyone, SeeRecords: desk, CorrectRecords: owner, ExportRecords: desk,
	SeeProducts: everyone, EditProducts: owner, ConfirmLabels: field, SeeStock: everyone, EditStock: desk,
	SeeWeather: everyone, ImportWeather: desk, ImportLawns: desk,
	SeeJobs: desk, RetryJobs: owner, SeeAudit: owner, ManageAccounts: owner, ManageTokens: everyone,
}

// May says whether the account may do that: any of its roles is enough, a
// closed account may nothing, and an action that is not in Rights nobody may.
func May(a Account, do Action) bool {
	return a.ClosedAt.IsZero() && a.Has(Rights[do]...)
}

// Allow is nil when the account may do that and fault.Forbidden "not-yours" otherwise.
func Allow(a Account, do Action) error {
	if May(a, do) {
		return nil
	}
	return fault.New(fault.Forbidden, "not-yours", "your sign-in may not do this; ask the owner for the role that may")
}

// MaySeeGateCode says whether the account may see a property's gate code on a
// day on which those crews visit it: the office and the owner always, a
// technician only as a member of one of the crews.
func MaySeeGateCode(a Account, crewsOfTheDay []uuid.UUID) bool {
	if May(a, SeeGateCode) {
		return true
	}
	return May(a, SeeLawnCard) && a.InAnyCrew(crewsOfTheDay)
}

// MaySeeSheet says whether the account may see that crew's route sheet.
func MaySeeSheet(a Account, crewID uuid.UUID) bool {
	return May(a, SeeAllRouteSheets) || May(a, SeeRouteSheet) && a.InAnyCrew([]uuid.UUID{crewID})
}

// InAnyCrew says whether the person is a member of any of the crews.
func (a Account) InAnyCrew(crews []uuid.UUID) bool {
	return slices.ContainsFunc(a.CrewIDs, func(id uuid.UUID) bool { return slices.Contains(crews, id) })
}
