-- Work for later, files made and files taken in. PostgreSQL holds every
-- promise; the queue only carries.

-- +goose Up
create table job_outbox (
    id         bigint generated always as identity primary key,
    kind       text not null,
    payload    jsonb not null default '{}',
    run_at     timestamptz not null default now(),
    created_at timestamptz not null default now(),
    sent_epoch text,                                             -- life of the queue it was handed to
    sent_at    timestamptz,
    done_at    timestamptz,
    attempts   integer not null default 0,
    last_error text not null default '',
    failed_at  timestamptz                                       -- gave up: the office sees it
);
create index job_outbox_undone on job_outbox (run_at, id) where done_at is null and failed_at is null;
create index job_outbox_failed on job_outbox (failed_at desc) where failed_at is not null and done_at is null;

create table timetable (
    name        text primary key,
    last_run_on text not null default '',                        -- the period last asked for: a date or an hour
    updated_at  timestamptz not null
);

create table export_file (
    id           uuid primary key,
    kind         text not null constraint export_file_kind check (kind in ('application_records')),
    format       text not null constraint export_file_format check (format in ('xlsx', 'csv')),
    rule_id      text not null,
    from_date    date not null,
    to_date      date not null,
    state        text not null constraint export_file_state check (state in ('asked', 'running', 'ready', 'failed')),
    rows_done    bigint not null default 0,
    rows_total   bigint not null default 0,
    file_name    text not null default '',
    size_bytes   bigint not null default 0,
    sha256       bytea,
    chain_seq    bigint,
    chain_hash   bytea,
    problem      text not null default '',
    asked_by     uuid constraint export_file_asked_by references person,
    asked_at     timestamptz not null,
    finished_at  timestamptz,
    constraint export_file_order check (from_date <= to_date)
);
create index export_file_by_time on export_file (asked_at desc, id);

create table export_chunk (
    export_id uuid not null constraint export_chunk_export references export_file on delete cascade,
    attempt   integer not null default 0,
    number    integer not null,
    data      bytea not null,
    primary key (export_id, attempt, number)
);

create table import_run (
    id          uuid primary key,
    kind        text not null constraint import_run_kind check (kind in ('lawns', 'weather')),
    file_name   text not null,
    sha256      bytea not null,
    by_person   uuid constraint import_run_person references person,
    at          timestamptz not null,
    added       integer not null default 0,
    changed     integer not null default 0,
    unchanged   integer not null default 0,
    notes       jsonb not null default '[]'
);
create index import_run_by_time on import_run (at desc, id);
