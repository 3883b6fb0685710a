package api

import (
	"crypto/tls"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/google/uuid"

	"thirdcut/internal/account"
)

// try sends the sign-in form.
func (a *asker) try(name, secret string, more ...header) answer {
	a.h.t.Helper()
	return a.post("/sign-in", url.Values{"name": {name}, "password": {secret}}, more...)
}

// who says whether the asker is signed in: 200 or 401.
func (a *asker) who() int {
	a.h.t.Helper()
	return a.ask(http.MethodGet, apiPrefix+"/company", nil).Code
}

func TestUnknownNameAndWrongPasswordAreAnsweredAlike(t *testing.T) {
	h := newHouse(t)
	if err := h.DB.CloseAccount(h.Ctx, h.Stranger.ID, h.Owner.ID); err != nil {
		t.Fatal(err)
	}
	page := func(name, secret string) string {
		got := h.nobody().try(name, secret).is(http.StatusUnauthorized)
		return strings.ReplaceAll(got.Body.String(), `"`+name+`"`, "NAME")
	}
	wrong := page("owner", "not-the-password-1")
	if !strings.Contains(wrong, "do not belong together") {
		t.Errorf("the page does not say what is wrong: %s", wrong)
	}
	if page("nobodyatall", "not-the-password-1") != wrong || page("stranger", password) != wrong {
		t.Error("the answer tells an unknown name or a closed account from a wrong password")
	}
	if strings.Contains(wrong, "not-the-password-1") {
		t.Error("the page shows the password")
	}
}

func TestTooManyFailuresMustWait(t *testing.T) {
	h := newHouse(t)
	for i := range account.FailuresPerName {
		if got := h.nobody().try("owner", "wrong-words-here"); got.Code != http.StatusUnauthorized {
			t.Fatalf("failure %d is answered %d", i+1, got.Code)
		}
	}
	got := h.nobody().try("owner", password).is(http.StatusTooManyRequests)
	if s := got.Body.String(); !strings.Contains(s, "wait 15 minutes") || !strings.Contains(s, "too many failed sign-ins") {
		t.Errorf("the page does not say how long to wait: %s", s)
	}
	h.signedIn("office") // others are not held up
}

func TestManyNamesFromOneAddressMustWaitToo(t *testing.T) {
	h := newHouse(t)
	codes := map[int]int{}
	for i := range account.FailuresPerAddress + 1 {
		codes[h.nobody().try("guess"+itoa(i), "wrong-words-here").Code]++
	}
	if codes[http.StatusUnauthorized] != account.FailuresPerAddress || codes[http.StatusTooManyRequests] != 1 {
		t.Errorf("%d guesses from one address are answered %v", account.FailuresPerAddress+1, codes)
	}
}

func TestSessionCookie(t *testing.T) {
	for _, secure := range []bool{false, true} {
		h := newHouseWith(t, func(c *Config) { c.Secure = secure })
		got := h.nobody().try("owner", password).is(http.StatusSeeOther)
		cookies := got.Result().Cookies()
		if len(cookies) != 1 {
			t.Fatalf("sign-in sets %d cookies", len(cookies))
		}
		c := cookies[0]
		if !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || c.Secure != secure || strings.HasPrefix(c.Name, "__Host-") != secure || c.Path != "/" || c.Domain != "" {
			t.Errorf("secure %v: the cookie is %s", secure, c)
		}
		if hsts := got.Header().Get("Strict-Transport-Security"); (hsts != "") != secure {
			t.Errorf("secure %v: Strict-Transport-Security is %q", secure, hsts)
		}
	}
}

