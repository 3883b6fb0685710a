package postgres_test

import (
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
)

const goodPassword = "mossy path 12"

func (h *house) accounts() account.Accounts {
	return account.Accounts{Store: h.DB, Hasher: account.NewHasher(2)}
}

func (h *house) account(name, signIn string, roles ...account.Role) account.Account {
	h.t.Helper()
	a, err := h.accounts().Create(h.ctx, h.person(name, false).ID, signIn, goodPassword, roles, uuid.Nil)
	h.ok(err)
	return a
}

func TestSignIn(t *testing.T) {
	h := newHouse(t)
	a := h.account("Ada Marsh", " Ada@Mail.Example ", account.Owner)
	if a.SignInName != "ada@mail.example" || a.Name != "Ada Marsh" || a.SessionEpoch != 1 {
		t.Fatalf("account %+v", a)
	}
	s := h.accounts()
	got, err := s.SignIn(h.ctx, "ADA@mail.example", goodPassword, "192.0.2.1")
	h.ok(err)
	if !reflect.DeepEqual(got, a) {
		t.Errorf("signed in as %+v, want %+v", got, a)
	}
	_, unknown := s.SignIn(h.ctx, "nobody", goodPassword, "192.0.2.1")
	_, wrong := s.SignIn(h.ctx, "ada@mail.example", goodPassword+"!", "192.0.2.1")
	_, odd := s.SignIn(h.ctx, "a\x00\xff", "x", "192.0.2.1\x00")
	_, long := s.SignIn(h.ctx, strings.Repeat("n", 1000), strings.Repeat("p", 1<<20), strings.Repeat("f", 1000))
	for _, err := range []error{unknown, wrong, odd, long} {
		h.refused(err, fault.SignIn, "wrong-sign-in")
		if err.Error() != unknown.Error() {
			t.Errorf("answers differ: %q and %q", err, unknown)
		}
	}
	_, err = s.Create(h.ctx, h.person("Ben Rowe", false).ID, "ada@mail.example", goodPassword, []account.Role{account.Office}, a.PersonID)
	h.refused(err, fault.Conflict, "sign-in-name-taken")
	_, err = s.Create(h.ctx, a.PersonID, "other", goodPassword, []account.Role{account.Office}, a.PersonID)
	h.refused(err, fault.Conflict, "account-taken")
	_, err = s.Create(h.ctx, uuid.New(), "other", goodPassword, []account.Role{account.Office}, a.PersonID)
	h.refused(err, fault.NotFound, "person")
	_, err = s.Create(h.ctx, uuid.New(), "other", "short", []account.Role{account.Office}, a.PersonID)
	h.refused(err, fault.Invalid, "password")
}

func TestFiveFailuresThenWait(t *testing.T) {
	h := newHouse(t)
	h.account("Ada Marsh", "ada", account.Owner)
	h.account("Ben Rowe", "ben", account.Office)
	s := h.accounts()
	for range account.FailuresPerName {
		_, err := s.SignIn(h.ctx, "ada", "wrong password", "192.0.2.1")
		h.refused(err, fault.SignIn, "wrong-sign-in")
		h.now = h.now.Add(time.Minute)
	}
	_, err := s.SignIn(h.ctx, "ada", goodPassword, "192.0.2.1")
	h.refused(err, fault.TooMany, "wait-to-sign-in")
	if err == nil || !strings.Contains(err.Error(), "wait 10 minutes") {
		t.Errorf("%v does not say that 10 of the 15 minutes are left", err)
	}
	_, err = s.SignIn(h.ctx, "ben", goodPassword, "192.0.2.1")
	h.ok(err) // another name from the same office
	h.now = h.now.Add(10*time.Minute - time.Second)
	_, err = s.SignIn(h.ctx, "ada", goodPassword, "192.0.2.1")
	h.refused(err, fault.TooMany, "wait-to-sign-in")
	h.now = h.now.Add(time.Second)
	_, err = s.SignIn(h.ctx, "ada", goodPassword, "192.0.2.1")
	h.ok(err)
	for range account.FailuresPerName - 1 { // success has cleared the name
		_, err := s.SignIn(h.ctx, "ada", "wrong password", "192.0.2.1")
		h.refused(err, fault.SignIn, "wrong-sign-in")
	}
	_, err = s.SignIn(h.ctx, "ada", goodPassword, "192.0.2.1")
	h.ok(err)
}

