package postgres

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/property"
	"thirdcut/internal/weather"
)

// SaveWeatherPlace keeps a weather place, or changes the one of that id.
func (db *DB) SaveWeatherPlace(ctx context.Context, p WeatherPlace) error {
	bad := fault.New(fault.Invalid, "weather-place", "the weather place cannot be saved as entered; correct the places named")
	if strings.TrimSpace(p.ID) == "" {
		bad.With("/id", "give the place a short id, such as north")
	}
	property.CheckPlace(bad, p.Latitude, p.Longitude)
	if e := p.Elevation.Metres(); !(e >= -500 && e <= 9000) {
		bad.With("/elevation_m", "%g m is no elevation", e)
	}
	if len(bad.Fields) > 0 {
		return bad
	}
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		done, err := tx.ExecContext(ctx, `insert into weather_place as w (id, name, latitude, longitude, elevation_m)
			values ($1, $2, $3, $4, $5)
			on conflict (id) do update set name = excluded.name, latitude = excluded.latitude,
				longitude = excluded.longitude, elevation_m = excluded.elevation_m
			where (w.latitude, w.longitude, w.elevation_m, w.name)
				is distinct from (excluded.latitude, excluded.longitude, excluded.elevation_m, excluded.name)`,
			p.ID, p.Name, p.Latitude, p.Longitude, round2(p.Elevation.Metres()))
		if err != nil {
			return fmt.Errorf("save weather place: %w", err)
		}
		if n, err := done.RowsAffected(); err != nil || n == 0 {
			return err
		}
		return refreshWindows(ctx, tx, uuid.Nil)
	})
}

// Saved counts what became of the rows of one write.
type Saved struct {
	Added, Changed, Unchanged int
}

// rankSQL orders the qualities: better replaces worse, never the reverse. A
// forecast and an old forecast that nothing has replaced rank alike.
const rankSQL = `array_position('{normal,filled,estimated,station,observed}', case %s when 'forecast' then 'estimated' else %[1]s end)`

// SaveWeatherDays keeps days of one place. A day replaces what is there when
// its quality is as good or better, so an observed day replaces a forecast and
// never the reverse; what a day of the same quality leaves unknown (NaN) stays.
// Values are kept to 0.01 of their unit. When anything was added or changed, all
// due windows are asked for in the same transaction.
//
// Faults: NotFound "weather-place"; Invalid "weather-days" names the dates.
func (db *DB) SaveWeatherDays(ctx context.Context, placeID string, days []weather.Day) (saved Saved, err error) {
	if err := validateDays(days); err != nil {
		return Saved{}, err
	}
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		if saved, err = upsertDays(ctx, tx, placeID, days, db); err != nil {
			return err
		}
		if saved.Added+saved.Changed == 0 {
			return nil
		}
		return refreshWindows(ctx, tx, uuid.Nil)
	})
	return saved, err
}