func TestSignInMakesTheSessionNewAndSignOutEndsIt(t *testing.T) {
	h := newHouse(t)
	a := h.signedIn("owner")
	first := a.cookie()
	a.try("owner", password).is(http.StatusSeeOther)
	if a.cookie() == first {
		t.Error("signing in kept the session's token; one planted before would be worth something after")
	}
	withCookie := func(c string) int {
		return (&asker{h: h}).ask(http.MethodGet, apiPrefix+"/company", nil, header{"Cookie", c}).Code
	}
	if withCookie(first) != http.StatusUnauthorized {
		t.Error("the token of before still opens the session")
	}
	second := a.cookie()
	if withCookie(second) != http.StatusOK {
		t.Fatal("the new token does not open the session")
	}
	if got := a.post("/sign-out", nil).is(http.StatusSeeOther); got.Header().Get("Location") != "/sign-in" {
		t.Errorf("sign-out leads to %q", got.Header().Get("Location"))
	}
	if withCookie(second) != http.StatusUnauthorized {
		t.Error("the session lives on after sign-out")
	}
	if withCookie("thirdcut=made-up") != http.StatusUnauthorized {
		t.Error("a token that nobody gave out opens a session")
	}
}

func TestSessionsEndWithTheAccountOrItsPassword(t *testing.T) {
	h := newHouse(t)
	lead, office, again := h.signedIn("lead"), h.signedIn("office"), h.signedIn("office")
	if lead.who() != http.StatusOK || office.who() != http.StatusOK {
		t.Fatal("the sign-ins do not work")
	}
	if err := h.DB.CloseAccount(h.Ctx, h.Lead.ID, h.Owner.ID); err != nil {
		t.Fatal(err)
	}
	if lead.who() != http.StatusUnauthorized {
		t.Error("the session of a closed account lives on")
	}
	a, err := h.DB.Account(h.Ctx, h.Helper.ID)
	if err != nil {
		t.Fatal(err)
	}
	const other = "sorrel-bittern-4-rake"
	if err := h.server.Accounts.SetPassword(h.Ctx, a, other, h.Owner.ID); err != nil {
		t.Fatal(err)
	}
	if office.who() != http.StatusUnauthorized || again.who() != http.StatusUnauthorized {
		t.Error("a session of before the new password lives on")
	}
	if got := h.nobody().try("office", password); got.Code != http.StatusUnauthorized {
		t.Errorf("the old password is answered %d", got.Code)
	}
	anew := h.nobody()
	anew.try("office", other).is(http.StatusSeeOther)
	if anew.who() != http.StatusOK {
		t.Error("the new password does not sign in")
	}
}

// A role that was taken away is gone at the next request.
func TestOtherRolesWorkAtOnce(t *testing.T) {
	h := newHouse(t)
	office := h.signedIn("office")
	a, err := h.DB.Account(h.Ctx, h.Helper.ID)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := h.DB.SaveAccount(h.Ctx, a.PersonID, a.Version, h.Owner.ID, func(a *account.Account) error { a.Roles = []account.Role{account.Technician}; return nil }); err != nil {
		t.Fatal(err)
	}
	if got := office.ask(http.MethodGet, apiPrefix+"/customers", nil); got.Code == http.StatusOK {
		t.Error("a session keeps the role that was taken away")
	}
}

func TestTokens(t *testing.T) {
	h := newHouse(t)
	program, token := h.withToken(h.Owner.ID)
	program.ask(http.MethodGet, apiPrefix+"/customers", nil).is(http.StatusOK)
	made := program.ask(http.MethodPost, apiPrefix+"/customers", h.bodies()["add-customer"]).is(http.StatusCreated)
	if made.Result().Cookies() != nil && len(made.Result().Cookies()) > 0 {
		t.Error("a token starts a session")
	}
	if err := h.DB.RevokeToken(h.Ctx, h.Owner.ID, token.ID); err != nil {
		t.Fatal(err)
	}
	program.ask(http.MethodGet, apiPrefix+"/customers", nil).problem(http.StatusUnauthorized, "bad-token")
	for _, text := range []string{"soup", account.TokenPrefix + "aaaa", uuid.NewString()} {
		(&asker{h: h, token: text}).ask(http.MethodGet, apiPrefix+"/customers", nil).problem(http.StatusUnauthorized, "bad-token")
	}
	// The scheme's name is the same in any case (RFC 9110, 11.1).
	other, _ := h.withToken(h.Owner.ID)
	(&asker{h: h}).ask(http.MethodGet, apiPrefix+"/customers", nil, header{"Authorization", "bearer " + other.token}).is(http.StatusOK)
}

