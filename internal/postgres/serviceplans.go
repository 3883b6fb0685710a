package postgres

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"

	"thirdcut/internal/civil"
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
