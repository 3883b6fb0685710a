package postgres

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/civil"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
)

const areaColumnsLean = `id, property_id, name, area_sqft, area_method, area_measured_on, species, cutting_height_in,
	coalesce(mower, '') as mower, exposure, slope_percent, soil, irrigated, irrigation_note,
	n_lb_per_1000sqft_year, note, retired_on, version`

const areaColumns = areaColumnsLean + `, coalesce(outline::text, '') as outline`

type areaRow struct {
	ID              uuid.UUID  `db:"id"`
	PropertyID      uuid.UUID  `db:"property_id"`
	Name            string     `db:"name"`
	Outline         string     `db:"outline"`
	AreaSqFt        float64    `db:"area_sqft"`
	AreaMethod      string     `db:"area_method"`
	AreaMeasuredOn  civil.Date `db:"area_measured_on"`
	Species         string     `db:"species"`
	CuttingHeightIn float64    `db:"cutting_height_in"`
	Mower           string     `db:"mower"`
	Exposure        string     `db:"exposure"`
	SlopePercent    float64    `db:"slope_percent"`
	Soil            string     `db:"soil"`
	Irrigated       bool       `db:"irrigated"`
	IrrigationNote  string     `db:"irrigation_note"`
	NLbPerThousand  *float64   `db:"n_lb_per_1000sqft_year"`
	Note            string     `db:"note"`
	RetiredOn       civil.Date `db:"retired_on"`
	Version         int        `db:"version"`
}

func (r areaRow) area() property.TurfArea {
	a := property.TurfArea{
		ID: r.ID, PropertyID: r.PropertyID, Name: r.Name, AreaSqFt: r.AreaSqFt, AreaMethod: r.AreaMethod,
		AreaMeasuredOn: r.AreaMeasuredOn, Species: turf.Species(r.Species), CuttingHeightIn: r.CuttingHeightIn,
		Mower: turf.Mower(r.Mower), Exposure: turf.Exposure(r.Exposure), SlopePercent: r.SlopePercent,
		Soil: turf.Soil(r.Soil), Irrigated: r.Irrigated, IrrigationNote: r.IrrigationNote,
		NLbPerThousandYear: r.NLbPerThousand, Note: r.Note, RetiredOn: r.RetiredOn, Version: r.Version,
	}
	if r.Outline != "" {
		a.Outline = json.RawMessage(r.Outline)
	}
	return a
}

// areasOf reads the areas of those properties (a uuid[], nil: all), by name.
func areasOf(ctx context.Context, q sqlx.ExtContext, properties any, f PropertyFilter) (map[uuid.UUID][]property.TurfArea, error) {
	columns := areaColumns
	if f.WithoutOutlines {
		columns = areaColumnsLean
	}
	var rows []areaRow
	err := sqlx.SelectContext(ctx, q, &rows, `select `+columns+` from turf_area
		where ($1::uuid[] is null or property_id = any($1::uuid[])) and ($2 or retired_on is null)
		order by property_id, name, id`, properties, f.Retired)
	if err != nil {
		return nil, fmt.Errorf("read turf areas: %w", err)
	}
	by := map[uuid.UUID][]property.TurfArea{}
	for _, r := range rows {
		by[r.PropertyID] = append(by[r.PropertyID], r.area())
	}
	return by, nil
}

func readArea(ctx context.Context, q sqlx.ExtContext, id uuid.UUID, lock string) (property.TurfArea, error) {
	var r areaRow
	err := sqlx.GetContext(ctx, q, &r, `select `+areaColumns+` from turf_area where id = $1`+lock, id)
	if errors.Is(err, sql.ErrNoRows) {
		return property.TurfArea{}, noSuch("turf area", id)
	}
	if err != nil {
		return property.TurfArea{}, fmt.Errorf("read turf area: %w", err)
	}
	return r.area(), nil
}

// turfAreaByID reads one area, a retired one too; fault.NotFound "turf-area".
func turfAreaByID(ctx context.Context, q sqlx.ExtContext, id uuid.UUID) (property.TurfArea, error) {
	return readArea(ctx, q, id, "")
}

// TurfArea returns one area, a retired one too, or fault.NotFound "turf-area".
func (db *DB) TurfArea(ctx context.Context, id uuid.UUID) (property.TurfArea, error) {
	return turfAreaByID(ctx, db.DB, id)
}
