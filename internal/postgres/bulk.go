package postgres

import (
	"context"
	"database/sql/driver"
	"encoding/json"
	"fmt"
	"strings"

	"github.com/jmoiron/sqlx"
)

// bulkTable writes many rows of one table in one statement. Columns begin with
// the id; types are those of the columns, in the same order; a jsonb column is
// given as text.
type bulkTable struct {
	name    string
	columns []string
	types   []string
}

func newBulkTable(name string, columnTypes ...string) bulkTable {
	b := bulkTable{name: name}
	for _, ct := range columnTypes {
		column, sqlType, _ := strings.Cut(ct, " ")
		b.columns, b.types = append(b.columns, column), append(b.types, sqlType)
	}
	return b
}

var (
	customerBulk = newBulkTable("customer", "id uuid", "import_key text", "name text", "email text", "phone text",
		"billing_address text", "version integer", "updated_at timestamptz")
	propertyBulk = newBulkTable("property", "id uuid", "customer_id uuid", "address text", "address_key text",
		"municipality text", "county text", "state text", "zip_code text", "owner_name text", "latitude float8",
		"longitude float8", "access_note text", "gate_code text", "sensitivities text[]", "water_distance_ft numeric",
		"allowed_from time", "allowed_to time", "closed_weekdays smallint[]", "jurisdictions text[]",
		"weather_place_id text", "retired_on date", "version integer", "updated_at timestamptz")
	areaBulk = newBulkTable("turf_area", "id uuid", "property_id uuid", "name text", "outline jsonb", "area_sqft numeric",
		"area_method text", "area_measured_on date", "species text", "cutting_height_in numeric", "mower text",
		"exposure text", "slope_percent numeric", "soil text", "irrigated boolean", "irrigation_note text",
		"n_lb_per_1000sqft_year numeric", "note text", "retired_on date", "version integer", "updated_at timestamptz")
	planBulk = newBulkTable("service_plan", "id uuid", "property_id uuid", "season_from text", "season_to text",
		"least_days smallint", "greatest_days smallint", "price_basis text", "price_cents bigint", "services text[]",
		"agreed_on date", "ended_on date", "version integer", "updated_at timestamptz")
)

// rows writes the rows as one JSON document, each value as the driver takes it.
func (b bulkTable) rows(values [][]any) (string, error) {
	list := make([]map[string]any, len(values))
	for i, row := range values {
		object := make(map[string]any, len(row))
		for c, v := range row {
			if valuer, ok := v.(driver.Valuer); ok {
				plain, err := driver.DefaultParameterConverter.ConvertValue(valuer)
				if err != nil {
					return "", fmt.Errorf("write %s.%s: %w", b.name, b.columns[c], err)
				}
				v = plain
			}
			if bytes, ok := v.([]byte); ok {
				v = string(bytes)
			}
			object[b.columns[c]] = v
		}
		list[i] = object
	}
	text, err := json.Marshal(list)
	return string(text), err
}

// record is the column definition list by which PostgreSQL reads the rows.
func (b bulkTable) record() string {
	defs := make([]string, len(b.columns))
	for i, c := range b.columns {
		t := b.types[i]
		if t == "jsonb" {
			t = "text"
		}
		defs[i] = c + " " + t
	}
	return "r (" + strings.Join(defs, ", ") + ")"
}

func (b bulkTable) from(column int) string {
	from := "r." + b.columns[column]
	if b.types[column] == "jsonb" {
		from += "::jsonb"
	}
	return from
}

// insert adds the rows.
func (b bulkTable) insert(ctx context.Context, tx *sqlx.Tx, values [][]any) error {
	from := make([]string, len(b.columns))
	for i := range b.columns {
		from[i] = b.from(i)
	}
	return b.run(ctx, tx, values, `insert into `+b.name+` (`+strings.Join(b.columns, ", ")+`)
		select `+strings.Join(from, ", ")+` from jsonb_to_recordset($1::jsonb) as `+b.record())
}

// update overwrites the rows of those ids.
func (b bulkTable) update(ctx context.Context, tx *sqlx.Tx, values [][]any) error {
	set := make([]string, 0, len(b.columns))
	for i, c := range b.columns[1:] {
		set = append(set, c+" = "+b.from(i+1))
	}
	return b.run(ctx, tx, values, `update `+b.name+` t set `+strings.Join(set, ", ")+`
		from jsonb_to_recordset($1::jsonb) as `+b.record()+` where t.id = r.id`)
}

func (b bulkTable) run(ctx context.Context, tx *sqlx.Tx, values [][]any, statement string) error {
	if len(values) == 0 {
		return nil
	}
	rows, err := b.rows(values)
	if err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, statement, rows); err != nil {
		return fmt.Errorf("write %d rows of %s: %w", len(values), b.name, err)
	}
	return nil
}
