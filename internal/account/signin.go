package account

import (
	"context"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/fault"
)

// How often a sign-in may fail before it must wait: so many times within
// FailureSpan, for one name and for one address. An office shares one address.
const (
	FailuresPerName    = 5
	FailuresPerAddress = 30
	FailureSpan        = 15 * time.Minute
)

// Limit is how many failures a key may have within the span.
type Limit struct {
	Key  string // "name:<sign-in name>" or "from:<address>"
	Most int
}

// Store keeps accounts for the sign-in.
type Store interface {
	// AccountByName returns the account of that sign-in name, a closed one too, or fault.NotFound.
	AccountByName(ctx context.Context, signInName string) (Account, error)
	// StartAttempt writes a failure down for each key before the password is
	// looked at, so that guessing many at once gains nothing. When a key is at
	// its limit it writes nothing and returns how long to wait.
	StartAttempt(ctx context.Context, limits []Limit, span time.Duration) (attempt Attempt, wait time.Duration, err error)
	// ClearAttempt takes back the attempt's failures, and all others of its name.
	ClearAttempt(ctx context.Context, attempt Attempt) error
	// ReplaceHash keeps the same password hashed anew; sessions go on.
	ReplaceHash(ctx context.Context, personID uuid.UUID, hash string) error
	// CreateAccount, SetPassword: see Accounts.
	CreateAccount(ctx context.Context, a Account, by uuid.UUID) (Account, error)
	SetPasswordHash(ctx context.Context, personID uuid.UUID, hash string, by uuid.UUID) error
}

// Attempt is one try to sign in, written down as failed until it succeeds.
type Attempt struct {
	NameKey string
	FromKey string
	At      time.Time
}

// Accounts is the use cases around signing in.
type Accounts struct {
	Store  Store
	Hasher *Hasher
}

// errWrong is the same for an unknown name, a wrong password and a closed account.
func errWrong() error {
	return fault.New(fault.SignIn, "wrong-sign-in",
		"the name and the password do not belong together; check both, or ask the owner for a new password")
}

// SignIn returns the account of the name when the password is right. From is
// the caller's address. An unknown name, a wrong password and a closed account
// answer alike and in the same time: fault.SignIn "wrong-sign-in". After too
// many failures nothing is looked at any more: fault.TooMany "wait-to-sign-in"
// says for how long; then a right password is let in.
func (s Accounts) SignIn(ctx context.Context, name, password, from string) (Account, error) {
	name = NormalName(name)
	limits := []Limit{{"name:" + clip(name), FailuresPerName}, {"from:" + clip(from), FailuresPerAddress}}
	attempt, wait, err := s.Store.StartAttempt(ctx, limits, FailureSpan)
	if err != nil {
		return Account{}, fmt.Errorf("start sign-in: %w", err)
	}
	if wait > 0 {
		return Account{}, fault.New(fault.TooMany, "wait-to-sign-in",
			"there were too many failed sign-ins; wait %s, then try again with the right password", waitWords(wait))
	}
	a, err := s.Store.AccountByName(ctx, name)
	if err != nil && !fault.Is(err, fault.NotFound) {
		return Account{}, fmt.Errorf("find account: %w", err)
	}
	if len([]rune(password)) > GreatestPassword {
		password = "" // no password is; hashing megabytes is not a way in
	}
	same, err := s.Hasher.Matches(ctx, password, a.PasswordHash) // the empty hash of nobody matches nothing
	if err != nil {
		return Account{}, err
	}
	if !same || !a.ClosedAt.IsZero() {
		return Account{}, errWrong()
	}
	return a, s.welcome(ctx, a, attempt, password)
}

// welcome clears the failures and hashes an outdated password anew.
func (s Accounts) welcome(ctx context.Context, a Account, attempt Attempt, password string) error {
	if err := s.Store.ClearAttempt(ctx, attempt); err != nil {
		return fmt.Errorf("clear failed sign-ins: %w", err)
	}
	if !outdated(a.PasswordHash) {
		return nil
	}
	hash, err := s.Hasher.Hash(ctx, password)
	if err != nil {
		return err
	}
	if err := s.Store.ReplaceHash(ctx, a.PersonID, hash); err != nil {
		return fmt.Errorf("hash password anew: %w", err)
	}
	return nil
}

// NormalName is a sign-in name as it is kept: lower case, without blanks around it.
func NormalName(name string) string { return strings.ToLower(strings.TrimSpace(name)) }

func clip(s string) string {
	if r := []rune(s); len(r) > 200 {
		return string(r[:200])
	}
	return s
}

// waitWords says a wait in whole minutes, rounded up.
func waitWords(d time.Duration) string {
	if d <= time.Minute {
		return "a minute"
	}
	return fmt.Sprintf("%d minutes", int((d+time.Minute-1)/time.Minute))
}

var signInName = regexp.MustCompile(`^[^\s\pC]{2,200}$`)

// Create gives a person a sign-in. By is who does it; uuid.Nil is the program's
// first owner. Faults: Invalid "account", Invalid "password", Conflict
// "sign-in-name-taken", Conflict "account-taken".
func (s Accounts) Create(ctx context.Context, personID uuid.UUID, name, password string, roles []Role, by uuid.UUID) (Account, error) {
	a := Account{PersonID: personID, SignInName: NormalName(name), Roles: roles}
	if err := Validate(a); err != nil {
		return Account{}, err
	}
	if err := CheckPassword(a.SignInName, password); err != nil {
		return Account{}, err
	}
	hash, err := s.Hasher.Hash(ctx, password)
	if err != nil {
		return Account{}, err
	}
	a.PasswordHash = hash
	return s.Store.CreateAccount(ctx, a, by)
}

// Validate says what is wrong with an account's name and roles, or nil:
// fault.Invalid "account" with a JSON pointer for each wrong place.
func Validate(a Account) error {
	bad := fault.New(fault.Invalid, "account", "the sign-in cannot be kept as entered; correct the places named")
	if !signInName.MatchString(a.SignInName) {
		bad.With("/sign_in_name", "%q is no sign-in name; use 2 to 200 characters without blanks, such as the e-mail address", a.SignInName)
	}
	if len(a.Roles) == 0 {
		bad.With("/roles", "name at least one role: owner, office or technician")
	}
	for i, r := range a.Roles {
		if r != Owner && r != Office && r != Technician {
			bad.With("/roles", "%q is no role; choose owner, office or technician", r)
		} else if slices.Contains(a.Roles[:i], r) {
			bad.With("/roles", "%q is named twice", r)
		}
	}
	if len(bad.Fields) == 0 {
		return nil
	}
	return bad
}

// EndsSessions says whether a change of the account ends its sessions: other
// roles, another sign-in name, or closing it.
func EndsSessions(before, after Account) bool {
	return !slices.Equal(before.Roles, after.Roles) || before.SignInName != after.SignInName ||
		before.ClosedAt.IsZero() != after.ClosedAt.IsZero()
}

// SetPassword gives the account another password and ends its sessions. Faults:
// Invalid "password", NotFound "account".
func (s Accounts) SetPassword(ctx context.Context, a Account, password string, by uuid.UUID) error {
	if err := CheckPassword(a.SignInName, password); err != nil {
		return err
	}
	hash, err := s.Hasher.Hash(ctx, password)
	if err != nil {
		return err
	}
	return s.Store.SetPasswordHash(ctx, a.PersonID, hash, by)
}
