-- The legal record of what was put down. Sealed text is what counts; columns
-- serve search. Each row carries the hash of the one before it.

-- +goose Up
create table application_record (
    id             uuid primary key,
    seq            bigint not null constraint application_record_seq_unique unique
        constraint application_record_seq_positive check (seq > 0),
    close_out_id   uuid constraint application_record_close_out references close_out,
    visit_id       uuid constraint application_record_visit references visit,
    property_id    uuid not null constraint application_record_property references property,
    product_id     uuid not null constraint application_record_product references product,
    supersedes_id  uuid constraint application_record_supersedes references application_record
        constraint application_record_supersedes_once unique,
    applied_on     date not null,
    started_at     timestamptz,
    finished_at    timestamptz,
    product_name   text not null,
    epa_reg_no     text not null,
    pesticide      boolean not null,
    restricted_use boolean not null,
    state          text not null,
    county         text not null,
    applicator_id  uuid not null constraint application_record_applicator references person,
    findings       jsonb not null,
    recorded_at    timestamptz not null,
    sealed_text    text not null,
    prev_hash      bytea not null constraint application_record_prev_hash_size check (octet_length(prev_hash) = 32),
    hash           bytea not null constraint application_record_hash_size check (octet_length(hash) = 32)
);
create index application_record_by_day on application_record (applied_on, seq);
create index application_record_by_property on application_record (property_id, applied_on);
create index application_record_by_visit on application_record (visit_id);

create table application_line (
    record_id         uuid not null constraint application_line_record references application_record,
    turf_area_id      uuid not null constraint application_line_turf_area references turf_area,
    product_id        uuid not null constraint application_line_product references product,
    applied_on        date not null,
    area_treated_sqft numeric not null constraint application_line_area_positive check (area_treated_sqft > 0),
    amount            numeric not null constraint application_line_amount_positive check (amount > 0),
    amount_unit       text not null constraint application_line_amount_unit check (amount_unit in ('kg', 'L')),
    primary key (record_id, turf_area_id)
);
create index application_line_by_turf_area on application_line (turf_area_id, applied_on);

create table application_chain (
    id   integer primary key constraint application_chain_single_row check (id = 1),
    seq  bigint not null,
    hash bytea not null constraint application_chain_hash_size check (octet_length(hash) = 32)
);
insert into application_chain (id, seq, hash) values (1, 0, decode(repeat('00', 32), 'hex'));

create trigger application_record_append_only before update or delete on application_record for each row execute function refuse_change();
create trigger application_record_no_truncate before truncate on application_record for each statement execute function refuse_change();
create trigger application_line_append_only before update or delete on application_line for each row execute function refuse_change();
create trigger application_line_no_truncate before truncate on application_line for each statement execute function refuse_change();
alter table stock_move add constraint stock_move_record foreign key (record_id) references application_record;
