package postgres

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

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
		order by property_id, name, id`, properties, f.RetiredAreas)
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

// AddTurfArea keeps a new area of a property and asks for the property's due
// windows. What may be left open gets its default (property.TurfArea.WithDefaults).
func (db *DB) AddTurfArea(ctx context.Context, a property.TurfArea) (property.TurfArea, error) {
	err := db.inTx(ctx, func(tx *sqlx.Tx) (err error) {
		if a, err = insertArea(ctx, tx, a, db.Real()); err != nil {
			return err
		}
		return refreshWindows(ctx, tx, a.PropertyID)
	})
	return a, err
}

func insertArea(ctx context.Context, tx *sqlx.Tx, a property.TurfArea, at time.Time) (property.TurfArea, error) {
	a = a.WithDefaults()
	a.Version = 1
	if err := newID(&a.ID); err != nil {
		return a, err
	}
	a, err := outlined(ctx, tx, a)
	if err != nil {
		return a, err
	}
	if err := property.ValidateTurfArea(a); err != nil {
		return a, err
	}
	_, err = tx.ExecContext(ctx, `insert into turf_area (id, property_id, name, outline, area_sqft, area_method,
		area_measured_on, species, cutting_height_in, mower, exposure, slope_percent, soil, irrigated, irrigation_note,
		n_lb_per_1000sqft_year, note, retired_on, version, updated_at)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20)`, areaValues(a, at)...)
	if err != nil {
		return a, fmt.Errorf("add turf area: %w", err)
	}
	return a, nil
}

// outlined puts the area's outline into the form that is stored, at its property.
func outlined(ctx context.Context, tx *sqlx.Tx, a property.TurfArea) (property.TurfArea, error) {
	if len(a.Outline) == 0 {
		return a, nil
	}
	p, err := propertyByID(ctx, tx, a.PropertyID)
	if err != nil {
		return a, err
	}
	return p.Outlined(a)
}

func areaValues(a property.TurfArea, at time.Time) []any {
	return []any{a.ID, a.PropertyID, a.Name, textOrNull(string(a.Outline)), a.AreaSqFt, a.AreaMethod, a.AreaMeasuredOn,
		string(a.Species), a.CuttingHeightIn, textOrNull(a.Mower), string(a.Exposure), a.SlopePercent, string(a.Soil),
		a.Irrigated, a.IrrigationNote, a.NLbPerThousandYear, a.Note, a.RetiredOn, a.Version, at}
}

// SaveTurfArea changes an area at that version: fault.NeedsVersion,
// fault.Stale, fault.NotFound "turf-area", fault.Invalid "turf-area",
// fault.Conflict "area-name-taken". A change of what due windows depend on asks
// for the property's windows in the same transaction.
func (db *DB) SaveTurfArea(ctx context.Context, id uuid.UUID, version int, change func(*property.TurfArea) error) (a property.TurfArea, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		if a, err = readArea(ctx, tx, id, " for update"); err != nil {
			return err
		}
		if err := checkVersion("turf area", a.Version, version); err != nil {
			return err
		}
		after, differs, err := changed(a, change)
		if err != nil || !differs {
			return err
		}
		after.ID, after.PropertyID, after.Version = id, a.PropertyID, a.Version+1
		if after, err = outlined(ctx, tx, after); err != nil {
			return err
		}
		if err := property.ValidateTurfArea(after); err != nil {
			return err
		}
		if err := updateArea(ctx, tx, after, db.Real()); err != nil {
			return err
		}
		same := a.SameWindows(after)
		if a = after; same {
			return nil
		}
		return refreshWindows(ctx, tx, a.PropertyID)
	})
	return a, err
}

func updateArea(ctx context.Context, tx *sqlx.Tx, a property.TurfArea, at time.Time) error {
	_, err := tx.ExecContext(ctx, `update turf_area set property_id = $2, name = $3, outline = $4, area_sqft = $5,
		area_method = $6, area_measured_on = $7, species = $8, cutting_height_in = $9, mower = $10, exposure = $11,
		slope_percent = $12, soil = $13, irrigated = $14, irrigation_note = $15, n_lb_per_1000sqft_year = $16, note = $17,
		retired_on = $18, version = $19, updated_at = $20 where id = $1`, areaValues(a, at)...)
	if err != nil {
		return fmt.Errorf("save turf area: %w", err)
	}
	return nil
}
