package api

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"unicode"

	"github.com/gin-gonic/gin"

	"thirdcut/api/web"
	"thirdcut/internal/account"
	"thirdcut/internal/fault"
)

// pageHandler answers a page or returns what went wrong.
type pageHandler func(*gin.Context) error

// pages adds the pages. Each names the action that its visitor must be allowed.
func (s *Server) pages() {
	static := web.Static()
	s.engine.GET("/static/*file", func(c *gin.Context) { static.ServeHTTP(c.Writer, c.Request) })
	s.engine.GET("/sign-in", s.page(s.signInPage))
	s.engine.POST("/sign-in", s.page(s.signInPosted))
	s.engine.POST("/sign-out", s.page(s.signOutPosted))
	s.engine.GET("/problems/:code", s.page(s.problemKindPage))
	s.dayPages()
	s.recordPages()
	s.officePages()
}

// page wraps a handler that anybody may see.
func (s *Server) page(h pageHandler) gin.HandlerFunc {
	return func(c *gin.Context) {
		if err := h(c); err != nil {
			s.refuse(c.Writer, c.Request, err)
		}
	}
}

// signedIn wraps a handler that needs an account which may do the action.
// Who is not signed in is led to the sign-in and back.
func (s *Server) signedIn(action account.Action, h pageHandler) gin.HandlerFunc {
	return s.page(func(c *gin.Context) error {
		err := mayCall(c.Request.Context(), action)
		if fault.Is(err, fault.SignIn) && c.Request.Method == http.MethodGet {
			c.Redirect(http.StatusSeeOther, "/sign-in?next="+url.QueryEscape(c.Request.URL.RequestURI()))
			return nil
		}
		if err != nil {
			return err
		}
		return h(c)
	})
}

// menu is the ways to go, each shown to those who may go there.
var menu = []struct {
	web.MenuItem
	action account.Action
}{
	{web.MenuItem{Path: "/", Words: "Today"}, account.SeePlan},
	{web.MenuItem{Path: "/sheets", Words: "Route sheets"}, account.SeeRouteSheet},
	{web.MenuItem{Path: "/plans", Words: "Plans"}, account.SeePlan},
	{web.MenuItem{Path: "/lawns", Words: "Lawns"}, account.SeeProperties},
	{web.MenuItem{Path: "/records", Words: "Records"}, account.SeeRecords},
	{web.MenuItem{Path: "/imports", Words: "Take in"}, account.ImportLawns},
	{web.MenuItem{Path: "/field/waiting", Words: "From the field"}, account.SettleQuarantine},
	{web.MenuItem{Path: "/jobs", Words: "Jobs"}, account.SeeJobs},
}

// frame is what every page carries for the one who asks.
func (s *Server) frame(ctx context.Context, title, here string) web.Page {
	p := web.Page{Title: title, Here: here}
	who, ok := accountFrom(ctx)
	if !ok {
		return p
	}
	p.Person = who.Name
	if c, clock, err := s.now(ctx); err == nil { // without a company the page still stands
		p.Company, p.Today = c.Name, clock.Today()
	}
	for _, m := range menu {
		if account.May(who, m.action) {
			p.Menu = append(p.Menu, m.MenuItem)
		}
	}
	return p
}

// show renders a page with its data.
func (s *Server) show(c *gin.Context, status int, name, title, here string, data any) error {
	p := s.frame(c.Request.Context(), title, here)
	p.Notice = s.sessions.PopString(c.Request.Context(), "notice")
	p.Data = data
	return s.templates.Render(c.Writer, status, name, p)
}

// say keeps a sentence for the next page and goes there.
func (s *Server) say(c *gin.Context, to, sentence string) error {
	s.sessions.Put(c.Request.Context(), "notice", sentence)
	c.Redirect(http.StatusSeeOther, to)
	return nil
}

// problemPage shows a problem to a person.
func (s *Server) problemPage(w http.ResponseWriter, r *http.Request, p *Problem) {
	page := s.frame(r.Context(), p.Title, "")
	page.Data = p
	if err := s.templates.Render(w, p.Status, "problem", page); err != nil {
		writeProblem(w, r, p)
	}
}

// problemKindPage is what a problem's type address opens as.
func (s *Server) problemKindPage(c *gin.Context) error {
	code := c.Param("code")
	return s.show(c, http.StatusOK, "problemkind", problemTitle(code, http.StatusUnprocessableEntity), "", map[string]string{"Code": code})
}

type signInForm struct{ Name, Next string }

func (s *Server) signInPage(c *gin.Context) error {
	return s.show(c, http.StatusOK, "signin", "Sign in", "", signInForm{Next: c.Query("next")})
}

func (s *Server) signInPosted(c *gin.Context) error {
	name, next := c.PostForm("name"), c.PostForm("next")
	who, err := s.signIn(c.Request, name, c.PostForm("password"))
	if f := fault.As(err); f != nil {
		page := s.frame(c.Request.Context(), "Sign in", "")
		page.Problem, page.Data = f.Detail, signInForm{name, next}
		return s.templates.Render(c.Writer, f.Kind.Status(), "signin", page)
	}
	if err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, afterSignIn(who, next))
	return nil
}

// afterSignIn is where to go: to where one wanted, on this site only, else to
// the first page of the role. Browsers drop tabs and line ends inside an
// address, so that one could hide the second slash of another site's.
func afterSignIn(who account.Account, next string) string {
	if strings.HasPrefix(next, "/") && !strings.HasPrefix(next, "//") && !strings.Contains(next, "\\") && !strings.ContainsFunc(next, unicode.IsControl) && next != "/" {
		return next
	}
	if account.May(who, account.SeePlan) {
		return "/"
	}
	return "/sheets"
}

func (s *Server) signOutPosted(c *gin.Context) error {
	if err := s.signOut(c.Request); err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, "/sign-in")
	return nil
}
