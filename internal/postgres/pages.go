package postgres

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"strings"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/product"
	"thirdcut/internal/property"
)

// Page is a part of a list. Next is the cursor of what follows, empty at the end.
type Page[T any] struct {
	Items []T
	Next  string
}

// PageQuery asks for a part of a list. Search finds words anywhere in what the
// list shows, without regard to case; After is the Next of the page before;
// Limit is 1 to 500, 0 for 50.
type PageQuery struct {
	Search string
	After  string
	Limit  int
}

// PropertyQuery narrows a list of properties.
type PropertyQuery struct {
	PageQuery
	CustomerID uuid.UUID // only this customer's
	County     string    // only this county, without regard to case
	NotPlaced  bool      // only those without a map point
	NoPlan     bool      // only those without a running service plan
	Retired    bool      // retired ones too
}

// PropertyLine is a property in a list, with its areas (without outlines) and
// running plan, and its customer's name.
type PropertyLine struct {
	property.Property
	CustomerName string
}

const (
	usualPage    = 50
	greatestPage = 500
)

func pageLimit(limit int) int {
	if limit <= 0 {
		return usualPage
	}
	return min(limit, greatestPage)
}

// cursor is the place after which a page begins: the last row's sort key and id.
// A row that comes in between moves no other row to another page.
type cursor struct {
	Key string    `json:"k"`
	ID  uuid.UUID `json:"i"`
}

func (c cursor) text() string {
	b, err := json.Marshal(c)
	if err != nil {
		return "" // a string and an id always encode
	}
	return base64.RawURLEncoding.EncodeToString(b)
}

// readCursor reads a cursor; empty starts at the first row. fault.Invalid "cursor".
func readCursor(s string) (c cursor, err error) {
	if s == "" {
		return cursor{}, nil
	}
	b, err := base64.RawURLEncoding.DecodeString(s)
	if err == nil {
		err = json.Unmarshal(b, &c)
	}
	if err != nil {
		return cursor{}, fault.New(fault.Invalid, "cursor", "the place in the list cannot be read; start at its first page").
			With("/after", "is no cursor of this list").Because(err)
	}
	return c, nil
}

