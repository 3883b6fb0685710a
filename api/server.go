// Package api is the edge of the program: JSON under /api/v1 through huma on
// Gin, sign-in, and the pages of api/web. Handlers decode, call one use case
// and encode.
package api

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"github.com/alexedwards/scs/postgresstore"
	"github.com/alexedwards/scs/v2"
	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humagin"
	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"thirdcut/api/web"
	"thirdcut/internal/account"
	"thirdcut/internal/export"
	"thirdcut/internal/fault"
	"thirdcut/internal/postgres"
	"thirdcut/internal/schedule"
	"thirdcut/internal/visit"
)

// Config is what the edge needs to stand.
type Config struct {
	DB *postgres.DB
	// Secure says that people reach the server by TLS, its own or a proxy's:
	// cookies then are __Host- cookies and HSTS is sent.
	Secure   bool
	Accounts account.Accounts
	Schedule *schedule.Service
	Visits   visit.Service
	Exports  *export.Service
}

// Server is the edge.
type Server struct {
	Config
	sessions  *scs.SessionManager
	templates *web.Pages
	engine    *gin.Engine
	api       huma.API
	handler   http.Handler
}

const (
	bodyLimit   = 1 << 20   // JSON bodies and forms
	uploadLimit = 32 << 20  // sheets and weather files
	apiPrefix   = "/api/v1" //
	sessionLife = 14 * 24 * time.Hour
	sessionIdle = 3 * 24 * time.Hour
)

var setHumaProblems sync.Once

// New builds the server with all its routes.
func New(c Config) (*Server, error) {
	setHumaProblems.Do(humaProblems)
	templates, err := web.Load()
	if err != nil {
		return nil, err
	}
	gin.SetMode(gin.ReleaseMode)
	s := &Server{Config: c, sessions: newSessions(c), templates: templates}

	s.engine = gin.New()
	s.engine.HandleMethodNotAllowed = true
	s.engine.RedirectTrailingSlash = false
	s.engine.ContextWithFallback = true
	s.engine.NoRoute(func(g *gin.Context) {
		s.refuse(g.Writer, g.Request, fault.New(fault.NotFound, "no-such-page", "there is nothing at %s; start again from the first page", g.Request.URL.Path))
	})
	s.engine.NoMethod(func(g *gin.Context) {
		s.refuse(g.Writer, g.Request, fault.New(fault.NotAllowed, "no-such-method", "%s does not take %s", g.Request.URL.Path, g.Request.Method))
	})

	config := huma.DefaultConfig("Thirdcut", "1")
	config.CreateHooks = nil // no $schema links in answers
	config.DocsPath = ""
	config.OpenAPIPath = apiPrefix + "/openapi"
	config.SchemasPath = ""
	config.Info.Description = "What the office, the crews and the owner do, as JSON. Quantities carry their unit in their name; errors are problem documents (RFC 9457); lists are cursor pages with Link headers (RFC 8288); edits need If-Match."
	config.Components.SecuritySchemes = map[string]*huma.SecurityScheme{
		"session": {Type: "apiKey", In: "cookie", Name: s.sessions.Cookie.Name},
		"token":   {Type: "http", Scheme: "bearer"},
	}
	s.api = humagin.New(s.engine, config)
	s.engine.GET("/healthz", func(c *gin.Context) { c.String(http.StatusOK, "ok\n") })
	s.engine.GET("/readyz", s.page(s.ready))

	s.operations()
	s.pages()
	s.handler = s.around(s.engine)
	return s, nil
}

// operations adds the JSON API.
func (s *Server) operations() {
	s.directoryOperations()
	s.dayOperations()
	s.recordOperations()
	s.officeOperations()
}

