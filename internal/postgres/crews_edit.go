package postgres

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/crew"
)

// AddDepot keeps a new depot. An id left open is made.
func (db *DB) AddDepot(ctx context.Context, d crew.Depot) (crew.Depot, error) {
	err := db.inTx(ctx, func(tx *sqlx.Tx) error {
		d.Version = 1
		if err := newID(&d.ID); err != nil {
			return err
		}
		if err := crew.ValidateDepot(d); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `insert into depot (id, name, address, latitude, longitude, version)
			values ($1, $2, $3, $4, $5, $6)`, d.ID, d.Name, d.Address, d.Latitude, d.Longitude, d.Version)
		if err != nil {
			return fmt.Errorf("add depot: %w", err)
		}
		return nil
	})
	return d, err
}

// SaveDepot changes a depot at that version: fault.NeedsVersion, fault.Stale,
// fault.NotFound "depot", fault.Invalid "depot".
func (db *DB) SaveDepot(ctx context.Context, id uuid.UUID, version int, change func(*crew.Depot) error) (d crew.Depot, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		if err := lockRow(ctx, tx, "depot", "depot", id); err != nil {
			return err
		}
		var r depotRow
		if err := tx.GetContext(ctx, &r, `select `+depotColumns+` from depot where id = $1`, id); err != nil {
			return fmt.Errorf("read depot: %w", err)
		}
		d = r.depot()
		if err := checkVersion("depot", d.Version, version); err != nil {
			return err
		}
		after, differs, err := changed(d, change)
		if err != nil || !differs {
			return err
		}
		after.ID, after.Version = id, d.Version+1
		if err := crew.ValidateDepot(after); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `update depot set name = $2, address = $3, latitude = $4, longitude = $5, version = $6
			where id = $1`, id, after.Name, after.Address, after.Latitude, after.Longitude, after.Version)
		if err != nil {
			return fmt.Errorf("save depot: %w", err)
		}
		d = after
		return nil
	})
	return d, err
}

// AddMachine keeps a new machine. An id left open is made.
func (db *DB) AddMachine(ctx context.Context, m crew.Machine) (crew.Machine, error) {
	err := db.inTx(ctx, func(tx *sqlx.Tx) error {
		m.Version = 1
		if err := newID(&m.ID); err != nil {
			return err
		}
		if err := crew.ValidateMachine(m); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `insert into machine (id, crew_id, name, kind, width_in, height_min_in, height_max_in,
			tank_gal, hopper_lb, calibrated_on, retired_on, version)
			values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`, machineValues(m)...)
		if err != nil {
			return fmt.Errorf("add machine: %w", err)
		}
		return nil
	})
	return m, err
}

// SaveMachine changes a machine at that version: fault.NeedsVersion,
// fault.Stale, fault.NotFound "machine", fault.Invalid "machine".
func (db *DB) SaveMachine(ctx context.Context, id uuid.UUID, version int, change func(*crew.Machine) error) (m crew.Machine, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		if m, err = readMachine(ctx, tx, id, " for update"); err != nil {
			return err
		}
		if err := checkVersion("machine", m.Version, version); err != nil {
			return err
		}
		after, differs, err := changed(m, change)
		if err != nil || !differs {
			return err
		}
		after.ID, after.Version = id, m.Version+1
		if err := crew.ValidateMachine(after); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `update machine set crew_id = $2, name = $3, kind = $4, width_in = $5,
			height_min_in = $6, height_max_in = $7, tank_gal = $8, hopper_lb = $9, calibrated_on = $10, retired_on = $11,
			version = $12 where id = $1`, machineValues(after)...)
		if err != nil {
			return fmt.Errorf("save machine: %w", err)
		}
		m = after
		return nil
	})
	return m, err
}

func machineValues(m crew.Machine) []any {
	return []any{m.ID, orNull(m.CrewID), m.Name, m.Kind, floatOrNull(m.WidthIn), floatOrNull(m.HeightMinIn),
		floatOrNull(m.HeightMaxIn), floatOrNull(m.TankGal), floatOrNull(m.HopperLb), m.CalibratedOn, m.RetiredOn, m.Version}
}

// AddCrew keeps a new crew with its members, by the ids of depot and people;
// machines join by SaveMachine. It returns the crew as stored.
func (db *DB) AddCrew(ctx context.Context, c crew.Crew) (crew.Crew, error) {
	err := db.inTx(ctx, func(tx *sqlx.Tx) error {
		c.Version = 1
		if err := newID(&c.ID); err != nil {
			return err
		}
		if err := crew.ValidateCrew(c); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `insert into crew (id, name, depot_id, shift_from, shift_to, work_days, days_off,
			abilities, supervisor_id, retired_on, version, updated_at)
			values ($1, $2, $3, $4, $5, $6, $7::date[], $8, $9, $10, $11, $12)`, crewValues(c, db.Real())...)
		if err != nil {
			return fmt.Errorf("add crew: %w", err)
		}
		if err := saveMembers(ctx, tx, c); err != nil {
			return err
		}
		c, err = crewByID(ctx, tx, c.ID)
		return err
	})
	return c, err
}

// SaveCrew changes a crew and its members at that version: fault.NeedsVersion,
// fault.Stale, fault.NotFound "crew", fault.Invalid "crew". Depot and members
// count by their ids; machines are changed by SaveMachine alone.
func (db *DB) SaveCrew(ctx context.Context, id uuid.UUID, version int, change func(*crew.Crew) error) (c crew.Crew, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		if err := lockRow(ctx, tx, "crew", "crew", id); err != nil {
			return err
		}
		if c, err = crewByID(ctx, tx, id); err != nil {
			return err
		}
		if err := checkVersion("crew", c.Version, version); err != nil {
			return err
		}
		after, differs, err := changed(c, change)
		if err != nil || !differs {
			return err
		}
		after.ID, after.Version = id, c.Version+1
		if err := crew.ValidateCrew(after); err != nil {
			return err
		}
		if err := updateCrew(ctx, tx, after, db.Real()); err != nil {
			return err
		}
		c, err = crewByID(ctx, tx, id)
		return err
	})
	return c, err
}

func updateCrew(ctx context.Context, tx *sqlx.Tx, c crew.Crew, at time.Time) error {
	_, err := tx.ExecContext(ctx, `update crew set name = $2, depot_id = $3, shift_from = $4, shift_to = $5, work_days = $6,
		days_off = $7::date[], abilities = $8, supervisor_id = $9, retired_on = $10, version = $11, updated_at = $12
		where id = $1`, crewValues(c, at)...)
	if err != nil {
		return fmt.Errorf("save crew: %w", err)
	}
	return saveMembers(ctx, tx, c)
}

func crewValues(c crew.Crew, at time.Time) []any {
	return []any{c.ID, c.Name, c.Depot.ID, c.ShiftFrom, c.ShiftTo, intArray(c.WorkDays), dateArray(c.DaysOff),
		textArray(c.Abilities), orNull(c.SupervisorID), c.RetiredOn, c.Version, at}
}

func saveMembers(ctx context.Context, tx *sqlx.Tx, c crew.Crew) error {
	if _, err := tx.ExecContext(ctx, `delete from crew_member where crew_id = $1`, c.ID); err != nil {
		return fmt.Errorf("drop crew members: %w", err)
	}
	for _, m := range c.Members {
		_, err := tx.ExecContext(ctx, `insert into crew_member (crew_id, person_id, lead) values ($1, $2, $3)`,
			c.ID, m.Person.ID, m.Lead)
		if err != nil {
			return fmt.Errorf("save crew member: %w", err)
		}
	}
	return nil
}
