package account

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"strings"

	"thirdcut/internal/fault"
)

// TokenPrefix begins every API token, so that one that leaked can be told.
const TokenPrefix = "tc_"

const tokenBytes = 32

var tokenText = base32.StdEncoding.WithPadding(base32.NoPadding)

// MakeToken returns a new API token of 32 random bytes, which is shown once,
// and the SHA-256 of it, which is kept.
func MakeToken() (token string, hash []byte) {
	b := make([]byte, tokenBytes)
	rand.Read(b) // never fails: it ends the program instead
	token = TokenPrefix + strings.ToLower(tokenText.EncodeToString(b))
	return token, tokenHash(token)
}

func tokenHash(token string) []byte {
	sum := sha256.Sum256([]byte(token))
	return sum[:]
}

// HashToken returns what is kept of a token that somebody shows, or
// fault.SignIn "bad-token" when it has not the form of one.
func HashToken(token string) ([]byte, error) {
	text, ok := strings.CutPrefix(token, TokenPrefix)
	b, err := tokenText.DecodeString(strings.ToUpper(text))
	if !ok || err != nil || len(b) != tokenBytes {
		return nil, ErrToken()
	}
	return tokenHash(token), nil
}

// ErrToken is the one answer to a token that is malformed, unknown, revoked or
// of a closed account: fault.SignIn "bad-token".
func ErrToken() error {
	return fault.New(fault.SignIn, "bad-token", "the API token is not valid; make a new one on the page of your account")
}
