package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"

	"thirdcut/internal/civil"
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

// SaveCompany changes the company's settings. Before the first time there are
// none: version 0 then creates them. Later the version must be the one read:
// fault.NeedsVersion, fault.Stale. A change that due windows depend on asks for
// all of them again in the same transaction. Nothing changed, nothing written.
func (db *DB) SaveCompany(ctx context.Context, version int, change func(*company.Settings) error) (s company.Settings, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		before, err := readCompany(ctx, tx, " for update")
		if fault.HasCode(err, "no-company") && version == 0 {
			s, err = createCompany(ctx, tx, change, db.Real())
			return err
		}
		if err != nil {
			return err
		}
		if err := checkVersion("company's settings", before.Version, version); err != nil {
			return err
		}
		s, err = updateCompany(ctx, tx, before, change, db.Real())
		return err
	})
	return s, err
}

func createCompany(ctx context.Context, tx *sqlx.Tx, change func(*company.Settings) error, at time.Time) (company.Settings, error) {
	s := company.Settings{Zone: time.UTC, WorkWeek: []int{1, 2, 3, 4, 5}}
	if err := change(&s); err != nil {
		return s, err
	}
	if err := company.Validate(s); err != nil {
		return s, err
	}
	s.Version = 1
	_, err := tx.ExecContext(ctx, `insert into company (id, name, address, phone, business_license, time_zone, state,
		work_week, holidays, jurisdictions, weather_place_id, clock_at, version, updated_at)
		values (1, $1, $2, $3, $4, $5, $6, $7, $8::date[], $9, $10, $11, $12, $13)`, companyValues(s, at)...)
	if err != nil {
		return s, fmt.Errorf("create company: %w", err)
	}
	return s, nil
}

func updateCompany(ctx context.Context, tx *sqlx.Tx, before company.Settings, change func(*company.Settings) error, at time.Time) (company.Settings, error) {
	s, differs, err := changed(before, change)
	if err != nil || !differs {
		return before, err
	}
	if err := company.Validate(s); err != nil {
		return before, err
	}
	s.Version = before.Version + 1
	_, err = tx.ExecContext(ctx, `update company set name = $1, address = $2, phone = $3, business_license = $4,
		time_zone = $5, state = $6, work_week = $7, holidays = $8::date[], jurisdictions = $9, weather_place_id = $10,
		clock_at = $11, version = $12, updated_at = $13 where id = 1`, companyValues(s, at)...)
	if err != nil {
		return before, fmt.Errorf("save company: %w", err)
	}
	if before.SameDays(s) {
		return s, nil
	}
	return s, refreshWindows(ctx, tx, uuid.Nil)
}

func companyValues(s company.Settings, at time.Time) []any {
	return []any{s.Name, s.Address, s.Phone, s.BusinessLicense, s.Zone.String(), s.State, intArray(s.WorkWeek),
		dateArray(s.Holidays), textArray(s.Jurisdictions), textOrNull(s.WeatherPlaceID), timeOrNull(s.ClockAt), s.Version, at}
}

// SetClock freezes business time at the instant, or sets it going again with
// the zero time, and asks for all due windows. It takes no version: nobody edits it.
func (db *DB) SetClock(ctx context.Context, at time.Time) error {
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		before, err := readCompany(ctx, tx, " for update")
		if err != nil {
			return err
		}
		_, err = updateCompany(ctx, tx, before, func(s *company.Settings) error {
			s.ClockAt = at
			return nil
		}, db.Real())
		return err
	})
}

// businessClock is the company's business time.
func (db *DB) businessClock(ctx context.Context, q sqlx.ExtContext) (civil.Clock, error) {
	s, err := companySettings(ctx, q)
	if err != nil {
		return civil.Clock{}, err
	}
	return s.Clock(db.Real), nil
}
