-- Jobs done long ago are dropped nightly, and a refresh of windows asks which
-- others were done since it began: both look by when a job was done.

-- +goose Up
create index job_outbox_done on job_outbox (done_at) where done_at is not null;
