-- The company's days: when lawns are due, the plan, visits, and what came back
-- from the field. Facts from the field (close_out and what hangs on it) are
-- only ever appended.

-- +goose Up
create table due_window (
    turf_area_id uuid not null constraint due_window_turf_area references turf_area,
    work         text not null,
    opens        date,
    best         date,
    closes       date,
    tight        boolean not null default false,
    reason       text not null,
    detail       jsonb not null,                                 -- turf.Window whole: struck days, chances
    computed_at  timestamptz not null,
    primary key (turf_area_id, work),
    constraint due_window_order check (opens <= best and best <= closes),
    constraint due_window_whole check ((opens is null) = (best is null) and (best is null) = (closes is null))
);
create index due_window_by_best on due_window (best, turf_area_id, work);

-- What the program learned of an area's growth in one season: recomputed from
-- all its heights whenever one comes in.
create table learned_growth (
    turf_area_id uuid not null constraint learned_growth_turf_area references turf_area,
    season       smallint not null,
    ln_factor    double precision not null,                      -- ln k
    variance     double precision not null,
    steps        jsonb not null,                                 -- every step, to draw the history
    prior_version integer not null default 0,
    computed_at  timestamptz not null,
    primary key (turf_area_id, season)
);

create table growth_prior (
    species   text not null,
    version   integer not null,
    ln_mean   double precision not null,
    ln_sd     double precision not null,
    areas     integer not null,
    frozen_at timestamptz not null,
    primary key (species, version)
);

create table proposal (
    id          uuid primary key,
    from_date   date not null,
    to_date     date not null,
    state       text not null constraint proposal_state check (state in ('asked', 'computing', 'proposed', 'accepted', 'dropped', 'failed')),
    asked_by    uuid constraint proposal_asked_by references person,
    asked_at    timestamptz not null,
    computed_at timestamptz,
    basis       text not null default '',                        -- fingerprint of the visits it was made from
    document    jsonb,                                           -- plan.Proposal
    problem     text not null default '',
    version     integer not null default 1,
    decided_by  uuid constraint proposal_decided_by references person,
    decided_at  timestamptz,
    constraint proposal_order check (from_date <= to_date),
    constraint proposal_document_there check (state not in ('proposed', 'accepted') or document is not null)
);
create index proposal_by_time on proposal (asked_at desc, id);

create table route_sheet (
    crew_id         uuid not null constraint route_sheet_crew references crew,
    date            date not null,
    version         integer not null default 1,
    sent_at         timestamptz,
    driving_minutes numeric not null default 0,
    working_minutes numeric not null default 0,
    start_minute    smallint,                                    -- minutes after midnight
    end_minute      smallint,
    proposal_id     uuid constraint route_sheet_proposal references proposal,
    primary key (crew_id, date)
);
create index route_sheet_by_date on route_sheet (date);

create table visit (
    id              uuid primary key,
    property_id     uuid not null constraint visit_property references property,
    crew_id         uuid not null constraint visit_crew references crew,
    date            date not null,
    state           text not null constraint visit_state check (state in ('planned', 'out', 'closed', 'returned', 'withdrawn')),
    position        smallint not null,                           -- place in the route sheet, from 1
    arrive_minute   smallint not null,
    leave_minute    smallint not null,
    driving_minutes numeric not null default 0,                  -- drive to it from the stop before
    pinned          boolean not null default false,              -- a person placed it
    reason          text not null default '',                    -- why returned or withdrawn
    proposal_id     uuid constraint visit_proposal references proposal,
    version         integer not null default 1,
    updated_at      timestamptz not null,
    constraint visit_minutes_order check (arrive_minute <= leave_minute)
);
create index visit_by_day on visit (date, crew_id, position) where state <> 'withdrawn';
create index visit_by_property on visit (property_id, date desc);
create index visit_open on visit (date) where state in ('planned', 'out');

