package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/civil"
	"thirdcut/internal/property"
	"thirdcut/internal/visit"
)

// SheetFor returns the crew's day with all that it must know at each stop, read
// at one moment: properties with areas, customers, hazards, and which areas
// people must keep off when the crew arrives. A day without a plan is a sheet
// of version 0 without stops. fault.NotFound "crew".
//
// It says everything, the gate codes too: who may see it is for the caller
// (visit.Who.Speaks, account.MaySeeGateCode).
func (db *DB) SheetFor(ctx context.Context, crewID uuid.UUID, date civil.Date) (s visit.Sheet, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		s, err = sheetFor(ctx, q, crewID, date)
		return err
	})
	return s, err
}

func sheetFor(ctx context.Context, q sqlx.ExtContext, crewID uuid.UUID, date civil.Date) (s visit.Sheet, err error) {
	s.Date = date
	if s.Crew, err = crewByID(ctx, q, crewID); err != nil {
		return s, err
	}
	if err := sheetHead(ctx, q, &s); err != nil {
		return s, err
	}
	visits, err := visitsWhere(ctx, q, `where crew_id = $1 and date = $2 and state <> 'withdrawn' order by position, id`, crewID, date)
	if err != nil {
		return s, err
	}
	if err := sheetStops(ctx, q, &s, visits); err != nil {
		return s, err
	}
	var products []uuid.UUID
	for _, v := range visits {
		for _, t := range v.Tasks {
			if t.ProductID != uuid.Nil {
				products = append(products, t.ProductID)
			}
		}
	}
	s.Products, err = productsByID(ctx, q, products)
	return s, err
}

func sheetHead(ctx context.Context, q sqlx.ExtContext, s *visit.Sheet) error {
	var r sheetRow
	err := sqlx.GetContext(ctx, q, &r, `select `+sheetColumns+` from route_sheet where crew_id = $1 and date = $2`, s.Crew.ID, s.Date)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("read route sheet: %w", err)
	}
	have := r.sheet()
	s.Version, s.SentAt, s.DrivingMinutes, s.WorkingMinutes = have.Version, have.SentAt, have.DrivingMinutes, have.WorkingMinutes
	s.Start, s.End = have.Start, have.End
	return nil
}

// sheetStops reads what belongs to the stops, each kind of thing in one query.
func sheetStops(ctx context.Context, q sqlx.ExtContext, s *visit.Sheet, visits []visit.Visit) error {
	if len(visits) == 0 {
		return nil
	}
	zone, err := companyZone(ctx, q)
	if err != nil {
		return err
	}
	ids := make([]uuid.UUID, len(visits))
	for i, v := range visits {
		ids[i] = v.PropertyID
	}
	list, err := propertiesBy(ctx, q, PropertyFilter{IDs: ids, Retired: true})
	if err != nil {
		return err
	}
	properties := map[uuid.UUID]property.Property{}
	var payers []uuid.UUID
	for _, p := range list {
		properties[p.ID] = p
		payers = append(payers, p.CustomerID)
	}
	customers, err := customersByID(ctx, q, payers)
	if err != nil {
		return err
	}
	waits, err := waitsOf(ctx, q, ids, s.Date.At(0, zone), zone)
	if err != nil {
		return err
	}
	for _, v := range visits {
		p := properties[v.PropertyID]
		stop := visit.Stop{Visit: v, Property: p, Customer: customers[p.CustomerID], Hazards: visit.Hazards(p)}
		for _, w := range waits[p.ID] {
			if w.Holds(s.Date.At(v.Arrive, zone), zone) {
				stop.Waits = append(stop.Waits, w)
			}
		}
		s.Stops = append(s.Stops, stop)
	}
	return nil
}

func customersByID(ctx context.Context, q sqlx.ExtContext, ids []uuid.UUID) (map[uuid.UUID]property.Customer, error) {
	var rows []customerRow
	err := sqlx.SelectContext(ctx, q, &rows, `select `+customerColumns+` from customer where id = any($1::uuid[])`, idArray(ids))
	if err != nil {
		return nil, fmt.Errorf("read customers: %w", err)
	}
	by := make(map[uuid.UUID]property.Customer, len(rows))
	for _, r := range rows {
		by[r.ID] = r.customer()
	}
	return by, nil
}
