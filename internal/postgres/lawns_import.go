package postgres

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"

	"thirdcut/internal/property"
	"thirdcut/internal/weather"
)

// ImportFile says where an import comes from.
type ImportFile struct {
	Name   string
	SHA256 []byte    // 32 bytes, of the whole file
	By     uuid.UUID // uuid.Nil: the program's own command
	DryRun bool      // says what would happen and keeps nothing
}

// ImportResult says what an import did, or with DryRun would do. The first
// three count customers, properties, areas and plans together.
type ImportResult struct {
	Added, Changed, Unchanged           int
	Customers, Properties, Areas, Plans property.ImportCount
	Notes                               []string
}

// manyProperties is from how many properties on due windows are asked for all at once.
const manyProperties = 50

var errDryRun = errors.New("dry run")

// ImportLawns takes over an office sheet in one transaction, all or nothing, as
// property.PlanImport reads it. A second time it changes nothing: no version
// moves and no windows are asked for. The run itself is written down each time.
//
// Faults: Invalid "import" names up to 50 wrong places; NotFound "no-company".
func (db *DB) ImportLawns(ctx context.Context, sheet property.Import, file ImportFile) (res ImportResult, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		// One import at a time: two of the same sheet must not both add its lawns.
		if _, err := tx.ExecContext(ctx, `select pg_advisory_xact_lock(hashtextextended('import lawns', 0))`); err != nil {
			return fmt.Errorf("wait for other imports: %w", err)
		}
		settings, err := companySettings(ctx, tx)
		if err != nil {
			return err
		}
		known, err := knownLawns(ctx, tx, sheet, settings.State)
		if err != nil {
			return err
		}
		today := settings.Clock(db.Real).Today()
		planned, err := property.PlanImport(sheet, known, settings.State, today)
		if err != nil {
			return err
		}
		if err := writeImport(ctx, tx, planned, db.Real()); err != nil {
			return err
		}
		res = resultOf(planned)
		if file.DryRun {
			return errDryRun
		}
		return addImportRun(ctx, tx, "lawns", file, res, db.Real())
	})
	if errors.Is(err, errDryRun) {
		err = nil
	}
	return res, err
}

func resultOf(p property.ImportPlanned) ImportResult {
	total := p.Total()
	return ImportResult{Added: total.Added, Changed: total.Changed, Unchanged: total.Unchanged,
		Customers: p.Customers, Properties: p.Properties, Areas: p.Areas, Plans: p.Plans, Notes: p.Notes}
}

// knownLawns reads and locks what the company keeps of the things in the sheet:
// customers by key, properties by address key or street, and their customers.
func knownLawns(ctx context.Context, tx *sqlx.Tx, sheet property.Import, state string) (property.Known, error) {
	var customerKeys, addressKeys, streets pq.StringArray
	for _, c := range sheet.Customers {
		customerKeys = append(customerKeys, c.CustomerKey())
		for _, p := range c.Properties {
			addressKeys = append(addressKeys, p.AddressKey(state))
			streets = append(streets, property.StreetKey(p.Address))
		}
	}
	var ids []uuid.UUID
	err := tx.SelectContext(ctx, &ids, `select id from property
		where address_key = any($1) or split_part(address_key, '|', 1) = any($2) order by id for update`, addressKeys, streets)
	if err != nil {
		return property.Known{}, fmt.Errorf("find known properties: %w", err)
	}
	properties := []property.Property{}
	if len(ids) > 0 {
		properties, err = propertiesBy(ctx, tx, PropertyFilter{IDs: ids, Retired: true, RetiredAreas: true})
		if err != nil {
			return property.Known{}, err
		}
	}
	owners := make([]uuid.UUID, len(properties))
	for i, p := range properties {
		owners[i] = p.CustomerID
	}
	var rows []customerRow
	err = tx.SelectContext(ctx, &rows, `select `+customerColumns+` from customer
		where import_key = any($1) or id = any($2::uuid[]) order by id for update`, customerKeys, idArray(owners))
	if err != nil {
		return property.Known{}, fmt.Errorf("find known customers: %w", err)
	}
	known := property.Known{Properties: properties}
	for _, r := range rows {
		known.Customers = append(known.Customers, r.customer())
	}
	return known, nil
}

func writeImport(ctx context.Context, tx *sqlx.Tx, p property.ImportPlanned, at time.Time) error {
	customers := func(list []property.Customer) (rows [][]any) {
		for _, c := range list {
			rows = append(rows, customerValues(c, at))
		}
		return rows
	}
	properties := func(list []property.Property) (rows [][]any) {
		for _, v := range list {
			rows = append(rows, propertyValues(v, at))
		}
		return rows
	}
	areas := func(list []property.TurfArea) (rows [][]any) {
		for _, a := range list {
			rows = append(rows, areaValues(a, at))
		}
		return rows
	}
	var plans [][]any
	for _, s := range p.AddPlans {
		plans = append(plans, planValues(s, at))
	}
	for _, write := range []func() error{
		func() error { return customerBulk.insert(ctx, tx, customers(p.AddCustomers)) },
		func() error { return customerBulk.update(ctx, tx, customers(p.ChangeCustomers)) },
		func() error { return propertyBulk.insert(ctx, tx, properties(p.AddProperties)) },
		func() error { return propertyBulk.update(ctx, tx, properties(p.ChangeProperties)) },
		func() error { return areaBulk.insert(ctx, tx, areas(p.AddAreas)) },
		func() error { return areaBulk.update(ctx, tx, areas(p.ChangeAreas)) },
		func() error { return endPlans(ctx, tx, p.EndPlans, p.AddPlans, at) },
		func() error { return planBulk.insert(ctx, tx, plans) },
		func() error { return refreshMany(ctx, tx, p.Refresh) },
	} {
		if err := write(); err != nil {
			return err
		}
	}
	return nil
}

