// Package postgres holds every SQL statement of the program, one file an
// aggregate. One exported method is one transaction.
package postgres

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"

	"thirdcut/internal/fault"
)

// DB is the company's database. Real is the real clock, for what lives on real
// time (sessions, the outbox, receipt of field entries); business time is
// passed in by the use cases.
type DB struct {
	*sqlx.DB
	Real func() time.Time
}

// Open connects to the database at the URL and checks that it answers.
// An unreachable server is a fault.Unavailable coded "no-database".
func Open(ctx context.Context, url string, real func() time.Time) (*DB, error) {
	pool, err := sqlx.Open("postgres", url)
	if err != nil {
		return nil, fault.New(fault.Unavailable, "no-database", "the database address cannot be read; write it as postgres://user@host/name?sslmode=...").Because(err)
	}
	pool.SetMaxOpenConns(20)
	pool.SetMaxIdleConns(10)
	pool.SetConnMaxIdleTime(5 * time.Minute)
	if err := pool.PingContext(ctx); err != nil {
		pool.Close()
		return nil, fault.New(fault.Unavailable, "no-database", "the database does not answer; start it, or check DATABASE_URL").Because(err)
	}
	return &DB{DB: pool, Real: real}, nil
}

// inTx runs f in one transaction and commits when it returns nil. A transaction
// that lost a race by serialization or deadlock is run again, up to five times.
func (db *DB) inTx(ctx context.Context, f func(tx *sqlx.Tx) error) error {
	for try := 1; ; try++ {
		err := db.once(ctx, f)
		if err == nil || !lostRace(err) || try == 5 {
			return translate(err)
		}
		pause := time.Duration(rand.IntN(20*try)+1) * time.Millisecond
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(pause):
		}
	}
}

func (db *DB) once(ctx context.Context, f func(tx *sqlx.Tx) error) error {
	tx, err := db.BeginTxx(ctx, nil)
	if err != nil {
		return fmt.Errorf("begin transaction: %w", err)
	}
	defer tx.Rollback() // no-op after Commit
	if err := f(tx); err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("commit: %w", err)
	}
	return nil
}

func lostRace(err error) bool {
	var e *pq.Error
	return errors.As(err, &e) && (e.Code == "40001" || e.Code == "40P01")
}

// translate turns a violated constraint, by its name, into a domain error.
func translate(err error) error {
	if err == nil || fault.As(err) != nil {
		return err
	}
	var e *pq.Error
	if !errors.As(err, &e) || e.Constraint == "" {
		return err
	}
	if f, ok := constraintFaults[e.Constraint]; ok {
		return fault.New(f.kind, f.code, "%s", f.detail).Because(err)
	}
	return err
}

type constraintFault struct {
	kind         fault.Kind
	code, detail string
}

// idTaken answers an id that the client made and that something has already.
var idTaken = constraintFault{fault.Conflict, "already-saved", "that was saved before, perhaps by sending it twice; open it to change it"}

