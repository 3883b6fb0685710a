package postgres

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/property"
)

// AddProperty keeps a new property with the areas and the service plan that
// come with it, and asks for its due windows. Ids left open are made; the
// address key is computed. fault.Conflict "address-taken".
func (db *DB) AddProperty(ctx context.Context, p property.Property) (property.Property, error) {
	err := db.inTx(ctx, func(tx *sqlx.Tx) error {
		if err := insertProperty(ctx, tx, &p, db.Real()); err != nil {
			return err
		}
		for _, a := range p.Areas {
			a.PropertyID = p.ID
			if _, err := insertArea(ctx, tx, a, db.Real()); err != nil {
				return err
			}
		}
		if p.Plan != nil {
			plan := *p.Plan
			plan.PropertyID = p.ID
			if _, err := insertPlan(ctx, tx, plan, db.Real()); err != nil {
				return err
			}
		}
		if err := refreshWindows(ctx, tx, p.ID); err != nil {
			return err
		}
		var err error
		p, err = propertyByID(ctx, tx, p.ID)
		return err
	})
	return p, err
}

func insertProperty(ctx context.Context, tx *sqlx.Tx, p *property.Property, at time.Time) error {
	p.Version, p.AddressKey = 1, p.Key()
	if err := newID(&p.ID); err != nil {
		return err
	}
	if err := property.ValidateProperty(*p); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, `insert into property (id, customer_id, address, address_key, municipality, county, state,
		zip_code, owner_name, latitude, longitude, access_note, gate_code, sensitivities, water_distance_ft, allowed_from,
		allowed_to, closed_weekdays, jurisdictions, weather_place_id, retired_on, version, updated_at)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23)`,
		propertyValues(*p, at)...)
	if err != nil {
		return fmt.Errorf("add property: %w", err)
	}
	return nil
}

func propertyValues(p property.Property, at time.Time) []any {
	return []any{p.ID, p.CustomerID, p.Address, p.AddressKey, p.Municipality, p.County, p.State, p.ZIPCode, p.OwnerName,
		p.Latitude, p.Longitude, p.AccessNote, p.GateCode, textArray(p.Sensitivities), p.WaterDistanceFt, p.AllowedFrom,
		p.AllowedTo, intArray(p.ClosedWeekdays), textArray(p.Jurisdictions), textOrNull(p.WeatherPlaceID), p.RetiredOn,
		p.Version, at}
}

// SaveProperty changes a property at that version: fault.NeedsVersion,
// fault.Stale, fault.NotFound "property", fault.Invalid "property",
// fault.Conflict "address-taken". Areas and plan have their own methods and are
// left as they are. A change that due windows depend on asks for them again.
func (db *DB) SaveProperty(ctx context.Context, id uuid.UUID, version int, change func(*property.Property) error) (p property.Property, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		if p, err = readProperty(ctx, tx, id, " for update"); err != nil {
			return err
		}
		if err := checkVersion("property", p.Version, version); err != nil {
			return err
		}
		after, differs, err := changed(p, change)
		if err != nil || !differs {
			return err
		}
		after.ID, after.Version, after.AddressKey = id, p.Version+1, after.Key()
		after.Areas, after.Plan = p.Areas, p.Plan
		if err := property.ValidateProperty(after); err != nil {
			return err
		}
		if err := updateProperty(ctx, tx, after, db.Real()); err != nil {
			return err
		}
		same := p.SameWindows(after)
		if p = after; same {
			return nil
		}
		return refreshWindows(ctx, tx, id)
	})
	return p, err
}

func updateProperty(ctx context.Context, tx *sqlx.Tx, p property.Property, at time.Time) error {
	_, err := tx.ExecContext(ctx, `update property set customer_id = $2, address = $3, address_key = $4, municipality = $5,
		county = $6, state = $7, zip_code = $8, owner_name = $9, latitude = $10, longitude = $11, access_note = $12,
		gate_code = $13, sensitivities = $14, water_distance_ft = $15, allowed_from = $16, allowed_to = $17,
		closed_weekdays = $18, jurisdictions = $19, weather_place_id = $20, retired_on = $21, version = $22,
		updated_at = $23 where id = $1`, propertyValues(p, at)...)
	if err != nil {
		return fmt.Errorf("save property: %w", err)
	}
	return nil
}
