// Package web holds what the pages are made of: templates, the sheet of
// tokens that gives them their look, and how a page is rendered.
package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io/fs"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"thirdcut/internal/civil"
)

//go:embed templates/*.html
var templates embed.FS

//go:embed static/*
var static embed.FS

// Page is what every page has beside its own data.
type Page struct {
	Title   string
	Company string
	Person  string // name of who is signed in, empty: nobody
	Today   civil.Date
	Menu    []MenuItem
	Here    string // path of the menu item to mark
	Notice  string // said once after something was done
	Problem string // what went wrong, above the form that keeps what was typed
	Data    any
}

// MenuItem is one way to go.
type MenuItem struct {
	Path, Words string
}

// Pages renders templates, each joined with the layout once at the start.
type Pages struct {
	byName map[string]*template.Template
}

// Load parses all templates; zone is the one in which moments are shown.
func Load() (*Pages, error) {
	files, err := fs.Glob(templates, "templates/*.html")
	if err != nil {
		return nil, fmt.Errorf("list the templates: %w", err)
	}
	p := &Pages{byName: map[string]*template.Template{}}
	for _, file := range files {
		name := strings.TrimSuffix(strings.TrimPrefix(file, "templates/"), ".html")
		if name == "layout" {
			continue
		}
		t, err := template.New("layout.html").Funcs(words).ParseFS(templates, "templates/layout.html", file)
		if err != nil {
			return nil, fmt.Errorf("parse template %s: %w", name, err)
		}
		p.byName[name] = t
	}
	return p, nil
}

// Render writes a page whole or not at all.
func (p *Pages) Render(w http.ResponseWriter, status int, name string, page Page) error {
	t, ok := p.byName[name]
	if !ok {
		return fmt.Errorf("render %s: there is no such template", name)
	}
	var out bytes.Buffer
	if err := t.Execute(&out, page); err != nil {
		return fmt.Errorf("render %s: %w", name, err)
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, err := out.WriteTo(w)
	return err
}

// Static serves the files under /static/, named by their content so that a
// browser may keep them for good.
func Static() http.Handler {
	sub, err := fs.Sub(static, "static")
	if err != nil {
		panic(err) // the folder is embedded; without it the program does not build
	}
	files := http.StripPrefix("/static/", http.FileServerFS(sub))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
		files.ServeHTTP(w, r)
	})
}

// asset is the address of a static file with the hash of its content.
func asset(name string) (string, error) {
	b, err := static.ReadFile("static/" + name)
	if err != nil {
		return "", fmt.Errorf("static file %s: %w", name, err)
	}
	sum := sha256.Sum256(b)
	return "/static/" + name + "?v=" + hex.EncodeToString(sum[:6]), nil
}

// words are the functions that templates speak with.
var words = template.FuncMap{
	"asset":   asset,
	"day":     func(d civil.Date) string { return d.Words() },
	"moment":  moment,
	"number":  number,
	"minutes": minutes,
	"percent": func(f float64) string { return number(f*100, 0) + " %" },
	"join":    strings.Join,
	"add":     func(a, b int) int { return a + b },
	"many":    many,
	"pair":    func(a, b any) [2]any { return [2]any{a, b} },
	"lower":   strings.ToLower,
	"capital": capital,
	"whole":   whole,
}

// capital begins a sentence as a page shows it: the program's own sentences
// begin small, since they also stand behind a command's name.
func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// whole is a sentence with its capital and its full stop.
func whole(s string) string {
	if s = capital(s); s == "" || strings.ContainsRune(".!?:", rune(s[len(s)-1])) {
		return s
	}
	return s + "."
}

// moment writes an instant as its own zone's wall clock shows it.
func moment(t time.Time) string {
	if t.IsZero() {
		return "–"
	}
	return t.Format("Mon 2 Jan 2006, 15:04")
}

// number writes a number with at most that many decimals and thousands apart.
func number(f float64, decimals int) string {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return "unknown"
	}
	s := strconv.FormatFloat(f, 'f', decimals, 64)
	whole, part, _ := strings.Cut(s, ".")
	part = strings.TrimRight(part, "0")
	sign := ""
	if strings.HasPrefix(whole, "-") {
		sign, whole = "-", whole[1:]
	}
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if part != "" {
		whole += "." + part
	}
	return sign + whole
}

// minutes writes a length of time in hours and minutes.
func minutes(m float64) string {
	n := int(math.Round(m))
	if n < 60 {
		return strconv.Itoa(n) + " min"
	}
	return fmt.Sprintf("%d h %02d min", n/60, n%60)
}

// many writes a count with its noun in the right number.
func many(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return number(float64(n), 0) + " " + more
}
