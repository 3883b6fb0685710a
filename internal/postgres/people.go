package postgres

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
)

const personColumns = `id, name, email, phone, left_on, version`

type personRow struct {
	ID      uuid.UUID  `db:"id"`
	Name    string     `db:"name"`
	Email   string     `db:"email"`
	Phone   string     `db:"phone"`
	LeftOn  civil.Date `db:"left_on"`
	Version int        `db:"version"`
}

func (r personRow) person(licenses []crew.License) crew.Person {
	return crew.Person{ID: r.ID, Name: r.Name, Email: r.Email, Phone: r.Phone,
		LeftOn: r.LeftOn, Licenses: licenses, Version: r.Version}
}

const licenseColumns = `id, person_id, kind, state, number, category, valid_from, valid_to`

type licenseRow struct {
	ID        uuid.UUID  `db:"id"`
	PersonID  uuid.UUID  `db:"person_id"`
	Kind      string     `db:"kind"`
	State     string     `db:"state"`
	Number    string     `db:"number"`
	Category  string     `db:"category"`
	ValidFrom civil.Date `db:"valid_from"`
	ValidTo   civil.Date `db:"valid_to"`
}

func (r licenseRow) license() crew.License {
	return crew.License{ID: r.ID, Kind: crew.LicenseKind(r.Kind), State: r.State, Number: r.Number,
		Category: r.Category, ValidFrom: r.ValidFrom, ValidTo: r.ValidTo}
}

// peopleWhere reads people with their licences, newest licence first.
func peopleWhere(ctx context.Context, q sqlx.ExtContext, where string, args ...any) ([]crew.Person, error) {
	var rows []personRow
	err := sqlx.SelectContext(ctx, q, &rows, `select `+personColumns+` from person `+where, args...)
	if err != nil {
		return nil, fmt.Errorf("read people: %w", err)
	}
	ids := make([]uuid.UUID, len(rows))
	for i, r := range rows {
		ids[i] = r.ID
	}
	licenses, err := licensesOf(ctx, q, ids)
	if err != nil {
		return nil, err
	}
	people := make([]crew.Person, len(rows))
	for i, r := range rows {
		people[i] = r.person(licenses[r.ID])
	}
	return people, nil
}

func licensesOf(ctx context.Context, q sqlx.ExtContext, people []uuid.UUID) (map[uuid.UUID][]crew.License, error) {
	var rows []licenseRow
	err := sqlx.SelectContext(ctx, q, &rows, `select `+licenseColumns+` from license
		where person_id = any($1::uuid[]) order by kind, valid_from desc, id`, idArray(people))
	if err != nil {
		return nil, fmt.Errorf("read licences: %w", err)
	}
	by := map[uuid.UUID][]crew.License{}
	for _, r := range rows {
		by[r.PersonID] = append(by[r.PersonID], r.license())
	}
	return by, nil
}

// peopleByID reads the people of those ids, with licences; ids that nobody has are left out.
func peopleByID(ctx context.Context, q sqlx.ExtContext, ids []uuid.UUID) (map[uuid.UUID]crew.Person, error) {
	people, err := peopleWhere(ctx, q, `where id = any($1::uuid[])`, idArray(ids))
	if err != nil {
		return nil, err
	}
	by := make(map[uuid.UUID]crew.Person, len(people))
	for _, p := range people {
		by[p.ID] = p
	}
	return by, nil
}

// personByID reads one person with licences; fault.NotFound "person".
func personByID(ctx context.Context, q sqlx.ExtContext, id uuid.UUID) (crew.Person, error) {
	people, err := peopleWhere(ctx, q, `where id = $1`, id)
	if err != nil {
		return crew.Person{}, err
	}
	if len(people) == 0 {
		return crew.Person{}, noSuch("person", id)
	}
	return people[0], nil
}

// Person returns one person with licences, or fault.NotFound "person".
func (db *DB) Person(ctx context.Context, id uuid.UUID) (p crew.Person, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		p, err = personByID(ctx, q, id)
		return err
	})
	return p, err
}

// People returns everybody by name, with licences; those who left too, since
// records name them (crew.Person.LeftOn tells).
func (db *DB) People(ctx context.Context) (people []crew.Person, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		people, err = peopleWhere(ctx, q, `order by lower(name), id`)
		return err
	})
	return people, err
}
