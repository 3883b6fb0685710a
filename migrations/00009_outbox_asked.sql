-- A refresh of one property, and learning of one area, answer every undone
-- question about it: they look for those by what they are about.

-- +goose Up
create index job_outbox_of_area on job_outbox ((payload ->> 'turf_area_id')) where done_at is null;
create index job_outbox_of_property on job_outbox ((payload ->> 'property_id')) where done_at is null;
