package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/label"
	"thirdcut/internal/property"
	"thirdcut/internal/stock"
	"thirdcut/internal/unit"
	"thirdcut/internal/visit"
	"thirdcut/internal/weather"
)

// Days around an application in which cuts and weather are looked for. The
// longest wait between a cut and an application on a label is a few days.
const (
	cutsAround    = 45
	weatherAround = 3
)

func dayOf(t time.Time, zone *time.Location) civil.Date { return civil.DateOf(t, zone) }

func companyZone(ctx context.Context, q sqlx.ExtContext) (*time.Location, error) {
	s, err := companySettings(ctx, q)
	return s.Zone, err
}

// fieldFacts reads what is on file around a report. The lots that it names are
// held until the end of the transaction, so that what is left of them is true.
func fieldFacts(ctx context.Context, tx *sqlx.Tx, v visit.Visit, c visit.Closing, real func() time.Time) (f visit.Facts, err error) {
	f.Visit = v
	if f.Company, err = companySettings(ctx, tx); err != nil {
		return f, err
	}
	f.Now = f.Company.Clock(real).Now()
	if f.Property, err = propertyByID(ctx, tx, v.PropertyID); err != nil {
		return f, err
	}
	if f.Customer, err = customerByID(ctx, tx, f.Property.CustomerID); err != nil {
		return f, err
	}
	areas, err := areasOf(ctx, tx, idArray([]uuid.UUID{v.PropertyID}), PropertyFilter{RetiredAreas: true, WithoutOutlines: true})
	if err != nil {
		return f, err
	}
	f.Areas = map[uuid.UUID]property.TurfArea{}
	for _, a := range areas[v.PropertyID] {
		f.Areas[a.ID] = a
	}
	var lastTry sql.NullTime
	err = tx.QueryRowxContext(ctx, `select count(*), max(finished_at) from close_out where visit_id = $1`, v.ID).Scan(&f.Reports, &lastTry)
	if err != nil {
		return f, fmt.Errorf("count reports: %w", err)
	}
	f.LastTry = lastTry.Time
	if f.KnownMachines, err = machinesNamed(ctx, tx, c.Entry.Tasks); err != nil {
		return f, err
	}
	if len(c.Entry.Applications) == 0 {
		return f, nil
	}
	return f, applicationFacts(ctx, tx, c, &f)
}

func machinesNamed(ctx context.Context, q sqlx.ExtContext, tasks []visit.TaskReport) (map[uuid.UUID]bool, error) {
	var ids []uuid.UUID
	for _, t := range tasks {
		if t.MachineID != uuid.Nil {
			ids = append(ids, t.MachineID)
		}
	}
	return idsThere(ctx, q, "machine", ids)
}

// idsThere says which of the ids a table has.
func idsThere(ctx context.Context, q sqlx.ExtContext, table string, ids []uuid.UUID) (map[uuid.UUID]bool, error) {
	there := map[uuid.UUID]bool{}
	if len(ids) == 0 {
		return there, nil
	}
	var found []uuid.UUID
	if err := sqlx.SelectContext(ctx, q, &found, `select id from `+table+` where id = any($1::uuid[])`, idArray(ids)); err != nil {
		return nil, fmt.Errorf("look for %s: %w", table, err)
	}
	for _, id := range found {
		there[id] = true
	}
	return there, nil
}

// applicationFacts adds what the records of the report's applications are made from.
func applicationFacts(ctx context.Context, tx *sqlx.Tx, c visit.Closing, f *visit.Facts) (err error) {
	n := namesIn(c)
	f.CrewSupervisor, err = crewSupervisor(ctx, tx, f.Visit.CrewID)
	if err != nil {
		return err
	}
	if f.Products, err = productsByID(ctx, tx, n.products); err != nil {
		return err
	}
	if f.People, err = peopleByID(ctx, tx, append(n.people, f.CrewSupervisor)); err != nil {
		return err
	}
	if f.Machines, err = machines(ctx, tx); err != nil {
		return err
	}
	if f.Recorded, err = idsThere(ctx, tx, "application_record", n.records); err != nil {
		return err
	}
	if f.Lots, err = holdLots(ctx, tx, n.lots); err != nil {
		return err
	}
	on := dayOf(c.Entry.FinishedAt, f.Company.Zone)
	if f.Past, err = pastOn(ctx, tx, n.areas, civil.On(on.Year-1, 1, 1)); err != nil {
		return err
	}
	if f.Cuts, err = cutsOn(ctx, tx, n.areas, on.AddDays(-cutsAround), on.AddDays(cutsAround)); err != nil {
		return err
	}
	return addWeather(ctx, tx, f, on)
}

type namesInEntry struct{ products, people, lots, areas, records []uuid.UUID }

func namesIn(c visit.Closing) (n namesInEntry) {
	n.people = append(n.people, c.By)
	for _, a := range c.Entry.Applications {
		n.records = append(n.records, a.ID)
		n.products = append(n.products, a.ProductID)
		n.people = append(n.people, a.ApplicatorID, a.SupervisorID)
		n.lots = append(n.lots, a.LotIDs...)
		for _, l := range a.Lines {
			n.areas = append(n.areas, l.TurfAreaID)
		}
	}
	return n
}