// endPlans ends the running plans on the day before those that follow begin.
func endPlans(ctx context.Context, tx *sqlx.Tx, ids []uuid.UUID, follow []property.ServicePlan, at time.Time) error {
	if len(ids) == 0 {
		return nil
	}
	_, err := tx.ExecContext(ctx, `update service_plan set ended_on = $2, version = version + 1, updated_at = $3
		where id = any($1::uuid[])`, idArray(ids), follow[0].AgreedOn.AddDays(-1), at)
	if err != nil {
		return fmt.Errorf("end service plans: %w", err)
	}
	return nil
}

// refreshMany asks for the due windows of each property, or of all where they are many.
func refreshMany(ctx context.Context, tx *sqlx.Tx, properties []uuid.UUID) error {
	if len(properties) > manyProperties {
		return refreshWindows(ctx, tx, uuid.Nil)
	}
	for _, id := range properties {
		if err := refreshWindows(ctx, tx, id); err != nil {
			return err
		}
	}
	return nil
}

func addImportRun(ctx context.Context, tx *sqlx.Tx, kind string, file ImportFile, res ImportResult, at time.Time) error {
	notes := res.Notes
	if notes == nil {
		notes = []string{}
	}
	text, err := asJSON(notes)
	if err != nil {
		return err
	}
	id, err := uuid.NewV7()
	if err != nil {
		return fmt.Errorf("make id: %w", err)
	}
	_, err = tx.ExecContext(ctx, `insert into import_run (id, kind, file_name, sha256, by_person, at, added, changed, unchanged, notes)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
		id, kind, file.Name, file.SHA256, orNull(file.By), at, res.Added, res.Changed, res.Unchanged, text)
	if err != nil {
		return fmt.Errorf("write import down: %w", err)
	}
	return nil
}

// ImportRun is one import that was kept.
type ImportRun struct {
	ID                        uuid.UUID
	Kind                      string // lawns weather
	FileName                  string
	SHA256                    []byte
	ByPerson                  uuid.UUID
	At                        time.Time
	Added, Changed, Unchanged int
	Notes                     []string
}

const importRunColumns = `id, kind, file_name, sha256, by_person, at, added, changed, unchanged, notes`

type importRunRow struct {
	ID        uuid.UUID            `db:"id"`
	Kind      string               `db:"kind"`
	FileName  string               `db:"file_name"`
	SHA256    []byte               `db:"sha256"`
	ByPerson  uuid.NullUUID        `db:"by_person"`
	At        time.Time            `db:"at"`
	Added     int                  `db:"added"`
	Changed   int                  `db:"changed"`
	Unchanged int                  `db:"unchanged"`
	Notes     jsonColumn[[]string] `db:"notes"`
}

// ImportRuns returns the latest imports, at most limit.
func (db *DB) ImportRuns(ctx context.Context, limit int) ([]ImportRun, error) {
	var rows []importRunRow
	err := db.SelectContext(ctx, &rows, `select `+importRunColumns+` from import_run order by at desc, id limit $1`, pageLimit(limit))
	if err != nil {
		return nil, fmt.Errorf("read imports: %w", err)
	}
	runs := make([]ImportRun, len(rows))
	for i, r := range rows {
		runs[i] = ImportRun{ID: r.ID, Kind: r.Kind, FileName: r.FileName, SHA256: r.SHA256, ByPerson: r.ByPerson.UUID,
			At: r.At, Added: r.Added, Changed: r.Changed, Unchanged: r.Unchanged, Notes: r.Notes.V}
	}
	return runs, nil
}

// ImportWeather keeps the days of a weather file (SaveWeatherDays) and writes
// the run down in the same transaction. With DryRun it keeps nothing.
func (db *DB) ImportWeather(ctx context.Context, placeID string, days []weather.Day, file ImportFile) (saved Saved, err error) {
	if err := validateDays(days); err != nil {
		return Saved{}, err
	}
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		if saved, err = upsertDays(ctx, tx, placeID, days, db); err != nil {
			return err
		}
		if file.DryRun {
			return errDryRun
		}
		if saved.Added+saved.Changed > 0 {
			if err := refreshWindows(ctx, tx, uuid.Nil); err != nil {
				return err
			}
		}
		res := ImportResult{Added: saved.Added, Changed: saved.Changed, Unchanged: saved.Unchanged}
		return addImportRun(ctx, tx, "weather", file, res, db.Real())
	})
	if errors.Is(err, errDryRun) {
		err = nil
	}
	return saved, err
}
