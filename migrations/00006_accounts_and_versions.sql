-- Ending a person's sessions needs no list of them: each carries the epoch of
-- the account at sign-in, and closing the account or setting its password
-- starts a new one. Depots, machines and accounts get the version that every
-- edit must name.

-- +goose Up
alter table account add column session_epoch integer not null default 1;
alter table account add column version integer not null default 1;
alter table depot add column version integer not null default 1;
alter table machine add column version integer not null default 1;