// like writes a search for any of ilike's columns: every letter as it stands.
func like(search string) string {
	escaped := strings.NewReplacer(`\`, `\\`, `%`, `\%`, `_`, `\_`).Replace(strings.TrimSpace(search))
	if escaped == "" {
		return ""
	}
	return "%" + escaped + "%"
}

// keyedRow is a row's sort key and id.
type keyedRow struct {
	Key string    `db:"key"`
	ID  uuid.UUID `db:"id"`
}

// keyset runs a select of key and id, which must take $1 the search, $2 and $3
// the cursor's key and id, $4 one row more than the page holds, and further
// arguments from $5. It returns the page's ids in order and the next cursor.
func keyset(ctx context.Context, q sqlx.ExtContext, p PageQuery, statement string, args ...any) ([]uuid.UUID, string, error) {
	after, err := readCursor(p.After)
	if err != nil {
		return nil, "", err
	}
	limit := pageLimit(p.Limit)
	var rows []keyedRow
	all := append([]any{like(p.Search), after.Key, after.ID, limit + 1}, args...)
	if err := sqlx.SelectContext(ctx, q, &rows, statement, all...); err != nil {
		return nil, "", fmt.Errorf("read page: %w", err)
	}
	next := ""
	if len(rows) > limit {
		rows = rows[:limit]
		next = cursor{rows[limit-1].Key, rows[limit-1].ID}.text()
	}
	ids := make([]uuid.UUID, len(rows))
	for i, r := range rows {
		ids[i] = r.ID
	}
	return ids, next, nil
}

// inOrder puts what was read by id into the page's order.
func inOrder[T any](ids []uuid.UUID, by map[uuid.UUID]T) []T {
	list := make([]T, 0, len(ids))
	for _, id := range ids {
		if v, ok := by[id]; ok {
			list = append(list, v)
		}
	}
	return list
}

// CustomersPage returns customers by name. Search looks in name, e-mail, phone,
// billing address and import key.
func (db *DB) CustomersPage(ctx context.Context, query PageQuery) (page Page[property.Customer], err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		ids, next, err := keyset(ctx, q, query, `select lower(name) as key, id from customer
			where (lower(name), id) > ($2, $3) and ($1 = '' or name ilike $1 or email ilike $1 or phone ilike $1
				or billing_address ilike $1 or import_key ilike $1)
			order by lower(name), id limit $4`)
		if err != nil {
			return err
		}
		var rows []customerRow
		err = sqlx.SelectContext(ctx, q, &rows, `select `+customerColumns+` from customer where id = any($1::uuid[])`, idArray(ids))
		if err != nil {
			return fmt.Errorf("read customers: %w", err)
		}
		by := make(map[uuid.UUID]property.Customer, len(rows))
		for _, r := range rows {
			by[r.ID] = r.customer()
		}
		page = Page[property.Customer]{inOrder(ids, by), next}
		return nil
	})
	return page, err
}

// PropertiesPage returns properties by address. Search looks in the address,
// the municipality, the ZIP code, the owner's name and the customer's name and phone.
func (db *DB) PropertiesPage(ctx context.Context, query PropertyQuery) (page Page[PropertyLine], err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		ids, next, err := keyset(ctx, q, query.PageQuery, `select lower(p.address) as key, p.id from property p
			join customer c on c.id = p.customer_id
			where (lower(p.address), p.id) > ($2, $3)
				and ($1 = '' or p.address ilike $1 or p.municipality ilike $1 or p.zip_code ilike $1
					or p.owner_name ilike $1 or c.name ilike $1 or c.phone ilike $1)
				and ($5::uuid is null or p.customer_id = $5)
				and ($6 = '' or lower(p.county) = lower($6))
				and (not $7 or p.latitude is null)
				and (not $8 or not exists (select 1 from service_plan s where s.property_id = p.id and s.ended_on is null))
				and ($9 or p.retired_on is null)
			order by lower(p.address), p.id limit $4`,
			orNull(query.CustomerID), strings.TrimSpace(query.County), query.NotPlaced, query.NoPlan, query.Retired)
		if err != nil {
			return err
		}
		lines, err := propertyLines(ctx, q, ids)
		page = Page[PropertyLine]{inOrder(ids, lines), next}
		return err
	})
	return page, err
}

func propertyLines(ctx context.Context, q sqlx.ExtContext, ids []uuid.UUID) (map[uuid.UUID]PropertyLine, error) {
	list, err := propertiesBy(ctx, q, PropertyFilter{IDs: ids, Retired: true, WithoutOutlines: true})
	if err != nil {
		return nil, err
	}
	names, err := customerNames(ctx, q, ids)
	if err != nil {
		return nil, err
	}
	by := make(map[uuid.UUID]PropertyLine, len(list))
	for _, p := range list {
		by[p.ID] = PropertyLine{p, names[p.ID]}
	}
	return by, nil
}

// customerNames reads the customer's name of each property.
func customerNames(ctx context.Context, q sqlx.ExtContext, properties []uuid.UUID) (map[uuid.UUID]string, error) {
	var rows []keyedRow
	err := sqlx.SelectContext(ctx, q, &rows, `select c.name as key, p.id from property p
		join customer c on c.id = p.customer_id where p.id = any($1::uuid[])`, idArray(properties))
	if err != nil {
		return nil, fmt.Errorf("read customers' names: %w", err)
	}
	by := make(map[uuid.UUID]string, len(rows))
	for _, r := range rows {
		by[r.ID] = r.Key
	}
	return by, nil
}

// ProductsPage returns the products in use by name, with labels. Search looks
// in name, active ingredient and registration number.
func (db *DB) ProductsPage(ctx context.Context, query PageQuery) (page Page[product.Product], err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		ids, next, err := keyset(ctx, q, query, `select lower(name) as key, id from product
			where (lower(name), id) > ($2, $3) and retired_on is null
				and ($1 = '' or name ilike $1 or active_ingredient ilike $1 or epa_reg_no ilike $1)
			order by lower(name), id limit $4`)
		if err != nil {
			return err
		}
		by, err := productsByID(ctx, q, ids)
		page = Page[product.Product]{inOrder(ids, by), next}
		return err
	})
	return page, err
}

// PeoplePage returns the people who are still here by name, with licences.
// Search looks in name, e-mail, phone and licence numbers.
func (db *DB) PeoplePage(ctx context.Context, query PageQuery) (page Page[crew.Person], err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		ids, next, err := keyset(ctx, q, query, `select lower(name) as key, id from person p
			where (lower(name), id) > ($2, $3) and left_on is null
				and ($1 = '' or name ilike $1 or email ilike $1 or phone ilike $1
					or exists (select 1 from license l where l.person_id = p.id and l.number ilike $1))
			order by lower(name), id limit $4`)
		if err != nil {
			return err
		}
		by, err := peopleByID(ctx, q, ids)
		page = Page[crew.Person]{inOrder(ids, by), next}
		return err
	})
	return page, err
}