func upsertDays(ctx context.Context, tx *sqlx.Tx, placeID string, days []weather.Day, db *DB) (Saved, error) {
	if _, err := weatherPlaceByID(ctx, tx, placeID); err != nil {
		return Saved{}, err
	}
	n := len(days)
	dates, qualities, sources := make(pq.StringArray, n), make(pq.StringArray, n), make(pq.StringArray, n)
	highs, lows := make(pq.StringArray, n), make(pq.StringArray, n)
	rain, wind := make([]sql.NullString, n), make([]sql.NullString, n)
	for i, d := range days {
		dates[i], qualities[i], sources[i] = d.Date.String(), string(d.Quality), d.Source
		highs[i], lows[i] = decimal(d.Max.Celsius()), decimal(d.Min.Celsius())
		if d.HasPrecipitation() {
			rain[i] = sql.NullString{String: decimal(d.Precipitation.Millimetres()), Valid: true}
		}
		if d.HasWind() {
			wind[i] = sql.NullString{String: decimal(d.Wind.MetresPerSecond()), Valid: true}
		}
	}
	newRank, oldRank := fmt.Sprintf(rankSQL, "excluded.quality"), fmt.Sprintf(rankSQL, "w.quality")
	// xmax is 0 in a row that this statement inserted and not in one it updated.
	var added []bool
	err := tx.SelectContext(ctx, &added, `
		insert into weather_day as w (place_id, date, temp_max_c, temp_min_c, precipitation_mm, wind_mps, quality, source, updated_at)
		select $1, d, hi, lo, rain, wind, q, s, $2
		from unnest($3::date[], $4::numeric[], $5::numeric[], $6::numeric[], $7::numeric[], $8::text[], $9::text[])
			as n (d, hi, lo, rain, wind, q, s)
		order by d
		on conflict (place_id, date) do update set
			temp_max_c = excluded.temp_max_c, temp_min_c = excluded.temp_min_c,
			precipitation_mm = case when excluded.quality = w.quality
				then coalesce(excluded.precipitation_mm, w.precipitation_mm) else excluded.precipitation_mm end,
			wind_mps = case when excluded.quality = w.quality
				then coalesce(excluded.wind_mps, w.wind_mps) else excluded.wind_mps end,
			quality = excluded.quality, source = excluded.source, updated_at = excluded.updated_at
		where `+newRank+` >= `+oldRank+`
			and (w.temp_max_c is distinct from excluded.temp_max_c or w.temp_min_c is distinct from excluded.temp_min_c
				or w.precipitation_mm is distinct from case when excluded.quality = w.quality
					then coalesce(excluded.precipitation_mm, w.precipitation_mm) else excluded.precipitation_mm end
				or w.wind_mps is distinct from case when excluded.quality = w.quality
					then coalesce(excluded.wind_mps, w.wind_mps) else excluded.wind_mps end
				or w.quality <> excluded.quality)
		returning xmax = 0`,
		placeID, db.Real(), dates, highs, lows, pq.Array(rain), pq.Array(wind), qualities, sources)
	if err != nil {
		return Saved{}, fmt.Errorf("save weather of %s: %w", placeID, err)
	}
	saved := Saved{Unchanged: n - len(added)}
	for _, isNew := range added {
		if isNew {
			saved.Added++
		} else {
			saved.Changed++
		}
	}
	return saved, nil
}

func round2(v float64) float64 { return math.Round(v*100) / 100 }

// decimal writes a number to 0.01, as it is stored.
func decimal(v float64) string { return strconv.FormatFloat(round2(v), 'f', -1, 64) }

// validateDays says which days cannot be kept: fault.Invalid "weather-days".
func validateDays(days []weather.Day) error {
	bad := fault.New(fault.Invalid, "weather-days", "some days of the weather cannot be kept; correct the days named")
	seen := make(map[civil.Date]bool, len(days))
	for _, d := range days {
		at := "day " + d.Date.String()
		switch hi, lo := d.Max.Celsius(), d.Min.Celsius(); {
		case d.Date.IsZero():
			bad.With(at, "has no date")
		case seen[d.Date]:
			bad.With(at, "is there twice; keep one")
		case !(hi >= -70 && hi <= 60) || !(lo >= -80 && lo <= 50):
			bad.With(at, "%.1f to %.1f C is no weather; are the temperatures in Celsius?", lo, hi)
		case lo > hi:
			bad.With(at, "the low of %.1f C is above the high of %.1f C", lo, hi)
		case d.HasPrecipitation() && !(d.Precipitation.Millimetres() >= 0 && d.Precipitation.Millimetres() <= 2000):
			bad.With(at, "%.1f mm is no day's precipitation", d.Precipitation.Millimetres())
		case d.HasWind() && !(d.Wind.MetresPerSecond() >= 0 && d.Wind.MetresPerSecond() <= 120):
			bad.With(at, "%.1f m/s is no day's wind", d.Wind.MetresPerSecond())
		case !d.Quality.Known():
			bad.With(at, "%q is no quality of a day", d.Quality)
		}
		seen[d.Date] = true
		if len(bad.Fields) >= 20 {
			break // enough to see what is wrong with the file
		}
	}
	if len(bad.Fields) == 0 {
		return nil
	}
	return bad
}

// AgeForecasts marks forecasts of days before today that nothing has replaced
// as estimated, and returns how many.
func (db *DB) AgeForecasts(ctx context.Context, today civil.Date) (aged int64, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		done, err := tx.ExecContext(ctx, `update weather_day set quality = 'estimated', updated_at = $2
			where quality = 'forecast' and date < $1`, today, db.Real())
		if err != nil {
			return fmt.Errorf("age forecasts: %w", err)
		}
		aged, err = done.RowsAffected()
		return err
	})
	return aged, err
}
