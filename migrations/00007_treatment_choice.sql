-- Which product the company uses for which treatment, chosen by its licensed
-- person: the plan proposes nothing that nobody chose.

-- +goose Up
create table treatment_choice (
    id         uuid primary key,
    target     text not null,                                    -- feed, nutsedge, broadleaf_spring ...
    season     text not null constraint treatment_choice_season check (season in ('cool', 'warm', 'any')),
    work       text not null constraint treatment_choice_work check (work in ('spray', 'spread')),
    product_id uuid not null constraint treatment_choice_product references product,
    pattern    text not null,                                    -- use pattern of its label
    rate       numeric constraint treatment_choice_rate_positive check (rate > 0), -- empty: by the nitrogen wanted
    rate_unit  text not null default '',
    purpose    text not null,                                    -- pest or purpose, as a record will say it
    method     text not null default '',
    constraint treatment_choice_once unique (target, season)
);

alter table visit_task add column treatment text not null default '';

-- the day of the last reading; none: only the prior stands
alter table learned_growth add column as_of date;
