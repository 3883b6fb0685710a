// Package account holds sign-ins, roles and what each role may do.
package account

import (
	"slices"
	"time"

	"github.com/google/uuid"
)

// Role is what a signed-in person may do.
type Role string

// The roles.
const (
	Owner      Role = "owner"
	Office     Role = "office"
	Technician Role = "technician"
)

// Account is a person's sign-in.
type Account struct {
	PersonID     uuid.UUID
	Name         string // the person's
	SignInName   string // lower case
	PasswordHash string
	Roles        []Role
	CrewIDs      []uuid.UUID // crews that the person is a member of
	ClosedAt     time.Time   // zero: open
	SessionEpoch int         // sessions of an earlier epoch have ended
	Version      int
}

// Has says whether the account has any of the roles.
func (a Account) Has(roles ...Role) bool {
	return slices.ContainsFunc(roles, func(r Role) bool { return slices.Contains(a.Roles, r) })
}

// Token is an API token; only its hash is kept.
type Token struct {
	ID         uuid.UUID
	PersonID   uuid.UUID
	Name       string
	CreatedAt  time.Time
	LastUsedAt time.Time
	RevokedAt  time.Time
}

// AuditEntry is one thing that somebody did and that others may ask about.
type AuditEntry struct {
	ID       int64
	At       time.Time
	PersonID uuid.UUID // uuid.Nil: nobody who was signed in
	Action   string    // noun.verb: label.confirm, account.close
	Subject  string    // what it was done to: an id, a sign-in name
	Detail   string
}
