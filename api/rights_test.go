package api

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/postgres"
	"thirdcut/internal/property"
	"thirdcut/internal/testkit/build"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
)

// open is the action of the routes that anybody may call.
const open account.Action = "open"

// routeActions names, written out by hand, what must be allowed for each route.
var routeActions = map[string]account.Action{
	"GET /api/v1/company": account.SeeCompany, "PUT /api/v1/company": account.EditCompany,
	"GET /api/v1/people": account.SeePeople, "GET /api/v1/crews": account.SeePeople,
	"GET /api/v1/customers": account.SeeCustomers, "POST /api/v1/customers": account.EditCustomers,
	"GET /api/v1/customers/:id": account.SeeCustomers, "PUT /api/v1/customers/:id": account.EditCustomers,
	"GET /api/v1/properties": account.SeeProperties, "GET /api/v1/properties/:id": account.SeeProperties,
	"PATCH /api/v1/properties/:id": account.EditProperties, "PATCH /api/v1/turf-areas/:id": account.EditProperties,
	"GET /api/v1/properties/:id/windows": account.SeeProperties,
	"GET /api/v1/products":               account.SeeProducts, "GET /api/v1/products/:id": account.SeeProducts,
	"POST /api/v1/products": account.EditProducts, "POST /api/v1/products/:id/labels": account.EditProducts, "POST /api/v1/labels/:id/confirm": account.ConfirmLabels,
	"GET /api/v1/plans": account.SeePlan, "POST /api/v1/plans": account.Plan, "GET /api/v1/plans/:id": account.SeePlan,
	"POST /api/v1/plans/:id/accept": account.AcceptPlan, "POST /api/v1/plans/:id/drop": account.AcceptPlan,
	"GET /api/v1/route-sheets/:crew/:date": account.SeeRouteSheet, "POST /api/v1/route-sheets/:crew/:date/send": account.Plan,
	"GET /api/v1/visits/:id": account.SeeRouteSheet, "POST /api/v1/visits/:id/withdraw": account.Plan,
	"POST /api/v1/field/batch": account.SendFieldBatch, "GET /api/v1/field/waiting": account.SettleQuarantine, "POST /api/v1/field/waiting/:number/settle": account.SettleQuarantine,
	"GET /api/v1/records": account.SeeRecords, "GET /api/v1/records/gaps": account.SeeRecords, "GET /api/v1/records/verify": account.SeeRecords,
	"GET /api/v1/records/:id": account.SeeOwnRecords, "POST /api/v1/records/:id/corrections": account.CorrectRecords,
	"GET /api/v1/exports": account.ExportRecords, "POST /api/v1/exports": account.ExportRecords, "GET /api/v1/exports/:id": account.ExportRecords, "GET /api/v1/exports/:id/file": account.ExportRecords,
	"POST /api/v1/imports/lawns": account.ImportLawns, "POST /api/v1/imports/weather": account.ImportWeather,
	"GET /api/v1/jobs/failed": account.SeeJobs, "POST /api/v1/jobs/:number/retry": account.RetryJobs,
	"GET /api/v1/openapi.json": open, "GET /api/v1/openapi.yaml": open, "GET /api/v1/openapi-3.0.json": open, "GET /api/v1/openapi-3.0.yaml": open,

	"GET /healthz": open, "GET /readyz": open, "GET /static/*file": open, "GET /sign-in": open, "POST /sign-in": open, "POST /sign-out": open, "GET /problems/:code": open,
	"GET /":      account.SeePlan,
	"GET /plans": account.SeePlan, "POST /plans": account.Plan, "GET /plans/:id": account.SeePlan, "POST /plans/:id/accept": account.AcceptPlan, "POST /plans/:id/drop": account.AcceptPlan,
	"GET /sheets": account.SeeRouteSheet, "GET /sheets/:crew/:date": account.SeeRouteSheet, "POST /sheets/:crew/:date/send": account.Plan,
	"GET /visits/:id": account.SeeRouteSheet, "POST /visits/:id": account.SendFieldBatch,
	"GET /records": account.SeeRecords, "GET /records/gaps": account.SeeRecords, "GET /records/:id": account.SeeOwnRecords,
	"GET /field/waiting": account.SettleQuarantine, "POST /field/waiting/:number/settle": account.SettleQuarantine,
	"GET /exports": account.ExportRecords, "POST /exports": account.ExportRecords, "GET /exports/:id/file": account.ExportRecords,
	"GET /imports": account.ImportLawns, "POST /imports/lawns": account.ImportLawns, "POST /imports/weather": account.ImportWeather,
	"GET /jobs": account.SeeJobs, "POST /jobs/:number/retry": account.RetryJobs,
	"GET /lawns": account.SeeProperties, "GET /lawns/:id": account.SeeProperties,
}

