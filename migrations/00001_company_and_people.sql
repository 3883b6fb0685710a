-- The company, its people and what they may do. One row of company settings:
-- one installation serves one company.

-- +goose Up
create table company (
    id               integer primary key constraint company_single_row check (id = 1),
    name             text not null constraint company_name_given check (name <> ''),
    address          text not null default '',
    phone            text not null default '',
    business_license text not null default '',
    time_zone        text not null,
    state            text not null constraint company_state_two_letters check (state ~ '^[A-Z]{2}$'),
    work_week        smallint[] not null default '{1,2,3,4,5}'   -- ISO weekdays, Monday 1
        constraint company_work_week_days check (work_week <@ '{1,2,3,4,5,6,7}'::smallint[]),
    holidays         date[] not null default '{}',
    jurisdictions    text[] not null default '{}',               -- ids of record rules
    weather_place_id text,
    clock_at         timestamptz,                                -- business time is frozen here when set (demo)
    version          integer not null default 1,
    updated_at       timestamptz not null
);

create table depot (
    id        uuid primary key,
    name      text not null constraint depot_name_unique unique,
    address   text not null default '',
    latitude  double precision not null constraint depot_latitude_range check (latitude between -90 and 90),
    longitude double precision not null constraint depot_longitude_range check (longitude between -180 and 180)
);

create table person (
    id         uuid primary key,
    name       text not null constraint person_name_given check (name <> ''),
    email      text not null default '',
    phone      text not null default '',
    left_on    date,                                             -- no longer with the company
    version    integer not null default 1,
    updated_at timestamptz not null
);

create table license (
    id         uuid primary key,
    person_id  uuid not null constraint license_person references person,
    kind       text not null constraint license_kind check (kind in ('pesticide', 'fertiliser', 'training')),
    state      text not null constraint license_state_two_letters check (state ~ '^[A-Z]{2}$'),
    number     text not null constraint license_number_given check (number <> ''),
    category   text not null default '',
    valid_from date not null,
    valid_to   date not null,
    constraint license_valid_order check (valid_from <= valid_to),
    constraint license_unique unique (person_id, kind, state, number, valid_from)
);
create index license_by_person on license (person_id, kind);

create table crew (
    id            uuid primary key,
    name          text not null constraint crew_name_unique unique,
    depot_id      uuid not null constraint crew_depot references depot,
    shift_from    time not null,
    shift_to      time not null,
    work_days     smallint[] not null default '{1,2,3,4,5}'
        constraint crew_work_days_days check (work_days <@ '{1,2,3,4,5,6,7}'::smallint[]),
    days_off      date[] not null default '{}',
    abilities     text[] not null default '{mow,edge,look,water_check}',
    supervisor_id uuid constraint crew_supervisor references person,  -- licensed person who answers for its applications
    retired_on    date,
    version       integer not null default 1,
    updated_at    timestamptz not null,
    constraint crew_shift_order check (shift_from < shift_to)
);

create table crew_member (
    crew_id   uuid not null constraint crew_member_crew references crew,
    person_id uuid not null constraint crew_member_person references person,
    lead      boolean not null default false,
    primary key (crew_id, person_id)
);
create index crew_member_by_person on crew_member (person_id);

create table machine (
    id            uuid primary key,
    crew_id       uuid constraint machine_crew references crew,
    name          text not null constraint machine_name_unique unique,
    kind          text not null constraint machine_kind check (kind in ('reel', 'rotary', 'sprayer', 'spreader')),
    width_in      numeric constraint machine_width_positive check (width_in > 0),
    height_min_in numeric constraint machine_height_min_positive check (height_min_in > 0),
    height_max_in numeric,
    tank_gal      numeric constraint machine_tank_positive check (tank_gal > 0),
    hopper_lb     numeric constraint machine_hopper_positive check (hopper_lb > 0),
    calibrated_on date,
    retired_on    date,
    constraint machine_height_order check (height_min_in is null or height_max_in is null or height_min_in <= height_max_in)
);
create index machine_by_crew on machine (crew_id);

create table account (
    person_id     uuid primary key constraint account_person references person,
    sign_in_name  text not null constraint account_sign_in_name_unique unique
        constraint account_sign_in_name_lower check (sign_in_name = lower(sign_in_name) and sign_in_name <> ''),
    password_hash text not null,
    roles         text[] not null
        constraint account_roles_known check (roles <@ '{owner,office,technician}'::text[] and roles <> '{}'),
    closed_at     timestamptz,
    updated_at    timestamptz not null
);

-- Shape required by the session library's PostgreSQL store.
create table sessions (
    token  text primary key,
    data   bytea not null,
    expiry timestamptz not null
);
create index sessions_expiry on sessions (expiry);

create table api_token (
    id           uuid primary key,
    person_id    uuid not null constraint api_token_account references account (person_id),
    name         text not null constraint api_token_name_given check (name <> ''),
    token_hash   bytea not null constraint api_token_hash_unique unique,
    created_at   timestamptz not null,
    last_used_at timestamptz,
    revoked_at   timestamptz
);

create table sign_in_failure (
    key        text not null,          -- "name:<sign-in name>" or "from:<address>"
    failed_at  timestamptz not null
);
create index sign_in_failure_by_key on sign_in_failure (key, failed_at);

create table audit_entry (
    id        bigint generated always as identity primary key,
    at        timestamptz not null,
    person_id uuid constraint audit_entry_person references person,
    action    text not null,
    subject   text not null default '',
    detail    text not null default ''
);
create index audit_entry_by_time on audit_entry (at desc, id desc);
