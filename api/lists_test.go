package api

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/google/uuid"

	"thirdcut/internal/property"
	"thirdcut/internal/testkit/build"
)

// linkForm is a Link header of RFC 8288, section 3, as this API writes it.
var linkForm = regexp.MustCompile(`^<([^<>\s]+)>; rel="([a-z]+)"$`)

// links reads a Link header by relation.
func links(t *testing.T, got answer) map[string]string {
	t.Helper()
	all := map[string]string{}
	for _, one := range strings.Split(got.Header().Get("Link"), ", ") {
		m := linkForm.FindStringSubmatch(one)
		if m == nil {
			t.Fatalf("%q is no link of RFC 8288", one)
		}
		if u, err := url.Parse(m[1]); err != nil || !strings.HasPrefix(u.Path, apiPrefix) {
			t.Fatalf("%q is no address of the API", m[1])
		}
		all[m[2]] = m[1]
	}
	return all
}

// A walk over all pages while rows come and go meets each row that was there
// all along exactly once.
func TestWalkOverPropertiesWhileOthersComeAndGo(t *testing.T) {
	h := newHouse(t)
	office := h.signedIn("office")
	stays := map[uuid.UUID]bool{h.Property.ID: true}
	var goes []property.Property
	for i := range 40 {
		p := h.Lawn(fmt.Sprintf("%d Mill Lane, lot %d", i%7, i))
		if i%4 == 3 {
			goes = append(goes, p)
		} else {
			stays[p.ID] = true
		}
	}
	met := map[uuid.UUID]int{}
	next, pages := apiPrefix+"/properties?limit=4", 0
	for next != "" {
		var page struct{ Items []propertyJSON }
		got := office.ask(http.MethodGet, next, nil).is(http.StatusOK).into(&page)
		if len(page.Items) > 4 {
			t.Fatalf("a page of four has %d", len(page.Items))
		}
		for _, p := range page.Items {
			met[p.ID]++
		}
		by := links(t, got)
		if !strings.Contains(by["first"], "limit=4") || strings.Contains(by["first"], "after=") {
			t.Errorf("the first page is said to be %q", by["first"])
		}
		next = by["next"]
		if pages++; pages > 60 {
			t.Fatal("the walk does not end")
		}
		h.Lawn(fmt.Sprintf("%d Mill Lane, new lot %d", pages%7, pages)) // before, among and after what is still to come
		if len(goes) > 0 {
			if _, err := h.DB.SaveProperty(h.Ctx, goes[0].ID, goes[0].Version, func(p *property.Property) error { p.RetiredOn = build.Day; return nil }); err != nil {
				t.Fatal(err)
			}
			goes = goes[1:]
		}
	}
	for id := range stays {
		if met[id] != 1 {
			t.Errorf("a property that was there all along was met %d times", met[id])
		}
	}
	for id, n := range met {
		if n > 1 {
			t.Errorf("property %s was met %d times", id, n)
		}
	}
	if pages < 9 {
		t.Errorf("the walk had %d pages only", pages)
	}
}

func TestEveryListPagesAndKeepsItsQuestion(t *testing.T) {
	h := newHouse(t)
	h.Lawn("4 Fern Way")
	h.Lawn("6 Fern Way")
	office := h.signedIn("office")
	for _, path := range []string{"/people", "/customers", "/properties", "/products", "/records"} {
		var page struct{ Items []map[string]any }
		got := office.ask(http.MethodGet, apiPrefix+path+"?limit=1", nil).is(http.StatusOK).into(&page)
		by := links(t, got)
		if !strings.HasPrefix(by["first"], apiPrefix+path+"?") || len(page.Items) > 1 {
			t.Errorf("%s: %d items, links %v", path, len(page.Items), by)
		}
		office.ask(http.MethodGet, apiPrefix+path+"?limit=0", nil).problem(http.StatusUnprocessableEntity, "invalid")
		office.ask(http.MethodGet, apiPrefix+path+"?limit=201", nil).problem(http.StatusUnprocessableEntity, "invalid")
		office.ask(http.MethodGet, apiPrefix+path+"?limit=1&after=soup%00'", nil).problem(http.StatusUnprocessableEntity, "")
	}
	var page struct{ Items []propertyJSON }
	got := office.ask(http.MethodGet, apiPrefix+"/properties?limit=1&q=Fern&county=Carroll", nil).is(http.StatusOK).into(&page)
	next := links(t, got)["next"]
	if len(page.Items) != 1 || !strings.Contains(next, "q=Fern") || !strings.Contains(next, "county=Carroll") {
		t.Errorf("the next page of a search is %q", next)
	}
	if none := office.ask(http.MethodGet, apiPrefix+"/properties?county=Nowhere", nil).is(http.StatusOK).into(&page); len(page.Items) != 0 || links(t, none)["next"] != "" {
		t.Errorf("a county of no property has %d", len(page.Items))
	}
}
