package account

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/alexedwards/argon2id"
	"github.com/google/uuid"

	"thirdcut/internal/fault"
)

func TestCheckPassword(t *testing.T) {
	cases := []struct {
		password string
		ok       bool
	}{
		{"mossy path 12", true},
		{"elf chars..", false},
		{"twelve chars", true},
		{"密码密码密码密码密码好的", true},
		{strings.Repeat("ab c", 64), true},
		{strings.Repeat("ab c", 64) + "x", false},
		{"password1234", false},
		{"PassWord1234", false},
		{"aaaaaaaaaaaaaaa", false},
		{"abababababab", false},
		{"ada@mail.example", false},
		{"correct horse battery staple", false},
	}
	for _, c := range cases {
		err := CheckPassword("ada@mail.example", c.password)
		if (err == nil) != c.ok || err != nil && !fault.HasCode(err, "password") {
			t.Errorf("%.40q: %v, want ok %v", c.password, err, c.ok)
		}
	}
	for p := range commonPasswords() {
		if len([]rune(p)) < LeastPassword || p != strings.ToLower(p) {
			t.Errorf("%q in the list of common passwords can never be met", p)
		}
	}
}

func TestHashIsArgon2idAsStated(t *testing.T) {
	h := NewHasher(1)
	hash, err := h.Hash(context.Background(), "mossy path 12")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(hash, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("hash %.40s", hash)
	}
	for password, want := range map[string]bool{"mossy path 12": true, "mossy path 13": false, "": false} {
		if same, err := h.Matches(context.Background(), password, hash); err != nil || same != want {
			t.Errorf("%q: %v, %v", password, same, err)
		}
	}
	if same, err := h.Matches(context.Background(), "nobody signs in with this", ""); err != nil || same {
		t.Errorf("nobody's hash lets somebody in: %v, %v", same, err)
	}
	if outdated(hash) {
		t.Error("a hash of today is outdated")
	}
}

func TestHasherWaitsForASlot(t *testing.T) {
	h := NewHasher(1)
	if err := h.take(context.Background()); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer cancel()
	if _, err := h.Hash(ctx, "mossy path 12"); !fault.HasCode(err, "busy") {
		t.Errorf("with no slot left: %v", err)
	}
}

func TestTokens(t *testing.T) {
	one, hash := MakeToken()
	two, _ := MakeToken()
	if one == two || !strings.HasPrefix(one, TokenPrefix) || len(one) != len(TokenPrefix)+52 {
		t.Errorf("tokens %q and %q", one, two)
	}
	if again, err := HashToken(one); err != nil || !slices.Equal(again, hash) {
		t.Errorf("hash of the token: %x, %v; want %x", again, err, hash)
	}
	for _, bad := range []string{"", "tc_", one[3:], one + "a", one[:len(one)-1], "tc_" + strings.Repeat("1", 52)} {
		if _, err := HashToken(bad); !fault.HasCode(err, "bad-token") {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

// memory is a store that lets everything through and keeps what was asked of it.
type memory struct {
	Store
	account  Account
	cleared  int
	replaced string
}

func (m *memory) AccountByName(_ context.Context, name string) (Account, error) {
	if name != m.account.SignInName {
		return Account{}, fault.New(fault.NotFound, "account", "none")
	}
	return m.account, nil
}

func (m *memory) StartAttempt(context.Context, []Limit, time.Duration) (Attempt, time.Duration, error) {
	return Attempt{}, 0, nil
}

func (m *memory) ClearAttempt(context.Context, Attempt) error { m.cleared++; return nil }

func (m *memory) ReplaceHash(_ context.Context, _ uuid.UUID, hash string) error {
	m.replaced = hash
	return nil
}

func TestOldHashIsMadeAnewAtSignIn(t *testing.T) {
	old, err := argon2id.CreateHash("mossy path 12", &argon2id.Params{Memory: 8 * 1024, Iterations: 1, Parallelism: 1, SaltLength: 16, KeyLength: 32})
	if err != nil {
		t.Fatal(err)
	}
	store := &memory{account: Account{SignInName: "ada", PasswordHash: old, Roles: []Role{Owner}}}
	s := Accounts{Store: store, Hasher: NewHasher(1)}
	if _, err := s.SignIn(context.Background(), " ADA ", "mossy path 12", "192.0.2.1"); err != nil {
		t.Fatal(err)
	}
	if outdated(store.replaced) || store.cleared != 1 {
		t.Errorf("replaced by %q, cleared %d times", store.replaced, store.cleared)
	}
	store.account.PasswordHash, store.replaced = store.replaced, ""
	if _, err := s.SignIn(context.Background(), "ada", "mossy path 12", "192.0.2.1"); err != nil || store.replaced != "" {
		t.Errorf("with a hash of today: %v, replaced by %q", err, store.replaced)
	}
}

// An unknown name must cost a hash as a wrong password does. Compared are the
// fastest of several tries, with room for a busy machine.
func TestUnknownNameTakesAsLong(t *testing.T) {
	h := NewHasher(1)
	hash, err := h.Hash(context.Background(), "mossy path 12")
	if err != nil {
		t.Fatal(err)
	}
	s := Accounts{Store: &memory{account: Account{SignInName: "ada", PasswordHash: hash}}, Hasher: h}
	fastest := func(name string) time.Duration {
		best := time.Hour
		for range 5 {
			start := time.Now()
			if _, err := s.SignIn(context.Background(), name, "wrong password", ""); !fault.HasCode(err, "wrong-sign-in") {
				t.Fatalf("%s: %v", name, err)
			}
			best = min(best, time.Since(start))
		}
		return best
	}
	fastest("nobody") // makes nobody's hash
	known, unknown := fastest("ada"), fastest("nobody")
	if unknown < known/2 || known < unknown/2 {
		t.Errorf("a known name takes %v, an unknown one %v", known, unknown)
	}
}

func TestValidateAccount(t *testing.T) {
	for name, ok := range map[string]bool{"ada@mail.example": true, "ada": true, "a": false, "ada marsh": false, "": false, "a\x00b": false} {
		if err := Validate(Account{SignInName: name, Roles: []Role{Office}}); (err == nil) != ok {
			t.Errorf("%q: %v, want ok %v", name, err, ok)
		}
	}
	for _, roles := range [][]Role{nil, {"boss"}, {Owner, Owner}} {
		if err := Validate(Account{SignInName: "ada", Roles: roles}); !fault.HasCode(err, "account") {
			t.Errorf("roles %v: %v", roles, err)
		}
	}
}

func TestWaitWords(t *testing.T) {
	for d, want := range map[time.Duration]string{time.Millisecond: "a minute", time.Minute: "a minute", 61 * time.Second: "2 minutes", 15 * time.Minute: "15 minutes"} {
		if got := waitWords(d); got != want {
			t.Errorf("%v is %q, want %q", d, got, want)
		}
	}
}