func TestOtherSitesCannotAct(t *testing.T) {
	h := newHouse(t)
	owner := h.signedIn("owner")
	for _, from := range []header{{"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"}, {"Origin", "https://elsewhere.example"}} {
		owner.ask(http.MethodPost, apiPrefix+"/customers", h.bodies()["add-customer"], from).problem(http.StatusForbidden, "cross-origin")
		owner.post("/sign-out", nil, from, header{"Accept", "*/*"}).problem(http.StatusForbidden, "cross-origin")
		h.nobody().try("owner", password, from, header{"Accept", "*/*"}).problem(http.StatusForbidden, "cross-origin")
		owner.ask(http.MethodGet, apiPrefix+"/company", nil, from).is(http.StatusOK) // a link from elsewhere opens
	}
	if owner.who() != http.StatusOK {
		t.Error("another site signed the owner out")
	}
	owner.ask(http.MethodPost, apiPrefix+"/customers", h.bodies()["add-customer"], header{"Origin", "http://example.com"}, header{"Sec-Fetch-Site", "same-origin"}).is(http.StatusCreated)
}

func TestSignInLeadsOnlyIntoThisSite(t *testing.T) {
	h := newHouse(t)
	for next, want := range map[string]string{"/records": "/records", "": "/", "https://elsewhere.example/": "/", "//elsewhere.example": "/", `/\elsewhere.example`: "/",
		"/\t/elsewhere.example": "/", "/\n/elsewhere.example": "/"} {
		got := h.nobody().post("/sign-in", url.Values{"name": {"owner"}, "password": {password}, "next": {next}}).is(http.StatusSeeOther)
		if to := got.Header().Get("Location"); to != want {
			t.Errorf("next %q leads to %q, want %q", next, to, want)
		}
	}
}

var pathPart = regexp.MustCompile(`[:*]\w+`)

func TestSecurityHeadersOnEveryRoute(t *testing.T) {
	h := newHouseWith(t, func(c *Config) { c.Secure = true })
	paths := []string{"GET /moon", "GET " + apiPrefix + "/moon", "DELETE /plans"}
	for _, r := range h.server.engine.Routes() {
		paths = append(paths, r.Method+" "+pathPart.ReplaceAllString(r.Path, "x"))
	}
	for _, p := range paths {
		method, path, _ := strings.Cut(p, " ")
		r := httptest.NewRequest(method, path, nil)
		r.TLS = &tls.ConnectionState{}
		head := h.nobody().send(r).Header()
		for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Content-Security-Policy": "frame-ancestors 'none'", "Referrer-Policy": "same-origin",
			"Strict-Transport-Security": "max-age=31536000", "Cross-Origin-Opener-Policy": "same-origin", "X-Request-Id": "-7"} {
			if !strings.Contains(head.Get(name), want) {
				t.Errorf("%s: %s is %q, want %q in it", p, name, head.Get(name), want)
			}
		}
		if csp := head.Get("Content-Security-Policy"); strings.Contains(csp, "unsafe") || !strings.Contains(csp, "default-src 'self'") {
			t.Errorf("%s: the content policy is %q", p, csp)
		}
		if !strings.HasPrefix(path, "/static/") && head.Get("Cache-Control") != "no-store" {
			t.Errorf("%s: Cache-Control is %q", p, head.Get("Cache-Control"))
		}
	}
}

func TestClientAddress(t *testing.T) {
	for remote, want := range map[string]string{"192.0.2.1:1234": "192.0.2.1", "[2001:db8::1]:1234": "2001:db8::1", "@": "@", "": ""} {
		if got := clientAddress(&http.Request{RemoteAddr: remote}); got != want {
			t.Errorf("the address of %q is %q, want %q", remote, got, want)
		}
	}
}
