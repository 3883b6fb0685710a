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
	"thirdcut/internal/crew"
	"thirdcut/internal/turf"
)

const depotColumns = `id, name, address, latitude, longitude, version`

type depotRow struct {
	ID        uuid.UUID `db:"id"`
	Name      string    `db:"name"`
	Address   string    `db:"address"`
	Latitude  float64   `db:"latitude"`
	Longitude float64   `db:"longitude"`
	Version   int       `db:"version"`
}

func (r depotRow) depot() crew.Depot {
	return crew.Depot{ID: r.ID, Name: r.Name, Address: r.Address, Latitude: r.Latitude, Longitude: r.Longitude,
		Version: r.Version}
}

// depots reads every depot by name.
func depots(ctx context.Context, q sqlx.ExtContext) ([]crew.Depot, error) {
	var rows []depotRow
	if err := sqlx.SelectContext(ctx, q, &rows, `select `+depotColumns+` from depot order by name`); err != nil {
		return nil, fmt.Errorf("read depots: %w", err)
	}
	list := make([]crew.Depot, len(rows))
	for i, r := range rows {
		list[i] = r.depot()
	}
	return list, nil
}

// Depots returns every depot by name.
func (db *DB) Depots(ctx context.Context) ([]crew.Depot, error) { return depots(ctx, db.DB) }

const machineColumns = `id, crew_id, name, kind, width_in, height_min_in, height_max_in, tank_gal, hopper_lb, calibrated_on,
	retired_on, version`

type machineRow struct {
	ID           uuid.UUID       `db:"id"`
	CrewID       uuid.NullUUID   `db:"crew_id"`
	Name         string          `db:"name"`
	Kind         string          `db:"kind"`
	WidthIn      sql.NullFloat64 `db:"width_in"`
	HeightMinIn  sql.NullFloat64 `db:"height_min_in"`
	HeightMaxIn  sql.NullFloat64 `db:"height_max_in"`
	TankGal      sql.NullFloat64 `db:"tank_gal"`
	HopperLb     sql.NullFloat64 `db:"hopper_lb"`
	CalibratedOn civil.Date      `db:"calibrated_on"`
	RetiredOn    civil.Date      `db:"retired_on"`
	Version      int             `db:"version"`
}

func (r machineRow) machine() crew.Machine {
	return crew.Machine{ID: r.ID, CrewID: r.CrewID.UUID, Name: r.Name, Kind: r.Kind,
		WidthIn: r.WidthIn.Float64, HeightMinIn: r.HeightMinIn.Float64, HeightMaxIn: r.HeightMaxIn.Float64,
		TankGal: r.TankGal.Float64, HopperLb: r.HopperLb.Float64, CalibratedOn: r.CalibratedOn,
		RetiredOn: r.RetiredOn, Version: r.Version}
}

// machineByID reads one machine, a retired one too; fault.NotFound "machine".
func machineByID(ctx context.Context, q sqlx.ExtContext, id uuid.UUID) (crew.Machine, error) {
	return readMachine(ctx, q, id, "")
}

func readMachine(ctx context.Context, q sqlx.ExtContext, id uuid.UUID, lock string) (crew.Machine, error) {
	var r machineRow
	err := sqlx.GetContext(ctx, q, &r, `select `+machineColumns+` from machine where id = $1`+lock, id)
	if errors.Is(err, sql.ErrNoRows) {
		return crew.Machine{}, noSuch("machine", id)
	}
	if err != nil {
		return crew.Machine{}, fmt.Errorf("read machine: %w", err)
	}
	return r.machine(), nil
}

// Machine returns one machine, a retired one too, or fault.NotFound "machine".
func (db *DB) Machine(ctx context.Context, id uuid.UUID) (crew.Machine, error) {
	return machineByID(ctx, db.DB, id)
}

// machines reads the machines in use, those in the yard too, by name.
func machines(ctx context.Context, q sqlx.ExtContext) ([]crew.Machine, error) {
	var rows []machineRow
	err := sqlx.SelectContext(ctx, q, &rows, `select `+machineColumns+` from machine where retired_on is null order by name`)
	if err != nil {
		return nil, fmt.Errorf("read machines: %w", err)
	}
	list := make([]crew.Machine, len(rows))
	for i, r := range rows {
		list[i] = r.machine()
	}
	return list, nil
}

// Machines returns the machines in use by name; those in the yard have no crew.
func (db *DB) Machines(ctx context.Context) ([]crew.Machine, error) { return machines(ctx, db.DB) }

const crewColumns = `id, name, depot_id, shift_from::text as shift_from, shift_to::text as shift_to, work_days,
	days_off::text[] as days_off, abilities, supervisor_id, retired_on, version, updated_at`

type crewRow struct {
	ID           uuid.UUID      `db:"id"`
	Name         string         `db:"name"`
	DepotID      uuid.UUID      `db:"depot_id"`
	ShiftFrom    string         `db:"shift_from"`
	ShiftTo      string         `db:"shift_to"`
	WorkDays     pq.Int64Array  `db:"work_days"`
	DaysOff      pq.StringArray `db:"days_off"`
	Abilities    pq.StringArray `db:"abilities"`
	SupervisorID uuid.NullUUID  `db:"supervisor_id"`
	RetiredOn    civil.Date     `db:"retired_on"`
	Version      int            `db:"version"`
	UpdatedAt    time.Time      `db:"updated_at"`
}