func TestOneAddressCannotTryEverybody(t *testing.T) {
	h := newHouse(t)
	h.account("Ada Marsh", "ada", account.Owner)
	for i := range account.FailuresPerAddress {
		_, wait, err := h.StartAttempt(h.ctx, []account.Limit{{Key: "name:" + uuid.NewString(), Most: account.FailuresPerName},
			{Key: "from:192.0.2.1", Most: account.FailuresPerAddress}}, account.FailureSpan)
		h.ok(err)
		if wait != 0 {
			t.Fatalf("try %d must wait %v", i, wait)
		}
	}
	_, err := h.accounts().SignIn(h.ctx, "ada", goodPassword, "192.0.2.1")
	h.refused(err, fault.TooMany, "wait-to-sign-in")
	_, err = h.accounts().SignIn(h.ctx, "ada", goodPassword, "192.0.2.2")
	h.ok(err)
	h.now = h.now.Add(account.FailureSpan + time.Second)
	dropped, err := h.ForgetFailures(h.ctx, h.now.Add(-account.FailureSpan))
	h.ok(err)
	if left := h.count(`select count(*) from sign_in_failure`); dropped == 0 || left != 0 {
		t.Errorf("dropped %d, left %d", dropped, left)
	}
}

// Guessing many at once looks at no more passwords than guessing in turn.
func TestGuessesAtOnceAreCounted(t *testing.T) {
	h := newHouse(t)
	var wg sync.WaitGroup
	var mu sync.Mutex
	let := 0
	for range 20 {
		wg.Go(func() {
			_, wait, err := h.StartAttempt(h.ctx, []account.Limit{{Key: "name:ada", Most: account.FailuresPerName}, {Key: "from:192.0.2.1", Most: account.FailuresPerAddress}}, account.FailureSpan)
			mu.Lock()
			defer mu.Unlock()
			if err != nil {
				t.Error(err)
			}
			if wait == 0 {
				let++
			}
		})
	}
	wg.Wait()
	if let != account.FailuresPerName {
		t.Errorf("%d guesses were let through, want %d", let, account.FailuresPerName)
	}
}

func TestClosingAndPasswordsEndSessions(t *testing.T) {
	h := newHouse(t)
	owner := h.account("Ada Marsh", "ada", account.Owner)
	ben := h.account("Ben Rowe", "ben", account.Technician)
	s := h.accounts()
	h.ok(s.SetPassword(h.ctx, ben, "another mossy path", owner.PersonID))
	_, err := s.SignIn(h.ctx, "ben", goodPassword, "")
	h.refused(err, fault.SignIn, "wrong-sign-in")
	got, err := s.SignIn(h.ctx, "ben", "another mossy path", "")
	h.ok(err)
	if got.SessionEpoch != ben.SessionEpoch+1 {
		t.Errorf("session epoch %d after a new password", got.SessionEpoch)
	}
	saved, err := h.SaveAccount(h.ctx, ben.PersonID, got.Version, owner.PersonID, func(a *account.Account) error {
		a.Roles = []account.Role{account.Office}
		return nil
	})
	h.ok(err)
	if saved.SessionEpoch != got.SessionEpoch+1 || saved.Version != got.Version+1 {
		t.Errorf("after other roles %+v", saved)
	}
	h.ok(h.CloseAccount(h.ctx, ben.PersonID, owner.PersonID))
	h.ok(h.CloseAccount(h.ctx, ben.PersonID, owner.PersonID))
	_, err = s.SignIn(h.ctx, "ben", "another mossy path", "")
	h.refused(err, fault.SignIn, "wrong-sign-in")
	closed, err := h.Account(h.ctx, ben.PersonID)
	h.ok(err)
	if closed.ClosedAt.IsZero() || closed.SessionEpoch != saved.SessionEpoch+1 {
		t.Errorf("closed %+v", closed)
	}
	h.refused(h.CloseAccount(h.ctx, owner.PersonID, owner.PersonID), fault.Conflict, "last-owner")
	_, err = h.SaveAccount(h.ctx, owner.PersonID, owner.Version, owner.PersonID, func(a *account.Account) error {
		a.Roles = []account.Role{account.Office}
		return nil
	})
	h.refused(err, fault.Conflict, "last-owner")
	h.refused(h.CloseAccount(h.ctx, uuid.New(), owner.PersonID), fault.NotFound, "account")
	entries, err := h.AuditEntries(h.ctx, 0, 100)
	h.ok(err)
	if len(entries) != 5 { // two made, a password, roles, closed
		t.Errorf("audit %+v", entries)
	}
	older, err := h.AuditEntries(h.ctx, entries[1].ID, 2)
	h.ok(err)
	if len(older) != 2 || older[0].ID != entries[2].ID {
		t.Errorf("after %d: %+v", entries[1].ID, older)
	}
}

