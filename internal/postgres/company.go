package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"

	"thirdcut/internal/company"
	"thirdcut/internal/fault"
)

const companyColumns = `name, address, phone, business_license, time_zone, state, work_week,
	holidays::text[] as holidays, jurisdictions, weather_place_id, clock_at, version`

type companyRow struct {
	Name            string         `db:"name"`
	Address         string         `db:"address"`
	Phone           string         `db:"phone"`
	BusinessLicense string         `db:"business_license"`
	TimeZone        string         `db:"time_zone"`
	State           string         `db:"state"`
	WorkWeek        pq.Int64Array  `db:"work_week"`
	Holidays        pq.StringArray `db:"holidays"`
	Jurisdictions   pq.StringArray `db:"jurisdictions"`
	WeatherPlaceID  sql.NullString `db:"weather_place_id"`
	ClockAt         sql.NullTime   `db:"clock_at"`
	Version         int            `db:"version"`
}

func (r companyRow) settings() (company.Settings, error) {
	zone, err := time.LoadLocation(r.TimeZone)
	if err != nil {
		return company.Settings{}, fmt.Errorf("read the company's time zone: %w", err)
	}
	holidays, err := datesOf(r.Holidays)
	if err != nil {
		return company.Settings{}, err
	}
	return company.Settings{
		Name: r.Name, Address: r.Address, Phone: r.Phone, BusinessLicense: r.BusinessLicense,
		Zone: zone, State: r.State, WorkWeek: intsOf(r.WorkWeek), Holidays: holidays,
		Jurisdictions: r.Jurisdictions, WeatherPlaceID: r.WeatherPlaceID.String,
		ClockAt: r.ClockAt.Time, Version: r.Version,
	}, nil
}

// companySettings reads the company; fault.NotFound "no-company" before it is set up.
func companySettings(ctx context.Context, q sqlx.ExtContext) (company.Settings, error) {
	return readCompany(ctx, q, "")
}

func readCompany(ctx context.Context, q sqlx.ExtContext, lock string) (company.Settings, error) {
	var r companyRow
	err := sqlx.GetContext(ctx, q, &r, `select `+companyColumns+` from company where id = 1`+lock)
	if errors.Is(err, sql.ErrNoRows) {
		return company.Settings{}, fault.New(fault.NotFound, "no-company",
			"the company is not set up yet; give its name, state and time zone first")
	}
	if err != nil {
		return company.Settings{}, fmt.Errorf("read company: %w", err)
	}
	return r.settings()
}

// Company returns the company's settings, or fault.NotFound "no-company" where
// none are entered yet.
func (db *DB) Company(ctx context.Context) (company.Settings, error) {
	return companySettings(ctx, db.DB)
}
