package api

import (
	"context"
	"net/http"
	"strings"

	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/fault"
)

type accountKey struct{}

// accountFrom is the account that the request was made by.
func accountFrom(ctx context.Context) (account.Account, bool) {
	a, ok := ctx.Value(accountKey{}).(account.Account)
	return a, ok
}

// What a session holds.
const (
	sessionPerson = "person_id"
	sessionEpoch  = "epoch" // sessions of an earlier epoch of the account have ended
)

// identify finds out who asks: by bearer token or by session. The account is
// read anew each time, so that somebody who left is out at once.
func (s *Server) identify(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		a, known, err := s.whoAsks(r)
		if err != nil {
			s.refuse(w, r, err)
			return
		}
		if known {
			r = r.WithContext(context.WithValue(r.Context(), accountKey{}, a))
		}
		h.ServeHTTP(w, r)
	})
}

func (s *Server) whoAsks(r *http.Request) (account.Account, bool, error) {
	if strings.HasPrefix(r.URL.Path, "/static/") {
		return account.Account{}, false, nil
	}
	if scheme, token, ok := strings.Cut(r.Header.Get("Authorization"), " "); ok && strings.EqualFold(scheme, "bearer") { // any case: RFC 9110, 11.1
		a, err := s.DB.AccountByToken(r.Context(), strings.TrimSpace(token))
		if err != nil {
			return account.Account{}, false, err
		}
		return a, true, nil
	}
	id, err := uuid.Parse(s.sessions.GetString(r.Context(), sessionPerson))
	if err != nil {
		return account.Account{}, false, nil
	}
	a, err := s.DB.Account(r.Context(), id)
	ended := err == nil && (!a.ClosedAt.IsZero() || a.SessionEpoch != s.sessions.GetInt(r.Context(), sessionEpoch))
	if fault.Is(err, fault.NotFound) || ended {
		_ = s.sessions.Destroy(r.Context()) // a session of nobody; its row ends by itself if this fails
		return account.Account{}, false, nil
	}
	if err != nil {
		return account.Account{}, false, err
	}
	return a, true, nil
}

// signIn starts a session for a name and password. The token is made new, so
// that one planted before sign-in is worth nothing after.
func (s *Server) signIn(r *http.Request, name, password string) (account.Account, error) {
	a, err := s.Accounts.SignIn(r.Context(), name, password, clientAddress(r))
	if err != nil {
		return account.Account{}, err
	}
	if err := s.sessions.RenewToken(r.Context()); err != nil {
		return account.Account{}, err
	}
	s.sessions.Put(r.Context(), sessionPerson, a.PersonID.String())
	s.sessions.Put(r.Context(), sessionEpoch, a.SessionEpoch)
	return a, nil
}

// signOut ends the session.
func (s *Server) signOut(r *http.Request) error { return s.sessions.Destroy(r.Context()) }

// clientAddress is the peer's address without its port, for throttling.
func clientAddress(r *http.Request) string {
	host, _, ok := strings.Cut(r.RemoteAddr, "]:")
	if ok {
		return strings.TrimPrefix(host, "[")
	}
	if i := strings.LastIndexByte(r.RemoteAddr, ':'); i > 0 {
		return r.RemoteAddr[:i]
	}
	return r.RemoteAddr
}
