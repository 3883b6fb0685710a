package account

import (
	"maps"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/fault"
)

// matrix is written out by hand, action by action: o owner, f office, t technician.
var matrix = map[Action]string{
	SeeCompany: "oft", EditCompany: "o", SetClock: "o", SeePeople: "oft", EditPeople: "o",
	SeeCustomers: "of", EditCustomers: "of", SeePrices: "of",
	SeeProperties: "of", EditProperties: "of", SeeLawnCard: "oft", SeeGateCode: "of",
	SeePlan: "of", Plan: "of", AcceptPlan: "of", SeeRouteSheet: "oft", SeeAllRouteSheets: "of",
	SendFieldBatch: "oft", SettleQuarantine: "of",
	SeeOwnRecords: "oft", SeeRecords: "of", CorrectRecords: "o", ExportRecords: "of",
	SeeProducts: "oft", EditProducts: "o", ConfirmLabels: "ot", SeeStock: "oft", EditStock: "of",
	SeeWeather: "oft", ImportWeather: "of", ImportLawns: "of",
	SeeJobs: "of", RetryJobs: "o", SeeAudit: "o", ManageAccounts: "o", ManageTokens: "oft",
}

var letters = map[Role]rune{Owner: 'o', Office: 'f', Technician: 't'}

func TestEveryRightOfEveryRole(t *testing.T) {
	if got, want := slices.Sorted(maps.Keys(Rights)), slices.Sorted(maps.Keys(matrix)); !slices.Equal(got, want) {
		t.Fatalf("the table has the actions\n%v\nthe test knows\n%v", got, want)
	}
	for action, who := range matrix {
		for role, letter := range letters {
			want := slices.Contains([]rune(who), letter)
			a := Account{Roles: []Role{role}}
			if got := May(a, action); got != want {
				t.Errorf("%s may %s: %v, want %v", role, action, got, want)
			}
			if err := Allow(a, action); (err == nil) != want || err != nil && !fault.Is(err, fault.Forbidden) {
				t.Errorf("Allow(%s, %s) = %v", role, action, err)
			}
		}
	}
}

func TestRolesAddUp(t *testing.T) {
	both := Account{Roles: []Role{Technician, Office}}
	for action, who := range matrix {
		want := slices.ContainsFunc([]rune(who), func(r rune) bool { return r == 't' || r == 'f' })
		if got := May(both, action); got != want {
			t.Errorf("office and technician may %s: %v, want %v", action, got, want)
		}
	}
}

func TestClosedAccountAndUnknownActionMayNothing(t *testing.T) {
	closed := Account{Roles: []Role{Owner}, ClosedAt: time.Unix(1, 0)}
	for action := range Rights {
		if May(closed, action) {
			t.Errorf("a closed account may %s", action)
		}
		if May(Account{}, action) {
			t.Errorf("an account without roles may %s", action)
		}
	}
	if May(Account{Roles: []Role{Owner}}, "no_such_action") {
		t.Error("an action outside the table is allowed")
	}
}

func TestTechniciansSeeNoPrices(t *testing.T) {
	if May(Account{Roles: []Role{Technician}}, SeePrices) {
		t.Error("a technician sees prices")
	}
}

func TestGateCodeIsForTheCrewOfTheDay(t *testing.T) {
	mine, other := uuid.New(), uuid.New()
	technician := Account{Roles: []Role{Technician}, CrewIDs: []uuid.UUID{mine}}
	cases := []struct {
		who   string
		a     Account
		crews []uuid.UUID
		want  bool
	}{
		{"technician, own crew comes today", technician, []uuid.UUID{other, mine}, true},
		{"technician, another crew comes today", technician, []uuid.UUID{other}, false},
		{"technician, nobody comes today", technician, nil, false},
		{"office, nobody comes today", Account{Roles: []Role{Office}}, nil, true},
		{"owner, another crew comes today", Account{Roles: []Role{Owner}}, []uuid.UUID{other}, true},
		{"closed technician, own crew", Account{Roles: []Role{Technician}, CrewIDs: []uuid.UUID{mine}, ClosedAt: time.Unix(1, 0)}, []uuid.UUID{mine}, false},
	}
	for _, c := range cases {
		if got := MaySeeGateCode(c.a, c.crews); got != c.want {
			t.Errorf("%s: %v, want %v", c.who, got, c.want)
		}
	}
	if MaySeeSheet(technician, other) || !MaySeeSheet(technician, mine) || !MaySeeSheet(Account{Roles: []Role{Office}}, other) {
		t.Error("a route sheet is for its own crew and the desk")
	}
}
