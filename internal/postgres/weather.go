package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"

	"github.com/jmoiron/sqlx"

	"thirdcut/internal/civil"
	"thirdcut/internal/unit"
	"thirdcut/internal/weather"
)

// WeatherPlace is a named place whose weather is kept.
type WeatherPlace struct {
	ID   string
	Name string
	weather.Place
}

const weatherPlaceColumns = `id, name, latitude, longitude, elevation_m`

type weatherPlaceRow struct {
	ID         string  `db:"id"`
	Name       string  `db:"name"`
	Latitude   float64 `db:"latitude"`
	Longitude  float64 `db:"longitude"`
	ElevationM float64 `db:"elevation_m"`
}

func (r weatherPlaceRow) place() WeatherPlace {
	return WeatherPlace{ID: r.ID, Name: r.Name, Place: weather.Place{
		Latitude: r.Latitude, Longitude: r.Longitude, Elevation: unit.Length(r.ElevationM) * unit.Metre}}
}

// weatherPlaceByID reads one weather place; fault.NotFound "weather-place".
func weatherPlaceByID(ctx context.Context, q sqlx.ExtContext, id string) (WeatherPlace, error) {
	var r weatherPlaceRow
	err := sqlx.GetContext(ctx, q, &r, `select `+weatherPlaceColumns+` from weather_place where id = $1`, id)
	if errors.Is(err, sql.ErrNoRows) {
		return WeatherPlace{}, noSuch("weather place", id)
	}
	if err != nil {
		return WeatherPlace{}, fmt.Errorf("read weather place: %w", err)
	}
	return r.place(), nil
}

// weatherPlaces reads every weather place by id.
func weatherPlaces(ctx context.Context, q sqlx.ExtContext) ([]WeatherPlace, error) {
	var rows []weatherPlaceRow
	err := sqlx.SelectContext(ctx, q, &rows, `select `+weatherPlaceColumns+` from weather_place order by id`)
	if err != nil {
		return nil, fmt.Errorf("read weather places: %w", err)
	}
	places := make([]WeatherPlace, len(rows))
	for i, r := range rows {
		places[i] = r.place()
	}
	return places, nil
}

// WeatherPlace returns one weather place, or fault.NotFound "weather-place".
func (db *DB) WeatherPlace(ctx context.Context, id string) (WeatherPlace, error) {
	return weatherPlaceByID(ctx, db.DB, id)
}

// WeatherPlaces returns every weather place by id.
func (db *DB) WeatherPlaces(ctx context.Context) ([]WeatherPlace, error) {
	return weatherPlaces(ctx, db.DB)
}

const weatherDayColumns = `date, temp_max_c, temp_min_c, precipitation_mm, wind_mps, quality, source`

type weatherDayRow struct {
	Date            civil.Date      `db:"date"`
	TempMaxC        float64         `db:"temp_max_c"`
	TempMinC        float64         `db:"temp_min_c"`
	PrecipitationMM sql.NullFloat64 `db:"precipitation_mm"`
	WindMPS         sql.NullFloat64 `db:"wind_mps"`
	Quality         string          `db:"quality"`
	Source          string          `db:"source"`
}

func (r weatherDayRow) day() weather.Day {
	d := weather.Day{Date: r.Date, Max: unit.Celsius(r.TempMaxC), Min: unit.Celsius(r.TempMinC),
		Precipitation: unit.Length(math.NaN()), Wind: unit.Speed(math.NaN()),
		Quality: weather.Quality(r.Quality), Source: r.Source}
	if r.PrecipitationMM.Valid {
		d.Precipitation = unit.Length(r.PrecipitationMM.Float64) * unit.Millimetre
	}
	if r.WindMPS.Valid {
		d.Wind = unit.Speed(r.WindMPS.Float64) * unit.MetrePerSecond
	}
	return d
}

// weatherDays reads a place's days in order; a zero date leaves that end open.
func weatherDays(ctx context.Context, q sqlx.ExtContext, placeID string, from, to civil.Date) ([]weather.Day, error) {
	var rows []weatherDayRow
	err := sqlx.SelectContext(ctx, q, &rows, `select `+weatherDayColumns+` from weather_day
		where place_id = $1 and date >= coalesce($2, '-infinity'::date) and date <= coalesce($3, 'infinity'::date)
		order by date`, placeID, from, to)
	if err != nil {
		return nil, fmt.Errorf("read weather of %s: %w", placeID, err)
	}
	days := make([]weather.Day, len(rows))
	for i, r := range rows {
		days[i] = r.day()
	}
	return days, nil
}

// WeatherDays returns the place's days in order, both ends included; a zero
// date leaves that end open. Days that nobody entered are missing from it.
func (db *DB) WeatherDays(ctx context.Context, placeID string, from, to civil.Date) ([]weather.Day, error) {
	return weatherDays(ctx, db.DB, placeID, from, to)
}
