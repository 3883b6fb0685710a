-- Whose lawns there are, what goes on them, and the weather they stand in.

-- +goose Up
create table customer (
    id              uuid primary key,
    import_key      text constraint customer_import_key_unique unique,  -- natural key of the office sheet
    name            text not null constraint customer_name_given check (name <> ''),
    email           text not null default '',
    phone           text not null default '',
    billing_address text not null default '',
    version         integer not null default 1,
    updated_at      timestamptz not null
);
create index customer_by_name on customer (lower(name), id);

create table property (
    id              uuid primary key,
    customer_id     uuid not null constraint property_customer references customer,
    address         text not null constraint property_address_given check (address <> ''),
    address_key     text not null constraint property_address_unique unique,  -- normalised address
    municipality    text not null default '',
    county          text not null default '',
    state           text not null constraint property_state_two_letters check (state ~ '^[A-Z]{2}$'),
    zip_code        text not null default '',
    owner_name      text not null default '',                    -- owner or tenant where not the customer
    latitude        double precision constraint property_latitude_range check (latitude between -90 and 90),
    longitude       double precision constraint property_longitude_range check (longitude between -180 and 180),
    access_note     text not null default '',
    gate_code       text not null default '',
    sensitivities   text[] not null default '{}',                -- pets, pond, hives, garden, registry_neighbour ...
    water_distance_ft numeric constraint property_water_distance_positive check (water_distance_ft >= 0),
    allowed_from    time,
    allowed_to      time,
    closed_weekdays smallint[] not null default '{}'
        constraint property_closed_weekdays_days check (closed_weekdays <@ '{1,2,3,4,5,6,7}'::smallint[]),
    jurisdictions   text[] not null default '{}',                -- beyond the state's, ids of rules
    weather_place_id text,
    retired_on      date,
    version         integer not null default 1,
    updated_at      timestamptz not null,
    constraint property_place_whole check ((latitude is null) = (longitude is null)),
    constraint property_allowed_order check (allowed_from < allowed_to)
);
create index property_by_customer on property (customer_id);
create index property_by_address on property (lower(address), id);

create table turf_area (
    id                uuid primary key,
    property_id       uuid not null constraint turf_area_property references property,
    name              text not null constraint turf_area_name_given check (name <> ''),
    outline           jsonb,                                     -- GeoJSON Polygon or MultiPolygon
    area_sqft         numeric not null constraint turf_area_area_positive check (area_sqft > 0),
    area_method       text not null constraint turf_area_area_method check (area_method in ('outline', 'wheel', 'tape', 'plan', 'estimate', 'given')),
    area_measured_on  date,
    species           text not null default 'unknown',
    cutting_height_in numeric not null constraint turf_area_height_range check (cutting_height_in > 0 and cutting_height_in <= 8),
    mower             text constraint turf_area_mower check (mower in ('reel', 'rotary')),
    exposure          text not null default 'sun' constraint turf_area_exposure check (exposure in ('sun', 'part_shade', 'shade')),
    slope_percent     numeric not null default 0 constraint turf_area_slope_range check (slope_percent between 0 and 100),
    soil              text not null default 'unknown',
    irrigated         boolean not null default false,
    irrigation_note   text not null default '',
    n_lb_per_1000sqft_year numeric constraint turf_area_nitrogen_range check (n_lb_per_1000sqft_year between 0 and 10),
    note              text not null default '',
    retired_on        date,
    version           integer not null default 1,
    updated_at        timestamptz not null,
    constraint turf_area_name_unique unique (property_id, name)
);

create table service_plan (
    id           uuid primary key,
    property_id  uuid not null constraint service_plan_property references property,
    season_from  text not null constraint service_plan_season_from check (season_from ~ '^[0-1][0-9]-[0-3][0-9]$'),
    season_to    text not null constraint service_plan_season_to check (season_to ~ '^[0-1][0-9]-[0-3][0-9]$'),
    least_days   smallint constraint service_plan_least_days_range check (least_days between 1 and 120),    -- between cuts
    greatest_days smallint constraint service_plan_greatest_days_range check (greatest_days between 1 and 120),
    price_basis  text not null default 'per_visit' constraint service_plan_price_basis check (price_basis in ('per_visit', 'per_season')),
    price_cents  bigint constraint service_plan_price_positive check (price_cents >= 0),
    services     text[] not null,                                -- kinds of work agreed to
    agreed_on    date,
    ended_on     date,
    version      integer not null default 1,
    updated_at   timestamptz not null,
    constraint service_plan_days_order check (least_days is null or greatest_days is null or least_days <= greatest_days)
);
create unique index service_plan_one_running on service_plan (property_id) where ended_on is null;