func (r crewRow) crew() (crew.Crew, error) {
	from, err := civil.ParseTimeOfDay(r.ShiftFrom)
	if err != nil {
		return crew.Crew{}, fmt.Errorf("read crew %s: %w", r.ID, err)
	}
	to, err := civil.ParseTimeOfDay(r.ShiftTo)
	if err != nil {
		return crew.Crew{}, fmt.Errorf("read crew %s: %w", r.ID, err)
	}
	off, err := datesOf(r.DaysOff)
	if err != nil {
		return crew.Crew{}, fmt.Errorf("read crew %s: %w", r.ID, err)
	}
	return crew.Crew{ID: r.ID, Name: r.Name, ShiftFrom: from, ShiftTo: to, WorkDays: intsOf(r.WorkDays),
		DaysOff: off, Abilities: wordsOf[turf.Work](r.Abilities), SupervisorID: r.SupervisorID.UUID,
		RetiredOn: r.RetiredOn, Version: r.Version, UpdatedAt: r.UpdatedAt}, nil
}

type memberRow struct {
	CrewID   uuid.UUID `db:"crew_id"`
	PersonID uuid.UUID `db:"person_id"`
	Lead     bool      `db:"lead"`
}

// crewsWhere reads crews whole: depot, members with licences, machines.
func crewsWhere(ctx context.Context, q sqlx.ExtContext, where string, args ...any) ([]crew.Crew, error) {
	var rows []crewRow
	if err := sqlx.SelectContext(ctx, q, &rows, `select `+crewColumns+` from crew `+where, args...); err != nil {
		return nil, fmt.Errorf("read crews: %w", err)
	}
	ids := make([]uuid.UUID, len(rows))
	for i, r := range rows {
		ids[i] = r.ID
	}
	depotList, err := depots(ctx, q)
	if err != nil {
		return nil, err
	}
	depotOf := map[uuid.UUID]crew.Depot{}
	for _, d := range depotList {
		depotOf[d.ID] = d
	}
	members, err := membersOf(ctx, q, ids)
	if err != nil {
		return nil, err
	}
	all, err := machines(ctx, q)
	if err != nil {
		return nil, err
	}
	machinesOf := map[uuid.UUID][]crew.Machine{}
	for _, m := range all {
		machinesOf[m.CrewID] = append(machinesOf[m.CrewID], m)
	}
	crews := make([]crew.Crew, len(rows))
	for i, r := range rows {
		if crews[i], err = r.crew(); err != nil {
			return nil, err
		}
		crews[i].Depot, crews[i].Members, crews[i].Machines = depotOf[r.DepotID], members[r.ID], machinesOf[r.ID]
	}
	return crews, nil
}

// membersOf reads who is in each crew, the lead first.
func membersOf(ctx context.Context, q sqlx.ExtContext, crews []uuid.UUID) (map[uuid.UUID][]crew.Member, error) {
	var rows []memberRow
	err := sqlx.SelectContext(ctx, q, &rows, `select m.crew_id, m.person_id, m.lead from crew_member m
		join person p on p.id = m.person_id
		where m.crew_id = any($1::uuid[]) order by m.crew_id, m.lead desc, lower(p.name), p.id`, idArray(crews))
	if err != nil {
		return nil, fmt.Errorf("read crew members: %w", err)
	}
	ids := make([]uuid.UUID, len(rows))
	for i, r := range rows {
		ids[i] = r.PersonID
	}
	people, err := peopleByID(ctx, q, ids)
	if err != nil {
		return nil, err
	}
	by := map[uuid.UUID][]crew.Member{}
	for _, r := range rows {
		by[r.CrewID] = append(by[r.CrewID], crew.Member{Person: people[r.PersonID], Lead: r.Lead})
	}
	return by, nil
}

// crewByID reads one crew whole, a retired one too; fault.NotFound "crew".
func crewByID(ctx context.Context, q sqlx.ExtContext, id uuid.UUID) (crew.Crew, error) {
	crews, err := crewsWhere(ctx, q, `where id = $1`, id)
	if err != nil {
		return crew.Crew{}, err
	}
	if len(crews) == 0 {
		return crew.Crew{}, noSuch("crew", id)
	}
	return crews[0], nil
}

// allCrews reads the crews that are not retired, by name.
func allCrews(ctx context.Context, q sqlx.ExtContext) ([]crew.Crew, error) {
	return crewsWhere(ctx, q, `where retired_on is null order by name, id`)
}

// Crew returns one crew with depot, members, licences and machines, a retired
// one too, or fault.NotFound "crew".
func (db *DB) Crew(ctx context.Context, id uuid.UUID) (c crew.Crew, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		c, err = crewByID(ctx, q, id)
		return err
	})
	return c, err
}

// Crews returns the crews that are not retired, by name, each whole.
func (db *DB) Crews(ctx context.Context) (crews []crew.Crew, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		crews, err = allCrews(ctx, q)
		return err
	})
	return crews, err
}