create table visit_task (
    id              uuid primary key,
    visit_id        uuid not null constraint visit_task_visit references visit,
    turf_area_id    uuid not null constraint visit_task_turf_area references turf_area,
    work            text not null,
    minutes         numeric not null constraint visit_task_minutes_positive check (minutes >= 0),
    due_opens       date,
    due_best        date,
    due_closes      date,
    why             text not null default '',
    product_id      uuid constraint visit_task_product references product,
    label_version_id uuid constraint visit_task_label_version references label_version,
    rate            numeric,                                     -- planned, in rate_unit
    rate_unit       text not null default '',
    target          text not null default '',                    -- pest or purpose
    findings        jsonb not null default '[]'                  -- label findings as they stood at planning
);
create index visit_task_by_visit on visit_task (visit_id);
create index visit_task_by_turf_area on visit_task (turf_area_id, work);

-- One report about one visit as a person sent it. Several may stand for one
-- visit; none is ever changed.
create table close_out (
    id           uuid primary key,                               -- made where it was written
    visit_id     uuid constraint close_out_visit references visit,
    content_hash bytea not null,
    content      text not null,                                  -- the entry as sent, canonical JSON
    outcome      text not null constraint close_out_outcome check (outcome in ('done', 'not_done')),
    reason       text not null default '',
    reported_by  uuid not null constraint close_out_person references person,
    started_at   timestamptz,
    finished_at  timestamptz not null,
    device_id    text not null default '',
    device_at    timestamptz,                                    -- the device's own clock when it was written
    received_at  timestamptz not null,                           -- real time
    marks        text[] not null default '{}',                   -- other_crew, withdrawn, second_report, late ...
    findings     jsonb not null default '[]'
);
create index close_out_by_visit on close_out (visit_id, received_at);
create index close_out_by_finish on close_out (finished_at desc, id);
create index close_out_marked on close_out (received_at desc) where marks <> '{}';

create table task_report (
    close_out_id   uuid not null constraint task_report_close_out references close_out,
    turf_area_id   uuid not null constraint task_report_turf_area references turf_area,
    work           text not null,
    done           boolean not null,
    done_on        date not null,                                -- business day of the work
    machine_id     uuid constraint task_report_machine references machine,
    height_set_in  numeric,
    clippings      text not null default '' constraint task_report_clippings check (clippings in ('', 'left', 'bagged')),
    note           text not null default '',
    primary key (close_out_id, turf_area_id, work)
);
create index task_report_by_turf_area on task_report (turf_area_id, work, done_on desc);

create table observation (
    id           uuid primary key,
    close_out_id uuid constraint observation_close_out references close_out,
    turf_area_id uuid not null constraint observation_turf_area references turf_area,
    kind         text not null constraint observation_kind check (kind in ('height_before', 'height_left', 'height', 'colour', 'density', 'weeds', 'disease', 'note')),
    value        numeric,                                        -- in the unit beside it
    unit         text not null default '',
    entered      text not null,                                  -- as the person wrote it: 3 1/4"
    seen_at      timestamptz not null,
    seen_on      date not null,
    person_id    uuid constraint observation_person references person
);
create index observation_by_turf_area on observation (turf_area_id, kind, seen_on);
create index observation_by_close_out on observation (close_out_id);

-- What came from the field and could not be taken in: kept whole for the office.
create table field_quarantine (
    id          bigint generated always as identity primary key,
    entry_id    text not null,
    content     text not null,
    content_hash bytea not null,
    code        text not null,
    reason      text not null,
    sent_by     uuid constraint field_quarantine_person references person,
    received_at timestamptz not null,
    settled_at  timestamptz,
    settled_by  uuid constraint field_quarantine_settled_by references person,
    settled_how text not null default '',
    constraint field_quarantine_unique unique (entry_id, content_hash)
);
create index field_quarantine_open on field_quarantine (received_at) where settled_at is null;

-- +goose StatementBegin
create function refuse_change() returns trigger language plpgsql as $$
begin
    raise exception '% rows are only ever added: % refused', tg_table_name, tg_op
        using errcode = 'restrict_violation', constraint = tg_table_name || '_append_only';
end $$;
-- +goose StatementEnd
create trigger close_out_append_only before update or delete on close_out for each row execute function refuse_change();
create trigger close_out_no_truncate before truncate on close_out for each statement execute function refuse_change();
create trigger task_report_append_only before update or delete on task_report for each row execute function refuse_change();
create trigger task_report_no_truncate before truncate on task_report for each statement execute function refuse_change();
create trigger observation_append_only before update or delete on observation for each row execute function refuse_change();
create trigger observation_no_truncate before truncate on observation for each statement execute function refuse_change();
