package account

import (
	"context"
	"crypto/rand"
	_ "embed"
	"fmt"
	"math/big"
	"runtime"
	"strings"
	"sync"

	"github.com/alexedwards/argon2id"
	"golang.org/x/sync/semaphore"

	"thirdcut/internal/fault"
)

// Lengths of a password in characters.
const (
	LeastPassword    = 12
	GreatestPassword = 256
)

// hashing is argon2id with 19 MiB, two passes and one lane: the least that the
// OWASP password storage cheat sheet recommends for argon2id.
var hashing = argon2id.Params{Memory: 19 * 1024, Iterations: 2, Parallelism: 1, SaltLength: 16, KeyLength: 32}

//go:embed common_passwords.txt
var commonText string

// commonPasswords are passwords that are tried first by whoever guesses.
var commonPasswords = sync.OnceValue(func() map[string]bool {
	set := map[string]bool{}
	for _, line := range strings.Split(commonText, "\n") {
		if line = strings.TrimSpace(line); line != "" && !strings.HasPrefix(line, "#") {
			set[line] = true
		}
	}
	return set
})

// CheckPassword says what is wrong with a new password for that sign-in name,
// or nil: fault.Invalid "password". Any characters are welcome.
func CheckPassword(signInName, password string) error {
	bad := fault.New(fault.Invalid, "password", "the password cannot be used; choose another")
	lower := strings.ToLower(strings.TrimSpace(password))
	switch n := len([]rune(password)); {
	case n < LeastPassword:
		bad.With("/password", "has %d characters; it needs at least %d, and a few words in a row do well", n, LeastPassword)
	case n > GreatestPassword:
		bad.With("/password", "is longer than %d characters; shorten it", GreatestPassword)
	case commonPasswords()[lower] || sameFewLetters(lower):
		bad.With("/password", "is one of those that are guessed first; choose words that only you would put together")
	case signInName != "" && strings.ReplaceAll(lower, strings.ToLower(signInName), "") == "":
		bad.With("/password", "is only the sign-in name over again; choose words that only you would put together")
	default:
		return nil
	}
	return bad
}

// sameFewLetters says whether the text is made of at most two different characters.
func sameFewLetters(s string) bool {
	seen := map[rune]bool{}
	for _, r := range s {
		seen[r] = true
	}
	return len(seen) <= 2
}

// Hasher hashes passwords, a few at a time: each hash takes 19 MiB and a
// processor, so that a flood of sign-ins waits instead of taking the machine.
type Hasher struct{ slots *semaphore.Weighted }

// NewHasher makes a hasher that works on at most so many passwords at a time;
// zero takes the number of processors.
func NewHasher(atOnce int) *Hasher {
	if atOnce <= 0 {
		atOnce = runtime.GOMAXPROCS(0)
	}
	return &Hasher{slots: semaphore.NewWeighted(int64(atOnce))}
}

func (h *Hasher) take(ctx context.Context) error {
	if err := h.slots.Acquire(ctx, 1); err != nil {
		return fault.New(fault.Unavailable, "busy", "too many people are signing in at this moment; try again in a minute").Because(err)
	}
	return nil
}

// Hash returns what is kept of a password. It waits for a free slot or the
// context's end: fault.Unavailable "busy".
func (h *Hasher) Hash(ctx context.Context, password string) (string, error) {
	if err := h.take(ctx); err != nil {
		return "", err
	}
	defer h.slots.Release(1)
	hash, err := argon2id.CreateHash(password, &hashing)
	if err != nil {
		return "", fmt.Errorf("hash password: %w", err)
	}
	return hash, nil
}

// Matches says whether the password is the one that was hashed. An empty hash
// matches nothing and takes as long as a real one.
func (h *Hasher) Matches(ctx context.Context, password, hash string) (bool, error) {
	if err := h.take(ctx); err != nil {
		return false, err
	}
	defer h.slots.Release(1)
	nobody := hash == ""
	if nobody {
		hash = nobodysHash()
	}
	same, err := argon2id.ComparePasswordAndHash(password, hash)
	if err != nil {
		return false, fmt.Errorf("compare password: %w", err)
	}
	return same && !nobody, nil
}

// nobodysHash is compared with where there is no account, so that the answer
// takes the same time.
var nobodysHash = sync.OnceValue(func() string {
	hash, err := argon2id.CreateHash("nobody signs in with this", &hashing)
	if err != nil {
		panic("no random numbers for a password hash: " + err.Error())
	}
	return hash
})

// outdated says whether a hash was made with other parameters than today's.
func outdated(hash string) bool {
	params, _, _, err := argon2id.DecodeHash(hash)
	return err != nil || params.Memory != hashing.Memory || params.Iterations != hashing.Iterations ||
		params.Parallelism != hashing.Parallelism || params.KeyLength != hashing.KeyLength
}

// passwordLetters leaves out what looks alike on paper: 0 O, 1 l I.
const passwordLetters = "abcdefghjkmnpqrstuvwxyz23456789"

// MakePassword makes a password for somebody to write down: four groups of
// four, 79 bits of chance.
func MakePassword() string {
	var b strings.Builder
	for i := range 16 {
		if i > 0 && i%4 == 0 {
			b.WriteByte('-')
		}
		n, err := rand.Int(rand.Reader, big.NewInt(int64(len(passwordLetters))))
		if err != nil {
			panic("the system has no randomness: " + err.Error()) // crypto/rand never fails on supported systems
		}
		b.WriteByte(passwordLetters[n.Int64()])
	}
	return b.String()
}