func TestTwoOwnersCannotCloseEachOther(t *testing.T) {
	h := newHouse(t)
	a, b := h.account("Ada Marsh", "ada", account.Owner), h.account("Ben Rowe", "ben", account.Owner)
	done := make(chan error, 2)
	go func() { done <- h.CloseAccount(h.ctx, a.PersonID, b.PersonID) }()
	go func() { done <- h.CloseAccount(h.ctx, b.PersonID, a.PersonID) }()
	one, two := <-done, <-done
	if (one == nil) == (two == nil) {
		t.Errorf("one got %v, the other %v; want one refused", one, two)
	}
}

func TestWhoeverHasLeftIsOut(t *testing.T) {
	h := newHouse(t)
	h.account("Ada Marsh", "ada", account.Owner)
	ben := h.account("Ben Rowe", "ben", account.Technician)
	text, _, err := h.NewToken(h.ctx, ben.PersonID, "tablet")
	h.ok(err)
	_, err = h.SavePerson(h.ctx, ben.PersonID, 1, func(p *crew.Person) error { p.LeftOn = civil.MustDate("2026-06-03"); return nil })
	h.ok(err)
	_, err = h.accounts().SignIn(h.ctx, "ben", goodPassword, "")
	h.ok(err)                                           // the day before
	h.now = time.Date(2026, 6, 3, 4, 0, 0, 0, time.UTC) // midnight in Maryland
	_, err = h.accounts().SignIn(h.ctx, "ben", goodPassword, "")
	h.refused(err, fault.SignIn, "wrong-sign-in")
	_, err = h.AccountByToken(h.ctx, text)
	h.refused(err, fault.SignIn, "bad-token")
}

func TestTokens(t *testing.T) {
	h := newHouse(t)
	a, b := h.account("Ada Marsh", "ada", account.Owner), h.account("Ben Rowe", "ben", account.Technician)
	text, token, err := h.NewToken(h.ctx, a.PersonID, "bookkeeping")
	h.ok(err)
	if n := h.count(`select count(*) from api_token where token_hash = sha256($1)`, []byte(text)); n != 1 {
		t.Error("what is kept is not the SHA-256 of the token")
	}
	got, err := h.AccountByToken(h.ctx, text)
	h.ok(err)
	if got.PersonID != a.PersonID {
		t.Errorf("the token speaks for %+v", got)
	}
	list, err := h.Tokens(h.ctx, a.PersonID)
	h.ok(err)
	if len(list) != 1 || list[0].ID != token.ID || !list[0].LastUsedAt.Equal(h.now) || !list[0].RevokedAt.IsZero() {
		t.Errorf("tokens %+v", list)
	}
	_, err = h.AccountByToken(h.ctx, "tc_rubbish")
	h.refused(err, fault.SignIn, "bad-token")
	other, _ := account.MakeToken()
	_, err = h.AccountByToken(h.ctx, other)
	h.refused(err, fault.SignIn, "bad-token")
	h.refused(h.RevokeToken(h.ctx, b.PersonID, token.ID), fault.NotFound, "token")
	h.ok(h.RevokeToken(h.ctx, a.PersonID, token.ID))
	h.ok(h.RevokeToken(h.ctx, a.PersonID, token.ID))
	_, err = h.AccountByToken(h.ctx, text)
	h.refused(err, fault.SignIn, "bad-token")
	_, _, err = h.NewToken(h.ctx, a.PersonID, " ")
	h.refused(err, fault.Invalid, "token")
	_, _, err = h.NewToken(h.ctx, uuid.New(), "x")
	h.refused(err, fault.NotFound, "account")
	text, _, err = h.NewToken(h.ctx, b.PersonID, "tablet")
	h.ok(err)
	h.ok(h.CloseAccount(h.ctx, b.PersonID, a.PersonID))
	_, err = h.AccountByToken(h.ctx, text)
	h.refused(err, fault.SignIn, "bad-token")
}

func TestAccountKnowsItsCrews(t *testing.T) {
	h := newHouse(t)
	a := h.account("Ada Marsh", "ada", account.Technician)
	depot, err := h.AddDepot(h.ctx, crew.Depot{Name: "North", Latitude: 39.5, Longitude: -76.5})
	h.ok(err)
	c, err := h.AddCrew(h.ctx, crew.Crew{Name: "North 1", Depot: depot, ShiftFrom: 420, ShiftTo: 960, WorkDays: []int{1}, Members: []crew.Member{{Person: crew.Person{ID: a.PersonID}}}})
	h.ok(err)
	got, err := h.Account(h.ctx, a.PersonID)
	h.ok(err)
	if len(got.CrewIDs) != 1 || got.CrewIDs[0] != c.ID || !account.MaySeeSheet(got, c.ID) {
		t.Errorf("crews %v", got.CrewIDs)
	}
	list, err := h.Accounts(h.ctx)
	h.ok(err)
	if len(list) != 1 || !reflect.DeepEqual(list[0], got) {
		t.Errorf("accounts %+v", list)
	}
}