// TestRightsOfEveryRole sends every role to every route with names of nothing:
// who may not is refused before anything is read, who may gets any other answer.
func TestRightsOfEveryRole(t *testing.T) {
	h := newHouse(t)
	token, _ := h.withToken(h.Lead.ID)
	closed := h.signedIn("stranger")
	closedToken, _ := h.withToken(h.Stranger.ID)
	if err := h.DB.CloseAccount(h.Ctx, h.Stranger.ID, h.Owner.ID); err != nil {
		t.Fatal(err)
	}
	askers := []struct {
		name  string
		a     *asker
		roles []account.Role // none: not signed in
	}{
		{"owner", h.signedIn("owner"), []account.Role{account.Owner}}, {"office", h.signedIn("office"), []account.Role{account.Office}},
		{"technician", h.signedIn("lead"), []account.Role{account.Technician}}, {"technician's token", token, []account.Role{account.Technician}},
		{"nobody", h.nobody(), nil}, {"closed account", closed, nil},
	}
	values := strings.NewReplacer(":id", "0199c0de-0000-7000-8000-00000000dead", ":crew", h.Crew.ID.String(), ":date", build.Day.String(), ":number", "999999", ":code", "stale", "*file", "none.css")
	seen := map[string]bool{}
	for _, r := range h.server.engine.Routes() {
		route := r.Method + " " + r.Path
		action, ok := routeActions[route]
		if seen[route] = true; !ok {
			t.Errorf("%s: the test does not know what must be allowed for it", route)
			continue
		}
		if route == "POST /sign-out" { // it ends the session of the test
			continue
		}
		for _, who := range askers {
			got := who.a.ask(r.Method, values.Replace(r.Path), nil)
			may := action == open || who.roles != nil && account.May(account.Account{Roles: who.roles}, action)
			led := got.Code == http.StatusSeeOther && strings.HasPrefix(got.Header().Get("Location"), "/sign-in")
			switch {
			case may && (led || got.Code == http.StatusForbidden || got.Code == http.StatusUnauthorized && route != "POST /sign-in" || got.Code >= 500):
				t.Errorf("%s: %s may and is answered %d: %.200s", route, who.name, got.Code, got.Body)
			case may:
			case route == "GET /" && who.roles != nil:
				if got.Code != http.StatusSeeOther || got.Header().Get("Location") != "/sheets" {
					t.Errorf("the first page answers a technician %d to %q", got.Code, got.Header().Get("Location"))
				}
			case who.roles != nil:
				got.problem(http.StatusForbidden, "forbidden")
			case r.Method == http.MethodGet && !strings.HasPrefix(r.Path, apiPrefix):
				if !led {
					t.Errorf("%s: %s is not led to the sign-in: %d", route, who.name, got.Code)
				}
			default:
				got.problem(http.StatusUnauthorized, "sign-in")
			}
		}
		if action != open && strings.HasPrefix(r.Path, apiPrefix) {
			closedToken.ask(r.Method, values.Replace(r.Path), nil).problem(http.StatusUnauthorized, "bad-token")
		}
	}
	for route := range routeActions {
		if !seen[route] {
			t.Errorf("%s is in the test and not served", route)
		}
	}
}

const gateCode = "4711-gate"

// secrets gives the lawn a price and a gate code.
func (h *house) secrets() {
	h.t.Helper()
	_, err := h.DB.SaveServicePlan(h.Ctx, h.Property.ID, 0, build.Day, func(p *property.ServicePlan) error {
		p.Services, p.SeasonFrom, p.SeasonTo = []turf.Work{turf.Mow}, civil.MonthDay{Month: 4, Day: 1}, civil.MonthDay{Month: 11, Day: 15}
		p.PriceBasis, p.PriceCents = "per_visit", build.Pointer(int64(6789))
		return nil
	})
	if err != nil {
		h.t.Fatal(err)
	}
	_, err = h.DB.SaveProperty(h.Ctx, h.Property.ID, h.Property.Version, func(p *property.Property) error { p.GateCode = gateCode; return nil })
	if err != nil {
		h.t.Fatal(err)
	}
}

