package postgres_test

import (
	"fmt"
	"slices"
	"testing"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/postgres"
	"thirdcut/internal/property"
)

// addresses walks all pages of the query.
func (h *house) addresses(q postgres.PropertyQuery, between func(page int)) []string {
	h.t.Helper()
	var all []string
	for page := 1; page < 100; page++ {
		p, err := h.PropertiesPage(h.ctx, q)
		h.ok(err)
		for _, line := range p.Items {
			all = append(all, line.Address)
		}
		if p.Next == "" {
			return all
		}
		q.After = p.Next
		between(page)
	}
	h.t.Fatal("the list does not end")
	return nil
}

func TestPagesStayPutWhileRowsComeIn(t *testing.T) {
	h := newHouse(t)
	c := h.customer()
	add := func(address, zip string) {
		_, err := h.AddProperty(h.ctx, property.Property{CustomerID: c.ID, Address: address, State: "MD", ZIPCode: zip})
		h.ok(err)
	}
	var want []string
	for i := range 10 {
		address := fmt.Sprintf("%d Oak St", 10+i)
		add(address, "21000")
		want = append(want, address)
	}
	add("15 OAK ST", "21001") // the same address but for the ZIP code and the letters
	want = slices.Insert(want, 6, "15 OAK ST")
	got := h.addresses(postgres.PropertyQuery{PageQuery: postgres.PageQuery{Limit: 3}}, func(page int) {
		add(fmt.Sprintf("0%d Ash Ln", page), "21000") // sorts before what was seen
	})
	slices.Sort(got[5:7])
	slices.Sort(want[5:7])
	if !slices.Equal(got, want) {
		t.Errorf("walked %v\nwant %v", got, want)
	}
}

func TestPropertyListNarrowed(t *testing.T) {
	h := newHouse(t)
	p := h.property("12 Oak St")
	other, err := h.AddCustomer(h.ctx, property.Customer{Name: "100% Green_Co"})
	h.ok(err)
	q, err := h.AddProperty(h.ctx, property.Property{CustomerID: other.ID, Address: "9 Elm Ct", State: "MD", County: "Howard", Municipality: "Fernwick"})
	h.ok(err)
	gone, err := h.AddProperty(h.ctx, property.Property{CustomerID: other.ID, Address: "10 Elm Ct", State: "MD"})
	h.ok(err)
	_, err = h.SaveProperty(h.ctx, gone.ID, 1, func(p *property.Property) error { p.RetiredOn = civil.MustDate("2026-01-01"); return nil })
	h.ok(err)
	search := func(s string) postgres.PropertyQuery {
		return postgres.PropertyQuery{PageQuery: postgres.PageQuery{Search: s}}
	}
	cases := []struct {
		name string
		q    postgres.PropertyQuery
		want []string
	}{
		{"all", postgres.PropertyQuery{}, []string{p.Address, q.Address}},
		{"with retired", postgres.PropertyQuery{Retired: true}, []string{gone.Address, p.Address, q.Address}},
		{"address in part", search("oAK"), []string{p.Address}},
		{"customer", search("ada m"), []string{p.Address}},
		{"a percent sign is itself", search("100%"), []string{q.Address}},
		{"a percent sign alone", search("%%"), nil},
		{"an underscore is itself", search("n_c"), []string{q.Address}},
		{"an underscore is no letter", search("o_k"), nil},
		{"municipality", search("fernwick"), []string{q.Address}},
		{"county", postgres.PropertyQuery{County: "howard"}, []string{q.Address}},
		{"not placed", postgres.PropertyQuery{NotPlaced: true}, []string{q.Address}},
		{"no plan", postgres.PropertyQuery{NoPlan: true}, []string{q.Address}},
		{"of a customer", postgres.PropertyQuery{CustomerID: p.CustomerID}, []string{p.Address}},
	}
	for _, c := range cases {
		if got := h.addresses(c.q, func(int) {}); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
	page, err := h.PropertiesPage(h.ctx, search("oak"))
	h.ok(err)
	if line := page.Items[0]; line.CustomerName != "Ada Marsh" || len(line.Areas) != 2 || line.Plan == nil {
		t.Errorf("line %+v", line)
	}
	_, err = h.PropertiesPage(h.ctx, postgres.PropertyQuery{PageQuery: postgres.PageQuery{After: "rubbish!"}})
	h.refused(err, fault.Invalid, "cursor")
}

func TestOtherPages(t *testing.T) {
	h := newHouse(t)
	for _, name := range []string{"Cora Lund", "ada Marsh", "Ben Rowe"} {
		_, err := h.AddCustomer(h.ctx, property.Customer{Name: name})
		h.ok(err)
		h.person(name, true)
		h.product("Product of " + name)
	}
	one := postgres.PageQuery{Limit: 2}
	customers, err := h.CustomersPage(h.ctx, one)
	h.ok(err)
	rest, err := h.CustomersPage(h.ctx, postgres.PageQuery{Limit: 2, After: customers.Next})
	h.ok(err)
	if len(customers.Items) != 2 || customers.Items[0].Name != "ada Marsh" || len(rest.Items) != 1 || rest.Items[0].Name != "Cora Lund" || rest.Next != "" {
		t.Errorf("customers %+v, then %+v", customers, rest)
	}
	people, err := h.PeoplePage(h.ctx, postgres.PageQuery{Search: "md-ben"})
	h.ok(err)
	if len(people.Items) != 1 || people.Items[0].Name != "Ben Rowe" || len(people.Items[0].Licenses) != 1 {
		t.Errorf("people by licence number: %+v", people)
	}
	products, err := h.ProductsPage(h.ctx, one)
	h.ok(err)
	if len(products.Items) != 2 || products.Items[1].Name != "Product of Ben Rowe" || products.Next == "" {
		t.Errorf("products %+v", products)
	}
}