// ready says whether the server can do its work: the database answers.
func (s *Server) ready(c *gin.Context) error {
	ctx, cancel := context.WithTimeout(c.Request.Context(), 2*time.Second)
	defer cancel()
	if err := s.DB.PingContext(ctx); err != nil {
		return fault.New(fault.Unavailable, "no-database", "the database does not answer").Because(err)
	}
	c.String(http.StatusOK, "ready\n")
	return nil
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

// OpenAPI is the description of the JSON API, made from the code.
func (s *Server) OpenAPI() *huma.OpenAPI { return s.api.OpenAPI() }

func newSessions(c Config) *scs.SessionManager {
	m := scs.New()
	m.Store = postgresstore.NewWithCleanupInterval(c.DB.DB.DB, 0)
	m.Lifetime, m.IdleTimeout = sessionLife, sessionIdle
	m.Cookie.Name = "thirdcut"
	if c.Secure {
		m.Cookie.Name = "__Host-thirdcut"
	}
	m.Cookie.Secure, m.Cookie.HttpOnly = c.Secure, true
	m.Cookie.SameSite, m.Cookie.Path = http.SameSiteLaxMode, "/"
	m.HashTokenInStore = true
	return m
}

// around puts what every request passes through round the routes, outermost first.
func (s *Server) around(h http.Handler) http.Handler {
	h = s.identify(h)
	h = s.sessions.LoadAndSave(h)
	h = limitBody(h)
	h = s.sameOrigin(h)
	h = s.secureHeaders(h)
	h = s.catch(h)
	return numbered(h)
}

type requestKey struct{}

// numbered gives each request the number under which the log and the answer name it.
func numbered(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		id := uuid.Must(uuid.NewV7()).String()
		w.Header().Set("X-Request-Id", id)
		h.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), requestKey{}, id)))
	})
}

func requestID(ctx context.Context) string {
	if id, ok := ctx.Value(requestKey{}).(string); ok {
		return id
	}
	return uuid.Nil.String()
}

// catch turns a panic into an answer.
func (s *Server) catch(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			v := recover()
			if v == nil {
				return
			}
			if v == http.ErrAbortHandler {
				panic(v)
			}
			slog.ErrorContext(r.Context(), "panic", "request", requestID(r.Context()), "what", fmt.Sprint(v), "stack", string(debug.Stack()))
			s.refuse(w, r, fmt.Errorf("panic: %v", v))
		}()
		h.ServeHTTP(w, r)
	})
}

// contentPolicy lets a page use only what this server gives.
const contentPolicy = "default-src 'self'; img-src 'self' data: blob:; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

func (s *Server) secureHeaders(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		head := w.Header()
		head.Set("Content-Security-Policy", contentPolicy)
		head.Set("X-Content-Type-Options", "nosniff")
		head.Set("Referrer-Policy", "same-origin")
		head.Set("Cross-Origin-Opener-Policy", "same-origin")
		head.Set("Permissions-Policy", "geolocation=(self), camera=(self), microphone=()")
		if !strings.HasPrefix(r.URL.Path, "/static/") {
			head.Set("Cache-Control", "no-store")
		}
		if s.Secure {
			head.Set("Strict-Transport-Security", "max-age=31536000")
		}
		h.ServeHTTP(w, r)
	})
}

// sameOrigin refuses what another site makes a browser send.
func (s *Server) sameOrigin(h http.Handler) http.Handler {
	guard := http.NewCrossOriginProtection()
	guard.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.refuse(w, r, fault.New(fault.Forbidden, "cross-origin", "this was sent from another site; open Thirdcut itself and do it there"))
	}))
	return guard.Handler(h)
}

func limitBody(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		limit := int64(bodyLimit)
		if strings.HasPrefix(r.URL.Path, "/imports") || strings.HasPrefix(r.URL.Path, apiPrefix+"/imports") {
			limit = uploadLimit
		}
		r.Body = http.MaxBytesReader(w, r.Body, limit)
		h.ServeHTTP(w, r)
	})
}

// refuse answers an error as a problem document, or as a page where a person
// looks at it.
func (s *Server) refuse(w http.ResponseWriter, r *http.Request, err error) {
	p := problemOf(r.Context(), err)
	if wantsPage(r) {
		s.problemPage(w, r, p)
		return
	}
	writeProblem(w, r, p)
}

// wantsPage says whether the asker is a person with a browser.
func wantsPage(r *http.Request) bool {
	return !strings.HasPrefix(r.URL.Path, "/api/") && strings.Contains(r.Header.Get("Accept"), "text/html")
}