func TestPricesAndGateCodesAreShownToTheDeskAlone(t *testing.T) {
	h := newHouse(t)
	h.secrets()
	path := apiPrefix + "/properties/" + h.Property.ID.String()
	for _, name := range []string{"owner", "office"} {
		got := h.signedIn(name).ask(http.MethodGet, path, nil).is(http.StatusOK).Body.String()
		if !strings.Contains(got, gateCode) || !strings.Contains(got, "6789") {
			t.Errorf("%s does not see the price or the gate code: %s", name, got)
		}
	}
	h.signedIn("lead").ask(http.MethodGet, path, nil).problem(http.StatusForbidden, "forbidden")
	p, err := h.DB.Property(h.Ctx, h.Property.ID)
	if err != nil {
		t.Fatal(err)
	}
	for _, role := range []account.Role{account.Owner, account.Office, account.Technician} {
		j := newPropertyJSON(p, account.Account{Roles: []account.Role{role}})
		sees := role != account.Technician
		if (j.GateCode != "") != sees || (j.Plan.PriceCents != nil) != sees || (j.Plan.PriceBasis != "") != sees {
			t.Errorf("a property as %s sees it: gate code %q, price %v by %q", role, j.GateCode, j.Plan.PriceCents, j.Plan.PriceBasis)
		}
	}
	// Nothing that a technician can read anywhere names the price.
	v := h.Visit(h.Crew, h.Property, build.Day)
	lead := h.signedIn("lead")
	for _, path := range []string{"/sheets", "/sheets/" + h.Crew.ID.String() + "/" + build.Day.String(), "/visits/" + v.ID.String(),
		apiPrefix + "/visits/" + v.ID.String(), apiPrefix + "/route-sheets/" + h.Crew.ID.String() + "/" + build.Day.String()} {
		body := lead.ask(http.MethodGet, path, nil, header{"Accept", "text/html"}).is(http.StatusOK).Body.String()
		if strings.Contains(body, "6789") || strings.Contains(body, "67.89") {
			t.Errorf("%s shows a technician the price", path)
		}
	}
}

func TestGateCodeIsForTheCrewOfThatDay(t *testing.T) {
	h := newHouse(t)
	h.secrets()
	today, later := h.Visit(h.Crew, h.Property, build.Day), h.Visit(h.Crew, h.Property, build.Day.AddDays(5))
	page := func(name string, v visit.Visit) string {
		return h.signedIn(name).ask(http.MethodGet, "/visits/"+v.ID.String(), nil, header{"Accept", "text/html"}).is(http.StatusOK).Body.String()
	}
	if !strings.Contains(page("lead", today), gateCode) {
		t.Error("the crew of the day does not see the gate code")
	}
	if strings.Contains(page("lead", later), gateCode) {
		t.Error("the crew sees the gate code of another day's visit")
	}
	if !strings.Contains(page("office", later), gateCode) {
		t.Error("the office does not see the gate code")
	}
}

func TestAnotherCrewsThingsAreNotRead(t *testing.T) {
	h := newHouse(t)
	v := h.Visit(h.Crew, h.Property, build.Day)
	record := h.recordOf(v)
	day := h.Crew.ID.String() + "/" + build.Day.String()
	for _, path := range []string{apiPrefix + "/visits/" + v.ID.String(), apiPrefix + "/route-sheets/" + day, apiPrefix + "/records/" + record.String(),
		"/visits/" + v.ID.String(), "/sheets/" + day, "/records/" + record.String()} {
		h.signedIn("stranger").ask(http.MethodGet, path, nil).problem(http.StatusForbidden, "forbidden")
		for _, name := range []string{"lead", "office", "owner"} {
			h.signedIn(name).ask(http.MethodGet, path, nil).is(http.StatusOK)
		}
	}
	stranger := h.signedIn("stranger")
	stranger.post("/visits/"+v.ID.String(), url.Values{}, header{"Accept", "*/*"}).problem(http.StatusForbidden, "forbidden")
	list := stranger.ask(http.MethodGet, "/sheets", nil, header{"Accept", "text/html"}).is(http.StatusOK).Body.String()
	if strings.Contains(list, h.Crew.ID.String()) {
		t.Error("the list of sheets leads to another crew's")
	}
}

// recordOf closes the visit with an application by a report of the lead and
// returns the record's id.
func (h *house) recordOf(v visit.Visit) uuid.UUID {
	h.t.Helper()
	e := h.Mown(v, h.Property)
	e.Applications = []visit.Application{h.Sprayed(h.Property)}
	var got batchAnswerJSON
	h.signedIn("lead").ask(http.MethodPost, apiPrefix+"/field/batch", map[string]any{"entries": []any{e}}).is(http.StatusOK).into(&got)
	if got.Results[0].Outcome != visit.Accepted {
		h.t.Fatalf("the report with an application: %+v", got.Results[0])
	}
	page, err := h.DB.RecordsPage(h.Ctx, postgres.RecordQuery{PageQuery: postgres.PageQuery{Limit: 10}, From: build.Day, To: build.Day})
	if err != nil {
		h.t.Fatal(err)
	}
	i := slices.IndexFunc(page.Items, func(r application.Sealed) bool { return r.VisitID == v.ID })
	if i < 0 {
		h.t.Fatalf("the application left no record among %d", len(page.Items))
	}
	return page.Items[i].ID
}
