package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"

	"thirdcut/internal/civil"
	"thirdcut/internal/property"
)

const propertyColumns = `id, customer_id, address, address_key, municipality, county, state, zip_code, owner_name,
	latitude, longitude, access_note, gate_code, sensitivities, water_distance_ft,
	allowed_from::text as allowed_from, allowed_to::text as allowed_to, closed_weekdays, jurisdictions,
	coalesce(weather_place_id, '') as weather_place_id, retired_on, version`

type propertyRow struct {
	ID              uuid.UUID      `db:"id"`
	CustomerID      uuid.UUID      `db:"customer_id"`
	Address         string         `db:"address"`
	AddressKey      string         `db:"address_key"`
	Municipality    string         `db:"municipality"`
	County          string         `db:"county"`
	State           string         `db:"state"`
	ZIPCode         string         `db:"zip_code"`
	OwnerName       string         `db:"owner_name"`
	Latitude        *float64       `db:"latitude"`
	Longitude       *float64       `db:"longitude"`
	AccessNote      string         `db:"access_note"`
	GateCode        string         `db:"gate_code"`
	Sensitivities   pq.StringArray `db:"sensitivities"`
	WaterDistanceFt *float64       `db:"water_distance_ft"`
	AllowedFrom     sql.NullString `db:"allowed_from"`
	AllowedTo       sql.NullString `db:"allowed_to"`
	ClosedWeekdays  pq.Int64Array  `db:"closed_weekdays"`
	Jurisdictions   pq.StringArray `db:"jurisdictions"`
	WeatherPlaceID  string         `db:"weather_place_id"`
	RetiredOn       civil.Date     `db:"retired_on"`
	Version         int            `db:"version"`
}

func (r propertyRow) property() (property.Property, error) {
	from, err := timeOfDayOf(r.AllowedFrom)
	if err != nil {
		return property.Property{}, fmt.Errorf("read property %s: %w", r.ID, err)
	}
	to, err := timeOfDayOf(r.AllowedTo)
	if err != nil {
		return property.Property{}, fmt.Errorf("read property %s: %w", r.ID, err)
	}
	return property.Property{
		ID: r.ID, CustomerID: r.CustomerID, Address: r.Address, AddressKey: r.AddressKey,
		Municipality: r.Municipality, County: r.County, State: r.State, ZIPCode: r.ZIPCode,
		OwnerName: r.OwnerName, Latitude: r.Latitude, Longitude: r.Longitude,
		AccessNote: r.AccessNote, GateCode: r.GateCode, Sensitivities: r.Sensitivities,
		WaterDistanceFt: r.WaterDistanceFt, AllowedFrom: from, AllowedTo: to,
		ClosedWeekdays: intsOf(r.ClosedWeekdays), Jurisdictions: r.Jurisdictions,
		WeatherPlaceID: r.WeatherPlaceID, RetiredOn: r.RetiredOn, Version: r.Version,
	}, nil
}

// PropertyFilter says which properties to read. Its zero value is all that are
// not retired, whole.
type PropertyFilter struct {
	IDs             []uuid.UUID // only these, where given
	Retired         bool        // retired properties too
	RetiredAreas    bool        // retired areas too
	WithoutOutlines bool        // leaves TurfArea.Outline empty: planning needs no shapes
}

// propertiesBy reads properties with areas and running plan in three queries,
// however many there are, in the order of lower(address), id.
func propertiesBy(ctx context.Context, q sqlx.ExtContext, f PropertyFilter) ([]property.Property, error) {
	ids := any(nil)
	if f.IDs != nil {
		ids = idArray(f.IDs)
	}
	var rows []propertyRow
	err := sqlx.SelectContext(ctx, q, &rows, `select `+propertyColumns+` from property
		where ($1::uuid[] is null or id = any($1::uuid[])) and ($2 or retired_on is null)
		order by lower(address), id`, ids, f.Retired)
	if err != nil {
		return nil, fmt.Errorf("read properties: %w", err)
	}
	areas, err := areasOf(ctx, q, ids, f)
	if err != nil {
		return nil, err
	}
	plans, err := runningPlans(ctx, q, ids)
	if err != nil {
		return nil, err
	}
	list := make([]property.Property, len(rows))
	for i, r := range rows {
		if list[i], err = r.property(); err != nil {
			return nil, err
		}
		list[i].Areas, list[i].Plan = areas[r.ID], plans[r.ID]
	}
	return list, nil
}

// propertyByID reads one property whole, a retired one too, without its retired
// areas; fault.NotFound "property".
func propertyByID(ctx context.Context, q sqlx.ExtContext, id uuid.UUID) (property.Property, error) {
	return readProperty(ctx, q, id, "")
}

func readProperty(ctx context.Context, q sqlx.ExtContext, id uuid.UUID, lock string) (property.Property, error) {
	var r propertyRow
	err := sqlx.GetContext(ctx, q, &r, `select `+propertyColumns+` from property where id = $1`+lock, id)
	if errors.Is(err, sql.ErrNoRows) {
		return property.Property{}, noSuch("property", id)
	}
	if err != nil {
		return property.Property{}, fmt.Errorf("read property: %w", err)
	}
	p, err := r.property()
	if err != nil {
		return property.Property{}, err
	}
	one := idArray([]uuid.UUID{id})
	areas, err := areasOf(ctx, q, one, PropertyFilter{})
	if err != nil {
		return property.Property{}, err
	}
	plans, err := runningPlans(ctx, q, one)
	if err != nil {
		return property.Property{}, err
	}
	p.Areas, p.Plan = areas[id], plans[id]
	return p, nil
}

// Property returns one property with its areas in use and its running plan, a
// retired property too, or fault.NotFound "property".
func (db *DB) Property(ctx context.Context, id uuid.UUID) (p property.Property, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		p, err = propertyByID(ctx, q, id)
		return err
	})
	return p, err
}

// Properties returns properties with areas and running plan by address, in
// three queries however many there are.
func (db *DB) Properties(ctx context.Context, f PropertyFilter) (list []property.Property, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		list, err = propertiesBy(ctx, q, f)
		return err
	})
	return list, err
}
