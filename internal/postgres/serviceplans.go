package postgres

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
)

const servicePlanColumns = `id, property_id, season_from, season_to, least_days, greatest_days, price_basis,
	price_cents, services, agreed_on, ended_on, version`

type servicePlanRow struct {
	ID           uuid.UUID      `db:"id"`
	PropertyID   uuid.UUID      `db:"property_id"`
	SeasonFrom   civil.MonthDay `db:"season_from"`
	SeasonTo     civil.MonthDay `db:"season_to"`
	LeastDays    *int           `db:"least_days"`
	GreatestDays *int           `db:"greatest_days"`
	PriceBasis   string         `db:"price_basis"`
	PriceCents   *int64         `db:"price_cents"`
	Services     pq.StringArray `db:"services"`
	AgreedOn     civil.Date     `db:"agreed_on"`
	EndedOn      civil.Date     `db:"ended_on"`
	Version      int            `db:"version"`
}

func (r servicePlanRow) plan() property.ServicePlan {
	return property.ServicePlan{ID: r.ID, PropertyID: r.PropertyID, SeasonFrom: r.SeasonFrom, SeasonTo: r.SeasonTo,
		LeastDays: r.LeastDays, GreatestDays: r.GreatestDays, PriceBasis: r.PriceBasis, PriceCents: r.PriceCents,
		Services: wordsOf[turf.Work](r.Services), AgreedOn: r.AgreedOn, EndedOn: r.EndedOn, Version: r.Version}
}

// runningPlans reads the plan that has not ended of each property (a uuid[], nil: all).
func runningPlans(ctx context.Context, q sqlx.ExtContext, properties any) (map[uuid.UUID]*property.ServicePlan, error) {
	var rows []servicePlanRow
	err := sqlx.SelectContext(ctx, q, &rows, `select `+servicePlanColumns+` from service_plan
		where ended_on is null and ($1::uuid[] is null or property_id = any($1::uuid[]))`, properties)
	if err != nil {
		return nil, fmt.Errorf("read service plans: %w", err)
	}
	by := make(map[uuid.UUID]*property.ServicePlan, len(rows))
	for _, r := range rows {
		p := r.plan()
		by[r.PropertyID] = &p
	}
	return by, nil
}

// ServicePlans returns every plan that a property has had, the newest first.
func (db *DB) ServicePlans(ctx context.Context, propertyID uuid.UUID) ([]property.ServicePlan, error) {
	var rows []servicePlanRow
	err := db.SelectContext(ctx, &rows, `select `+servicePlanColumns+` from service_plan
		where property_id = $1 order by ended_on desc nulls first, agreed_on desc nulls last, id desc`, propertyID)
	if err != nil {
		return nil, fmt.Errorf("read service plans: %w", err)
	}
	plans := make([]property.ServicePlan, len(rows))
	for i, r := range rows {
		plans[i] = r.plan()
	}
	return plans, nil
}

// SaveServicePlan agrees a new service plan with the property's customer. The
// running plan, which version must name (0 when none is running), ends the day
// before today; the new one starts as change makes it out of the old and runs
// from today. Without a running plan, change gets an empty one priced per visit.
// Nothing changed, nothing written. The due windows are asked for again.
// Faults: NeedsVersion, Stale, NotFound "property", Invalid "service-plan".
func (db *DB) SaveServicePlan(ctx context.Context, propertyID uuid.UUID, version int, today civil.Date, change func(*property.ServicePlan) error) (p property.ServicePlan, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		running, err := lockPlan(ctx, tx, propertyID, version)
		if err != nil {
			return err
		}
		before := property.ServicePlan{PropertyID: propertyID, PriceBasis: "per_visit"}
		if running != nil {
			before = *running
		}
		after, differs, err := changed(before, change)
		if p = before; err != nil || running != nil && !differs {
			return err
		}
		if running != nil {
			if err := endPlan(ctx, tx, running.ID, today.AddDays(-1), db.Real()); err != nil {
				return err
			}
		}
		after.ID, after.PropertyID, after.AgreedOn, after.EndedOn = uuid.Nil, propertyID, today, civil.Date{}
		after.Version = before.Version + 1
		if p, err = insertPlan(ctx, tx, after, db.Real()); err != nil {
			return err
		}
		return refreshWindows(ctx, tx, propertyID)
	})
	return p, err
}

// EndServicePlan ends the running plan after that last day.
func (db *DB) EndServicePlan(ctx context.Context, propertyID uuid.UUID, version int, last civil.Date) error {
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		running, err := lockPlan(ctx, tx, propertyID, version)
		if err != nil {
			return err
		}
		if running == nil {
			return fault.New(fault.NotFound, "service-plan", "the property has no running service plan to end")
		}
		if err := endPlan(ctx, tx, running.ID, last, db.Real()); err != nil {
			return err
		}
		return refreshWindows(ctx, tx, propertyID)
	})
}

// lockPlan locks the property and returns its running plan at that version, or
// nil where none is running.
func lockPlan(ctx context.Context, tx *sqlx.Tx, propertyID uuid.UUID, version int) (*property.ServicePlan, error) {
	if err := lockRow(ctx, tx, "property", "property", propertyID); err != nil {
		return nil, err
	}
	plans, err := runningPlans(ctx, tx, idArray([]uuid.UUID{propertyID}))
	if err != nil {
		return nil, err
	}
	running := plans[propertyID]
	if running != nil {
		return running, checkVersion("service plan", running.Version, version)
	}
	if version != 0 {
		return nil, fault.New(fault.Stale, "stale", "the service plan that this changes has ended in between; look at the property again")
	}
	return nil, nil
}

func endPlan(ctx context.Context, tx *sqlx.Tx, id uuid.UUID, last civil.Date, at time.Time) error {
	_, err := tx.ExecContext(ctx, `update service_plan set ended_on = $2, version = version + 1, updated_at = $3
		where id = $1`, id, last, at)
	if err != nil {
		return fmt.Errorf("end service plan: %w", err)
	}
	return nil
}

func insertPlan(ctx context.Context, tx *sqlx.Tx, p property.ServicePlan, at time.Time) (property.ServicePlan, error) {
	p.Version = max(p.Version, 1)
	if err := newID(&p.ID); err != nil {
		return p, err
	}
	if err := property.ValidateServicePlan(p); err != nil {
		return p, err
	}
	_, err := tx.ExecContext(ctx, `insert into service_plan (id, property_id, season_from, season_to, least_days,
		greatest_days, price_basis, price_cents, services, agreed_on, ended_on, version, updated_at)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)`,
		planValues(p, at)...)
	if err != nil {
		return p, fmt.Errorf("add service plan: %w", err)
	}
	return p, nil
}

func planValues(p property.ServicePlan, at time.Time) []any {
	return []any{p.ID, p.PropertyID, p.SeasonFrom, p.SeasonTo, p.LeastDays, p.GreatestDays, p.PriceBasis, p.PriceCents,
		textArray(p.Services), p.AgreedOn, p.EndedOn, p.Version, at}
}