func crewSupervisor(ctx context.Context, q sqlx.ExtContext, crewID uuid.UUID) (uuid.UUID, error) {
	var id uuid.NullUUID
	err := sqlx.GetContext(ctx, q, &id, `select supervisor_id from crew where id = $1`, crewID)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return uuid.Nil, fmt.Errorf("read supervisor: %w", err)
	}
	return id.UUID, nil
}

// holdLots reads the lots and holds their rows, in one order for everybody.
func holdLots(ctx context.Context, tx *sqlx.Tx, ids []uuid.UUID) (map[uuid.UUID]stock.Lot, error) {
	by := map[uuid.UUID]stock.Lot{}
	if len(ids) == 0 {
		return by, nil
	}
	if _, err := tx.ExecContext(ctx, `select 1 from lot where id = any($1::uuid[]) order by id for update`, idArray(ids)); err != nil {
		return nil, fmt.Errorf("hold lots: %w", err)
	}
	lots, err := lotsByID(ctx, tx, ids)
	if err != nil {
		return nil, err
	}
	for _, l := range lots {
		by[l.ID] = l
	}
	return by, nil
}

// pastOn reads what the areas got since the day in records that still stand.
func pastOn(ctx context.Context, q sqlx.ExtContext, areas []uuid.UUID, since civil.Date) ([]application.Past, error) {
	var rows []struct {
		RecordID    uuid.UUID  `db:"record_id"`
		TurfAreaID  uuid.UUID  `db:"turf_area_id"`
		ProductID   uuid.UUID  `db:"product_id"`
		AppliedOn   civil.Date `db:"applied_on"`
		Area        float64    `db:"area_treated_sqft"`
		Amount      float64    `db:"amount"`
		AmountUnit  string     `db:"amount_unit"`
		NPercent    *float64   `db:"n_percent"`
		P2O5Percent *float64   `db:"p2o5_percent"`
	}
	err := sqlx.SelectContext(ctx, q, &rows, `select l.record_id, l.turf_area_id, l.product_id, l.applied_on, l.area_treated_sqft,
			l.amount, l.amount_unit, p.n_percent, p.p2o5_percent
		from application_line l join product p on p.id = l.product_id
		where l.turf_area_id = any($1::uuid[]) and l.applied_on >= $2
			and not exists (select 1 from application_record s where s.supersedes_id = l.record_id)
		order by l.applied_on, l.record_id`, idArray(areas), since)
	if err != nil {
		return nil, fmt.Errorf("read past applications: %w", err)
	}
	past := make([]application.Past, len(rows))
	for i, r := range rows {
		past[i] = application.Past{RecordID: r.RecordID, TurfAreaID: r.TurfAreaID, ProductID: r.ProductID, On: r.AppliedOn,
			Area: unit.Area(r.Area) * unit.SquareFoot, Amount: kept(r.Amount, r.AmountUnit), NPercent: r.NPercent, P2O5Percent: r.P2O5Percent}
	}
	return past, nil
}

func kept(amount float64, unitName string) label.Amount {
	return application.Amount{Value: amount, Unit: unitName}.Product()
}

// cutsOn reads the days on which the areas were or are to be cut.
func cutsOn(ctx context.Context, q sqlx.ExtContext, areas []uuid.UUID, from, to civil.Date) (map[uuid.UUID][]civil.Date, error) {
	var rows []struct {
		TurfAreaID uuid.UUID  `db:"turf_area_id"`
		Day        civil.Date `db:"day"`
	}
	err := sqlx.SelectContext(ctx, q, &rows, `select turf_area_id, done_on as day from task_report
			where turf_area_id = any($1::uuid[]) and work in ('mow', 'first_cut') and done and done_on between $2 and $3
		union
		select t.turf_area_id, v.date from visit_task t join visit v on v.id = t.visit_id
			where t.turf_area_id = any($1::uuid[]) and t.work in ('mow', 'first_cut') and v.state in ('planned', 'out')
			and v.date between $2 and $3
		order by 1, 2`, idArray(areas), from, to)
	if err != nil {
		return nil, fmt.Errorf("read cuts: %w", err)
	}
	by := map[uuid.UUID][]civil.Date{}
	for _, r := range rows {
		by[r.TurfAreaID] = append(by[r.TurfAreaID], r.Day)
	}
	return by, nil
}

func addWeather(ctx context.Context, q sqlx.ExtContext, f *visit.Facts, on civil.Date) error {
	f.Days = map[civil.Date]weather.Day{}
	id := f.Property.WeatherPlaceID
	if id == "" {
		id = f.Company.WeatherPlaceID
	}
	if id == "" {
		return nil
	}
	days, err := weatherDays(ctx, q, id, on.AddDays(-weatherAround), on.AddDays(weatherAround))
	for _, d := range days {
		f.Days[d.Date] = d
	}
	return err
}