// constraintFaults says what each constraint that a person can run into means.
// Each aggregate's file adds its own in an init-free way: by being listed here.
var constraintFaults = map[string]constraintFault{
	"property_address_unique":            {fault.Conflict, "address-taken", "there is already a property at that address; open it instead of adding it again"},
	"turf_area_name_unique":              {fault.Conflict, "area-name-taken", "the property already has a turf area of that name; give this one another name"},
	"crew_name_unique":                   {fault.Conflict, "crew-name-taken", "there is already a crew of that name"},
	"product_name_unique":                {fault.Conflict, "product-name-taken", "there is already a product of that name"},
	"label_version_unique":               {fault.Conflict, "label-revision-taken", "that revision of the label is already entered for this use pattern; enter a new revision"},
	"account_sign_in_name_unique":        {fault.Conflict, "sign-in-name-taken", "somebody signs in with that name already"},
	"depot_name_unique":                  {fault.Conflict, "depot-name-taken", "there is already a depot of that name"},
	"machine_name_unique":                {fault.Conflict, "machine-name-taken", "there is already a machine of that name; give this one a number or a mark"},
	"license_unique":                     {fault.Conflict, "license-taken", "that licence is already entered for the person from that day"},
	"customer_import_key_unique":         {fault.Conflict, "import-key-taken", "another customer already has that key of the office sheet"},
	"service_plan_one_running":           {fault.Conflict, "plan-running", "the property has a running service plan already; change that one"},
	"account_pkey":                       {fault.Conflict, "account-taken", "that person has a sign-in already; change that one"},
	"crew_depot":                         {fault.Invalid, "no-such-depot", "there is no such depot; choose one of the list"},
	"crew_supervisor":                    {fault.Invalid, "no-such-person", "there is no such person to supervise the crew; choose one of the list"},
	"crew_member_person":                 {fault.Invalid, "no-such-person", "a member of the crew is no person on the list"},
	"machine_crew":                       {fault.Invalid, "no-such-crew", "there is no such crew for the machine; choose one of the list, or none"},
	"api_token_account":                  {fault.NotFound, "account", "there is no such sign-in to make a token for"},
	"account_person":                     {fault.NotFound, "person", "there is no such person to sign in"},
	"property_customer":                  {fault.Invalid, "no-such-customer", "there is no such customer; choose one of the list"},
	"turf_area_property":                 {fault.NotFound, "property", "there is no such property for the area"},
	"label_version_product":              {fault.NotFound, "product", "there is no such product for the label"},
	"label_version_entered_by":           {fault.Invalid, "no-such-person", "whoever entered the label is no person on the list"},
	"lot_product":                        {fault.NotFound, "product", "there is no such product for the lot"},
	"stock_move_person":                  {fault.Invalid, "no-such-person", "whoever booked the amount is no person on the list"},
	"company_weather_place":              {fault.Invalid, "no-such-weather-place", "there is no such weather place; choose one of the list, or none"},
	"property_weather_place":             {fault.Invalid, "no-such-weather-place", "there is no such weather place; choose one of the list, or none"},
	"weather_day_place":                  {fault.NotFound, "weather-place", "there is no such weather place; add it before its days"},
	"visit_property":                     {fault.Invalid, "no-such-property", "there is no such property for the visit; choose one of the list"},
	"visit_crew":                         {fault.Invalid, "no-such-crew", "there is no such crew for the visit; choose one of the list"},
	"route_sheet_crew":                   {fault.Invalid, "no-such-crew", "there is no such crew for the visit; choose one of the list"},
	"visit_task_turf_area":               {fault.Invalid, "no-such-area", "there is no such turf area for the work; choose one of the property"},
	"visit_task_product":                 {fault.Invalid, "no-such-product", "there is no such product for the work; choose one of the list"},
	"visit_pkey":                         idTaken,
	"visit_task_pkey":                    idTaken,
	"close_out_pkey":                     {fault.Conflict, "other-content", "a report of that id is kept already and says something else; the office must look at both"},
	"close_out_person":                   {fault.Invalid, "no-such-person", "whoever sent the report is no person on the list"},
	"application_record_pkey":            {fault.Conflict, "already-recorded", "another visit has an application of that id already; the office must look at both reports"},
	"observation_pkey":                   {fault.Conflict, "already-observed", "another report has an observation of that id already; the office must look at both reports"},
	"person_pkey":                        idTaken,
	"depot_pkey":                         idTaken,
	"crew_pkey":                          idTaken,
	"machine_pkey":                       idTaken,
	"license_pkey":                       idTaken,
	"customer_pkey":                      idTaken,
	"property_pkey":                      idTaken,
	"turf_area_pkey":                     idTaken,
	"service_plan_pkey":                  idTaken,
	"product_pkey":                       idTaken,
	"label_version_pkey":                 idTaken,
	"lot_pkey":                           idTaken,
	"stock_move_pkey":                    idTaken,
	"api_token_pkey":                     idTaken,
	"lot_number_unique":                  {fault.Conflict, "lot-taken", "that lot of the product is already entered"},
	"application_record_supersedes_once": {fault.Conflict, "already-corrected", "that record has been corrected already; correct the correction"},
	"application_record_append_only":     {fault.Rule, "record-sealed", "an application record is never changed; enter a correction that says why"},
	"close_out_append_only":              {fault.Rule, "report-kept", "a report from the field is never changed; send another one"},
}

// notFound answers fault.NotFound for sql.ErrNoRows and wraps anything else.
func notFound(err error, code, format string, args ...any) error {
	if errors.Is(err, sql.ErrNoRows) {
		return fault.New(fault.NotFound, code, format, args...)
	}
	return fmt.Errorf("read "+code+": %w", err)
}

// jsonColumn reads and writes a jsonb column as T.
type jsonColumn[T any] struct{ V T }

// Scan reads the column; NULL leaves the zero value.
func (j *jsonColumn[T]) Scan(src any) error {
	switch b := src.(type) {
	case nil:
		return nil
	case []byte:
		return json.Unmarshal(b, &j.V)
	case string:
		return json.Unmarshal([]byte(b), &j.V)
	}
	return fmt.Errorf("scan json: %T", src)
}

// asJSON writes a value for a jsonb parameter.
func asJSON(v any) (string, error) {
	b, err := json.Marshal(v)
	if err != nil {
		return "", fmt.Errorf("write json: %w", err)
	}
	return string(b), nil
}

// orNull stores uuid.Nil as NULL.
func orNull(id uuid.UUID) any {
	if id == uuid.Nil {
		return nil
	}
	return id
}

// timeOrNull stores the zero time as NULL.
func timeOrNull(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t
}