create table product (
    id                 uuid primary key,
    name               text not null constraint product_name_unique unique,
    kind               text not null constraint product_kind check (kind in ('pesticide', 'fertiliser', 'both')),
    form               text not null constraint product_form check (form in ('dry', 'liquid')),
    epa_reg_no         text not null default '',
    active_ingredient  text not null default '',
    concentration_percent numeric constraint product_concentration_range check (concentration_percent between 0 and 100),
    formulation        text not null default '',
    restricted_use     boolean not null default false,
    n_percent          numeric constraint product_n_range check (n_percent between 0 and 100),
    p2o5_percent       numeric constraint product_p_range check (p2o5_percent between 0 and 100),
    k2o_percent        numeric constraint product_k_range check (k2o_percent between 0 and 100),
    n_slow_percent     numeric constraint product_n_slow_range check (n_slow_percent between 0 and 100), -- share of the N
    fe_percent         numeric constraint product_fe_range check (fe_percent between 0 and 100),
    retired_on         date,
    version            integer not null default 1,
    updated_at         timestamptz not null,
    constraint product_pesticide_named check (kind = 'fertiliser' or active_ingredient <> '')
);

-- A label version is never changed: a correction is a new version.
create table label_version (
    id           uuid primary key,
    product_id   uuid not null constraint label_version_product references product,
    revision     text not null,
    pattern      text not null,
    in_force_from date not null,
    limits       jsonb not null,                                 -- label.Limits
    entered_by   uuid constraint label_version_entered_by references person,
    entered_at   timestamptz not null,
    confirmed_by uuid constraint label_version_confirmed_by references person,
    confirmed_at timestamptz,
    constraint label_version_unique unique (product_id, pattern, revision)
);
create index label_version_by_product on label_version (product_id, pattern, in_force_from desc);

create table lot (
    id          uuid primary key,
    product_id  uuid not null constraint lot_product references product,
    number      text not null constraint lot_number_given check (number <> ''),
    received_on date not null,
    expires_on  date,
    constraint lot_number_unique unique (product_id, number)
);

-- Amounts in kilograms (dry) or litres (liquid); what a person entered stands beside.
create table stock_move (
    id             uuid primary key,
    lot_id         uuid not null constraint stock_move_lot references lot,
    kind           text not null constraint stock_move_kind check (kind in ('received', 'used', 'counted', 'disposed')),
    amount         numeric not null,                             -- negative takes out
    amount_unit    text not null constraint stock_move_unit check (amount_unit in ('kg', 'L')),
    entered        text not null,                                -- "4.5 oz"
    record_id      uuid,                                         -- application record that used it
    at             timestamptz not null,
    by_person      uuid constraint stock_move_person references person
);
create index stock_move_by_lot on stock_move (lot_id, at);

create table weather_place (
    id          text primary key,
    name        text not null,
    latitude    double precision not null constraint weather_place_latitude_range check (latitude between -90 and 90),
    longitude   double precision not null constraint weather_place_longitude_range check (longitude between -180 and 180),
    elevation_m numeric not null default 0
);
alter table company add constraint company_weather_place foreign key (weather_place_id) references weather_place;
alter table property add constraint property_weather_place foreign key (weather_place_id) references weather_place;

create table weather_day (
    place_id         text not null constraint weather_day_place references weather_place,
    date             date not null,
    temp_max_c       numeric not null constraint weather_day_temp_max_range check (temp_max_c between -70 and 60),
    temp_min_c       numeric not null constraint weather_day_temp_min_range check (temp_min_c between -80 and 50),
    precipitation_mm numeric constraint weather_day_precipitation_range check (precipitation_mm between 0 and 2000),
    wind_mps         numeric constraint weather_day_wind_range check (wind_mps between 0 and 120),
    quality          text not null constraint weather_day_quality check (quality in ('observed', 'station', 'forecast', 'estimated', 'filled', 'normal')),
    source           text not null default '',
    updated_at       timestamptz not null,
    primary key (place_id, date),
    constraint weather_day_temp_order check (temp_min_c <= temp_max_c)
);
