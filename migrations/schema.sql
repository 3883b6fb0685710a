-- What the numbered migrations add up to, read back from PostgreSQL's catalogue.
-- Made by: go test ./migrations -update. Not run by anything.

create table account (
    person_id uuid not null,
    sign_in_name text not null,
    password_hash text not null,
    roles text[] not null,
    closed_at timestamp with time zone,
    updated_at timestamp with time zone not null,
    session_epoch integer not null default 1,
    version integer not null default 1,
    constraint account_pkey PRIMARY KEY (person_id),
    constraint account_person FOREIGN KEY (person_id) REFERENCES person(id),
    constraint account_roles_known CHECK (((roles <@ '{owner,office,technician}'::text[]) AND (roles <> '{}'::text[]))),
    constraint account_sign_in_name_lower CHECK (((sign_in_name = lower(sign_in_name)) AND (sign_in_name <> ''::text))),
    constraint account_sign_in_name_unique UNIQUE (sign_in_name)
);

create table api_token (
    id uuid not null,
    person_id uuid not null,
    name text not null,
    token_hash bytea not null,
    created_at timestamp with time zone not null,
    last_used_at timestamp with time zone,
    revoked_at timestamp with time zone,
    constraint api_token_pkey PRIMARY KEY (id),
    constraint api_token_account FOREIGN KEY (person_id) REFERENCES account(person_id),
    constraint api_token_hash_unique UNIQUE (token_hash),
    constraint api_token_name_given CHECK ((name <> ''::text))
);

create table application_chain (
    id integer not null,
    seq bigint not null,
    hash bytea not null,
    constraint application_chain_pkey PRIMARY KEY (id),
    constraint application_chain_hash_size CHECK ((octet_length(hash) = 32)),
    constraint application_chain_single_row CHECK ((id = 1))
);

create table application_line (
    record_id uuid not null,
    turf_area_id uuid not null,
    product_id uuid not null,
    applied_on date not null,
    area_treated_sqft numeric not null,
    amount numeric not null,
    amount_unit text not null,
    constraint application_line_pkey PRIMARY KEY (record_id, turf_area_id),
    constraint application_line_amount_positive CHECK ((amount > (0)::numeric)),
    constraint application_line_amount_unit CHECK ((amount_unit = ANY (ARRAY['kg'::text, 'L'::text]))),
    constraint application_line_area_positive CHECK ((area_treated_sqft > (0)::numeric)),
    constraint application_line_product FOREIGN KEY (product_id) REFERENCES product(id),
    constraint application_line_record FOREIGN KEY (record_id) REFERENCES application_record(id),
    constraint application_line_turf_area FOREIGN KEY (turf_area_id) REFERENCES turf_area(id)
);
CREATE INDEX application_line_by_turf_area ON public.application_line USING btree (turf_area_id, applied_on);
CREATE TRIGGER application_line_append_only BEFORE DELETE OR UPDATE ON public.application_line FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER application_line_no_truncate BEFORE TRUNCATE ON public.application_line FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

create table application_record (
    id uuid not null,
    seq bigint not null,
    close_out_id uuid,
    visit_id uuid,
    property_id uuid not null,
    product_id uuid not null,
    supersedes_id uuid,
    applied_on date not null,
    started_at timestamp with time zone,
    finished_at timestamp with time zone,
    product_name text not null,
    epa_reg_no text not null,
    pesticide boolean not null,
    restricted_use boolean not null,
    state text not null,
    county text not null,
    applicator_id uuid not null,
    findings jsonb not null,
    recorded_at timestamp with time zone not null,
    sealed_text text not null,
    prev_hash bytea not null,
    hash bytea not null,
    constraint application_record_pkey PRIMARY KEY (id),
    constraint application_record_applicator FOREIGN KEY (applicator_id) REFERENCES person(id),
    constraint application_record_close_out FOREIGN KEY (close_out_id) REFERENCES close_out(id),
    constraint application_record_hash_size CHECK ((octet_length(hash) = 32)),
    constraint application_record_prev_hash_size CHECK ((octet_length(prev_hash) = 32)),
    constraint application_record_product FOREIGN KEY (product_id) REFERENCES product(id),
    constraint application_record_property FOREIGN KEY (property_id) REFERENCES property(id),
    constraint application_record_seq_positive CHECK ((seq > 0)),
    constraint application_record_seq_unique UNIQUE (seq),
    constraint application_record_supersedes FOREIGN KEY (supersedes_id) REFERENCES application_record(id),
    constraint application_record_supersedes_once UNIQUE (supersedes_id),
    constraint application_record_visit FOREIGN KEY (visit_id) REFERENCES visit(id)
);
CREATE INDEX application_record_by_day ON public.application_record USING btree (applied_on, seq);
CREATE INDEX application_record_by_property ON public.application_record USING btree (property_id, applied_on);
CREATE INDEX application_record_by_visit ON public.application_record USING btree (visit_id);
CREATE TRIGGER application_record_append_only BEFORE DELETE OR UPDATE ON public.application_record FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER application_record_no_truncate BEFORE TRUNCATE ON public.application_record FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

create table audit_entry (
    id bigint not null generated always as identity,
    at timestamp with time zone not null,
    person_id uuid,
    action text not null,
    subject text not null default ''::text,
    detail text not null default ''::text,
    constraint audit_entry_pkey PRIMARY KEY (id),
    constraint audit_entry_person FOREIGN KEY (person_id) REFERENCES person(id)
);
CREATE INDEX audit_entry_by_time ON public.audit_entry USING btree (at DESC, id DESC);

create table close_out (
    id uuid not null,
    visit_id uuid,
    content_hash bytea not null,
    content text not null,
    outcome text not null,
    reason text not null default ''::text,
    reported_by uuid not null,
    started_at timestamp with time zone,
    finished_at timestamp with time zone not null,
    device_id text not null default ''::text,
    device_at timestamp with time zone,
    received_at timestamp with time zone not null,
    marks text[] not null default '{}'::text[],
    findings jsonb not null default '[]'::jsonb,
    constraint close_out_pkey PRIMARY KEY (id),
    constraint close_out_outcome CHECK ((outcome = ANY (ARRAY['done'::text, 'not_done'::text]))),
    constraint close_out_person FOREIGN KEY (reported_by) REFERENCES person(id),
    constraint close_out_visit FOREIGN KEY (visit_id) REFERENCES visit(id)
);
CREATE INDEX close_out_by_finish ON public.close_out USING btree (finished_at DESC, id);
CREATE INDEX close_out_by_visit ON public.close_out USING btree (visit_id, received_at);
CREATE INDEX close_out_marked ON public.close_out USING btree (received_at DESC) WHERE (marks <> '{}'::text[]);
CREATE TRIGGER close_out_append_only BEFORE DELETE OR UPDATE ON public.close_out FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER close_out_no_truncate BEFORE TRUNCATE ON public.close_out FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

create table company (
    id integer not null,
    name text not null,
    address text not null default ''::text,
    phone text not null default ''::text,
    business_license text not null default ''::text,
    time_zone text not null,
    state text not null,
    work_week smallint[] not null default '{1,2,3,4,5}'::smallint[],
    holidays date[] not null default '{}'::date[],
    jurisdictions text[] not null default '{}'::text[],
    weather_place_id text,
    clock_at timestamp with time zone,
    version integer not null default 1,
    updated_at timestamp with time zone not null,
    constraint company_pkey PRIMARY KEY (id),
    constraint company_name_given CHECK ((name <> ''::text)),
    constraint company_single_row CHECK ((id = 1)),
    constraint company_state_two_letters CHECK ((state ~ '^[A-Z]{2}$'::text)),
    constraint company_weather_place FOREIGN KEY (weather_place_id) REFERENCES weather_place(id),
    constraint company_work_week_days CHECK ((work_week <@ '{1,2,3,4,5,6,7}'::smallint[]))
);

create table crew (
    id uuid not null,
    name text not null,
    depot_id uuid not null,
    shift_from time without time zone not null,
    shift_to time without time zone not null,
    work_days smallint[] not null default '{1,2,3,4,5}'::smallint[],
    days_off date[] not null default '{}'::date[],
    abilities text[] not null default '{mow,edge,look,water_check}'::text[],
    supervisor_id uuid,
    retired_on date,
    version integer not null default 1,
    updated_at timestamp with time zone not null,
    constraint crew_pkey PRIMARY KEY (id),
    constraint crew_depot FOREIGN KEY (depot_id) REFERENCES depot(id),
    constraint crew_name_unique UNIQUE (name),
    constraint crew_shift_order CHECK ((shift_from < shift_to)),
    constraint crew_supervisor FOREIGN KEY (supervisor_id) REFERENCES person(id),
    constraint crew_work_days_days CHECK ((work_days <@ '{1,2,3,4,5,6,7}'::smallint[]))
);

create table crew_member (
    crew_id uuid not null,
    person_id uuid not null,
    lead boolean not null default false,
    constraint crew_member_pkey PRIMARY KEY (crew_id, person_id),
    constraint crew_member_crew FOREIGN KEY (crew_id) REFERENCES crew(id),
    constraint crew_member_person FOREIGN KEY (person_id) REFERENCES person(id)
);
CREATE INDEX crew_member_by_person ON public.crew_member USING btree (person_id);

create table customer (
    id uuid not null,
    import_key text,
    name text not null,
    email text not null default ''::text,
    phone text not null default ''::text,
    billing_address text not null default ''::text,
    version integer not null default 1,
    updated_at timestamp with time zone not null,
    constraint customer_pkey PRIMARY KEY (id),
    constraint customer_import_key_unique UNIQUE (import_key),
    constraint customer_name_given CHECK ((name <> ''::text))
);
CREATE INDEX customer_by_name ON public.customer USING btree (lower(name), id);

create table depot (
    id uuid not null,
    name text not null,
    address text not null default ''::text,
    latitude double precision not null,
    longitude double precision not null,
    version integer not null default 1,
    constraint depot_pkey PRIMARY KEY (id),
    constraint depot_latitude_range CHECK (((latitude >= ('-90'::integer)::double precision) AND (latitude <= (90)::double precision))),
    constraint depot_longitude_range CHECK (((longitude >= ('-180'::integer)::double precision) AND (longitude <= (180)::double precision))),
    constraint depot_name_unique UNIQUE (name)
);

create table due_window (
    turf_area_id uuid not null,
    work text not null,
    opens date,
    best date,
    closes date,
    tight boolean not null default false,
    reason text not null,
    detail jsonb not null,
    computed_at timestamp with time zone not null,
    constraint due_window_pkey PRIMARY KEY (turf_area_id, work),
    constraint due_window_order CHECK (((opens <= best) AND (best <= closes))),
    constraint due_window_turf_area FOREIGN KEY (turf_area_id) REFERENCES turf_area(id),
    constraint due_window_whole CHECK ((((opens IS NULL) = (best IS NULL)) AND ((best IS NULL) = (closes IS NULL))))
);
CREATE INDEX due_window_by_best ON public.due_window USING btree (best, turf_area_id, work);

create table export_chunk (
    export_id uuid not null,
    attempt integer not null default 0,
    number integer not null,
    data bytea not null,
    constraint export_chunk_pkey PRIMARY KEY (export_id, attempt, number),
    constraint export_chunk_export FOREIGN KEY (export_id) REFERENCES export_file(id) ON DELETE CASCADE
);

create table export_file (
    id uuid not null,
    kind text not null,
    format text not null,
    rule_id text not null,
    from_date date not null,
    to_date date not null,
    state text not null,
    rows_done bigint not null default 0,
    rows_total bigint not null default 0,
    file_name text not null default ''::text,
    size_bytes bigint not null default 0,
    sha256 bytea,
    chain_seq bigint,
    chain_hash bytea,
    problem text not null default ''::text,
    asked_by uuid,
    asked_at timestamp with time zone not null,
    finished_at timestamp with time zone,
    constraint export_file_pkey PRIMARY KEY (id),
    constraint export_file_asked_by FOREIGN KEY (asked_by) REFERENCES person(id),
    constraint export_file_format CHECK ((format = ANY (ARRAY['xlsx'::text, 'csv'::text]))),
    constraint export_file_kind CHECK ((kind = 'application_records'::text)),
    constraint export_file_order CHECK ((from_date <= to_date)),
    constraint export_file_state CHECK ((state = ANY (ARRAY['asked'::text, 'running'::text, 'ready'::text, 'failed'::text])))
);
CREATE INDEX export_file_by_time ON public.export_file USING btree (asked_at DESC, id);

create table field_quarantine (
    id bigint not null generated always as identity,
    entry_id text not null,
    content text not null,
    content_hash bytea not null,
    code text not null,
    reason text not null,
    sent_by uuid,
    received_at timestamp with time zone not null,
    settled_at timestamp with time zone,
    settled_by uuid,
    settled_how text not null default ''::text,
    constraint field_quarantine_pkey PRIMARY KEY (id),
    constraint field_quarantine_person FOREIGN KEY (sent_by) REFERENCES person(id),
    constraint field_quarantine_settled_by FOREIGN KEY (settled_by) REFERENCES person(id),
    constraint field_quarantine_unique UNIQUE (entry_id, content_hash)
);
CREATE INDEX field_quarantine_open ON public.field_quarantine USING btree (received_at) WHERE (settled_at IS NULL);

create table growth_prior (
    species text not null,
    version integer not null,
    ln_mean double precision not null,
    ln_sd double precision not null,
    areas integer not null,
    frozen_at timestamp with time zone not null,
    constraint growth_prior_pkey PRIMARY KEY (species, version)
);

create table import_run (
    id uuid not null,
    kind text not null,
    file_name text not null,
    sha256 bytea not null,
    by_person uuid,
    at timestamp with time zone not null,
    added integer not null default 0,
    changed integer not null default 0,
    unchanged integer not null default 0,
    notes jsonb not null default '[]'::jsonb,
    constraint import_run_pkey PRIMARY KEY (id),
    constraint import_run_kind CHECK ((kind = ANY (ARRAY['lawns'::text, 'weather'::text]))),
    constraint import_run_person FOREIGN KEY (by_person) REFERENCES person(id)
);
CREATE INDEX import_run_by_time ON public.import_run USING btree (at DESC, id);

create table job_outbox (
    id bigint not null generated always as identity,
    kind text not null,
    payload jsonb not null default '{}'::jsonb,
    run_at timestamp with time zone not null default now(),
    created_at timestamp with time zone not null default now(),
    sent_epoch text,
    sent_at timestamp with time zone,
    done_at timestamp with time zone,
    attempts integer not null default 0,
    last_error text not null default ''::text,
    failed_at timestamp with time zone,
    constraint job_outbox_pkey PRIMARY KEY (id)
);
CREATE INDEX job_outbox_done ON public.job_outbox USING btree (done_at) WHERE (done_at IS NOT NULL);
CREATE INDEX job_outbox_failed ON public.job_outbox USING btree (failed_at DESC) WHERE ((failed_at IS NOT NULL) AND (done_at IS NULL));
CREATE INDEX job_outbox_of_area ON public.job_outbox USING btree (((payload ->> 'turf_area_id'::text))) WHERE (done_at IS NULL);
CREATE INDEX job_outbox_of_property ON public.job_outbox USING btree (((payload ->> 'property_id'::text))) WHERE (done_at IS NULL);
CREATE INDEX job_outbox_undone ON public.job_outbox USING btree (run_at, id) WHERE ((done_at IS NULL) AND (failed_at IS NULL));

create table label_version (
    id uuid not null,
    product_id uuid not null,
    revision text not null,
    pattern text not null,
    in_force_from date not null,
    limits jsonb not null,
    entered_by uuid,
    entered_at timestamp with time zone not null,
    confirmed_by uuid,
    confirmed_at timestamp with time zone,
    constraint label_version_pkey PRIMARY KEY (id),
    constraint label_version_confirmed_by FOREIGN KEY (confirmed_by) REFERENCES person(id),
    constraint label_version_entered_by FOREIGN KEY (entered_by) REFERENCES person(id),
    constraint label_version_product FOREIGN KEY (product_id) REFERENCES product(id),
    constraint label_version_unique UNIQUE (product_id, pattern, revision)
);
CREATE INDEX label_version_by_product ON public.label_version USING btree (product_id, pattern, in_force_from DESC);

create table learned_growth (
    turf_area_id uuid not null,
    season smallint not null,
    ln_factor double precision not null,
    variance double precision not null,
    steps jsonb not null,
    prior_version integer not null default 0,
    computed_at timestamp with time zone not null,
    as_of date,
    constraint learned_growth_pkey PRIMARY KEY (turf_area_id, season),
    constraint learned_growth_turf_area FOREIGN KEY (turf_area_id) REFERENCES turf_area(id)
);

create table license (
    id uuid not null,
    person_id uuid not null,
    kind text not null,
    state text not null,
    number text not null,
    category text not null default ''::text,
    valid_from date not null,
    valid_to date not null,
    constraint license_pkey PRIMARY KEY (id),
    constraint license_kind CHECK ((kind = ANY (ARRAY['pesticide'::text, 'fertiliser'::text, 'training'::text]))),
    constraint license_number_given CHECK ((number <> ''::text)),
    constraint license_person FOREIGN KEY (person_id) REFERENCES person(id),
    constraint license_state_two_letters CHECK ((state ~ '^[A-Z]{2}$'::text)),
    constraint license_unique UNIQUE (person_id, kind, state, number, valid_from),
    constraint license_valid_order CHECK ((valid_from <= valid_to))
);
CREATE INDEX license_by_person ON public.license USING btree (person_id, kind);

create table lot (
    id uuid not null,
    product_id uuid not null,
    number text not null,
    received_on date not null,
    expires_on date,
    constraint lot_pkey PRIMARY KEY (id),
    constraint lot_number_given CHECK ((number <> ''::text)),
    constraint lot_number_unique UNIQUE (product_id, number),
    constraint lot_product FOREIGN KEY (product_id) REFERENCES product(id)
);

create table machine (
    id uuid not null,
    crew_id uuid,
    name text not null,
    kind text not null,
    width_in numeric,
    height_min_in numeric,
    height_max_in numeric,
    tank_gal numeric,
    hopper_lb numeric,
    calibrated_on date,
    retired_on date,
    version integer not null default 1,
    constraint machine_pkey PRIMARY KEY (id),
    constraint machine_crew FOREIGN KEY (crew_id) REFERENCES crew(id),
    constraint machine_height_min_positive CHECK ((height_min_in > (0)::numeric)),
    constraint machine_height_order CHECK (((height_min_in IS NULL) OR (height_max_in IS NULL) OR (height_min_in <= height_max_in))),
    constraint machine_hopper_positive CHECK ((hopper_lb > (0)::numeric)),
    constraint machine_kind CHECK ((kind = ANY (ARRAY['reel'::text, 'rotary'::text, 'sprayer'::text, 'spreader'::text]))),
    constraint machine_name_unique UNIQUE (name),
    constraint machine_tank_positive CHECK ((tank_gal > (0)::numeric)),
    constraint machine_width_positive CHECK ((width_in > (0)::numeric))
);
CREATE INDEX machine_by_crew ON public.machine USING btree (crew_id);

create table observation (
    id uuid not null,
    close_out_id uuid,
    turf_area_id uuid not null,
    kind text not null,
    value numeric,
    unit text not null default ''::text,
    entered text not null,
    seen_at timestamp with time zone not null,
    seen_on date not null,
    person_id uuid,
    constraint observation_pkey PRIMARY KEY (id),
    constraint observation_close_out FOREIGN KEY (close_out_id) REFERENCES close_out(id),
    constraint observation_kind CHECK ((kind = ANY (ARRAY['height_before'::text, 'height_left'::text, 'height'::text, 'colour'::text, 'density'::text, 'weeds'::text, 'disease'::text, 'note'::text]))),
    constraint observation_person FOREIGN KEY (person_id) REFERENCES person(id),
    constraint observation_turf_area FOREIGN KEY (turf_area_id) REFERENCES turf_area(id)
);
CREATE INDEX observation_by_close_out ON public.observation USING btree (close_out_id);
CREATE INDEX observation_by_turf_area ON public.observation USING btree (turf_area_id, kind, seen_on);
CREATE TRIGGER observation_append_only BEFORE DELETE OR UPDATE ON public.observation FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER observation_no_truncate BEFORE TRUNCATE ON public.observation FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

create table person (
    id uuid not null,
    name text not null,
    email text not null default ''::text,
    phone text not null default ''::text,
    left_on date,
    version integer not null default 1,
    updated_at timestamp with time zone not null,
    constraint person_pkey PRIMARY KEY (id),
    constraint person_name_given CHECK ((name <> ''::text))
);

create table product (
    id uuid not null,
    name text not null,
    kind text not null,
    form text not null,
    epa_reg_no text not null default ''::text,
    active_ingredient text not null default ''::text,
    concentration_percent numeric,
    formulation text not null default ''::text,
    restricted_use boolean not null default false,
    n_percent numeric,
    p2o5_percent numeric,
    k2o_percent numeric,
    n_slow_percent numeric,
    fe_percent numeric,
    retired_on date,
    version integer not null default 1,
    updated_at timestamp with time zone not null,
    constraint product_pkey PRIMARY KEY (id),
    constraint product_concentration_range CHECK (((concentration_percent >= (0)::numeric) AND (concentration_percent <= (100)::numeric))),
    constraint product_fe_range CHECK (((fe_percent >= (0)::numeric) AND (fe_percent <= (100)::numeric))),
    constraint product_form CHECK ((form = ANY (ARRAY['dry'::text, 'liquid'::text]))),
    constraint product_k_range CHECK (((k2o_percent >= (0)::numeric) AND (k2o_percent <= (100)::numeric))),
    constraint product_kind CHECK ((kind = ANY (ARRAY['pesticide'::text, 'fertiliser'::text, 'both'::text]))),
    constraint product_n_range CHECK (((n_percent >= (0)::numeric) AND (n_percent <= (100)::numeric))),
    constraint product_n_slow_range CHECK (((n_slow_percent >= (0)::numeric) AND (n_slow_percent <= (100)::numeric))),
    constraint product_name_unique UNIQUE (name),
    constraint product_p_range CHECK (((p2o5_percent >= (0)::numeric) AND (p2o5_percent <= (100)::numeric))),
    constraint product_pesticide_named CHECK (((kind = 'fertiliser'::text) OR (active_ingredient <> ''::text)))
);

create table property (
    id uuid not null,
    customer_id uuid not null,
    address text not null,
    address_key text not null,
    municipality text not null default ''::text,
    county text not null default ''::text,
    state text not null,
    zip_code text not null default ''::text,
    owner_name text not null default ''::text,
    latitude double precision,
    longitude double precision,
    access_note text not null default ''::text,
    gate_code text not null default ''::text,
    sensitivities text[] not null default '{}'::text[],
    water_distance_ft numeric,
    allowed_from time without time zone,
    allowed_to time without time zone,
    closed_weekdays smallint[] not null default '{}'::smallint[],
    jurisdictions text[] not null default '{}'::text[],
    weather_place_id text,
    retired_on date,
    version integer not null default 1,
    updated_at timestamp with time zone not null,
    constraint property_pkey PRIMARY KEY (id),
    constraint property_address_given CHECK ((address <> ''::text)),
    constraint property_address_unique UNIQUE (address_key),
    constraint property_allowed_order CHECK ((allowed_from < allowed_to)),
    constraint property_closed_weekdays_days CHECK ((closed_weekdays <@ '{1,2,3,4,5,6,7}'::smallint[])),
    constraint property_customer FOREIGN KEY (customer_id) REFERENCES customer(id),
    constraint property_latitude_range CHECK (((latitude >= ('-90'::integer)::double precision) AND (latitude <= (90)::double precision))),
    constraint property_longitude_range CHECK (((longitude >= ('-180'::integer)::double precision) AND (longitude <= (180)::double precision))),
    constraint property_place_whole CHECK (((latitude IS NULL) = (longitude IS NULL))),
    constraint property_state_two_letters CHECK ((state ~ '^[A-Z]{2}$'::text)),
    constraint property_water_distance_positive CHECK ((water_distance_ft >= (0)::numeric)),
    constraint property_weather_place FOREIGN KEY (weather_place_id) REFERENCES weather_place(id)
);
CREATE INDEX property_by_address ON public.property USING btree (lower(address), id);
CREATE INDEX property_by_customer ON public.property USING btree (customer_id);

create table proposal (
    id uuid not null,
    from_date date not null,
    to_date date not null,
    state text not null,
    asked_by uuid,
    asked_at timestamp with time zone not null,
    computed_at timestamp with time zone,
    basis text not null default ''::text,
    document jsonb,
    problem text not null default ''::text,
    version integer not null default 1,
    decided_by uuid,
    decided_at timestamp with time zone,
    constraint proposal_pkey PRIMARY KEY (id),
    constraint proposal_asked_by FOREIGN KEY (asked_by) REFERENCES person(id),
    constraint proposal_decided_by FOREIGN KEY (decided_by) REFERENCES person(id),
    constraint proposal_document_there CHECK (((state <> ALL (ARRAY['proposed'::text, 'accepted'::text])) OR (document IS NOT NULL))),
    constraint proposal_order CHECK ((from_date <= to_date)),
    constraint proposal_state CHECK ((state = ANY (ARRAY['asked'::text, 'computing'::text, 'proposed'::text, 'accepted'::text, 'dropped'::text, 'failed'::text])))
);
CREATE INDEX proposal_by_time ON public.proposal USING btree (asked_at DESC, id);

create table route_sheet (
    crew_id uuid not null,
    date date not null,
    version integer not null default 1,
    sent_at timestamp with time zone,
    driving_minutes numeric not null default 0,
    working_minutes numeric not null default 0,
    start_minute smallint,
    end_minute smallint,
    proposal_id uuid,
    constraint route_sheet_pkey PRIMARY KEY (crew_id, date),
    constraint route_sheet_crew FOREIGN KEY (crew_id) REFERENCES crew(id),
    constraint route_sheet_proposal FOREIGN KEY (proposal_id) REFERENCES proposal(id)
);
CREATE INDEX route_sheet_by_date ON public.route_sheet USING btree (date);

create table service_plan (
    id uuid not null,
    property_id uuid not null,
    season_from text not null,
    season_to text not null,
    least_days smallint,
    greatest_days smallint,
    price_basis text not null default 'per_visit'::text,
    price_cents bigint,
    services text[] not null,
    agreed_on date,
    ended_on date,
    version integer not null default 1,
    updated_at timestamp with time zone not null,
    constraint service_plan_pkey PRIMARY KEY (id),
    constraint service_plan_days_order CHECK (((least_days IS NULL) OR (greatest_days IS NULL) OR (least_days <= greatest_days))),
    constraint service_plan_greatest_days_range CHECK (((greatest_days >= 1) AND (greatest_days <= 120))),
    constraint service_plan_least_days_range CHECK (((least_days >= 1) AND (least_days <= 120))),
    constraint service_plan_price_basis CHECK ((price_basis = ANY (ARRAY['per_visit'::text, 'per_season'::text]))),
    constraint service_plan_price_positive CHECK ((price_cents >= 0)),
    constraint service_plan_property FOREIGN KEY (property_id) REFERENCES property(id),
    constraint service_plan_season_from CHECK ((season_from ~ '^[0-1][0-9]-[0-3][0-9]$'::text)),
    constraint service_plan_season_to CHECK ((season_to ~ '^[0-1][0-9]-[0-3][0-9]$'::text))
);
CREATE UNIQUE INDEX service_plan_one_running ON public.service_plan USING btree (property_id) WHERE (ended_on IS NULL);

create table sessions (
    token text not null,
    data bytea not null,
    expiry timestamp with time zone not null,
    constraint sessions_pkey PRIMARY KEY (token)
);
CREATE INDEX sessions_expiry ON public.sessions USING btree (expiry);

create table sign_in_failure (
    key text not null,
    failed_at timestamp with time zone not null
);
CREATE INDEX sign_in_failure_by_key ON public.sign_in_failure USING btree (key, failed_at);

create table stock_move (
    id uuid not null,
    lot_id uuid not null,
    kind text not null,
    amount numeric not null,
    amount_unit text not null,
    entered text not null,
    record_id uuid,
    at timestamp with time zone not null,
    by_person uuid,
    constraint stock_move_pkey PRIMARY KEY (id),
    constraint stock_move_kind CHECK ((kind = ANY (ARRAY['received'::text, 'used'::text, 'counted'::text, 'disposed'::text]))),
    constraint stock_move_lot FOREIGN KEY (lot_id) REFERENCES lot(id),
    constraint stock_move_person FOREIGN KEY (by_person) REFERENCES person(id),
    constraint stock_move_record FOREIGN KEY (record_id) REFERENCES application_record(id),
    constraint stock_move_unit CHECK ((amount_unit = ANY (ARRAY['kg'::text, 'L'::text])))
);
CREATE INDEX stock_move_by_lot ON public.stock_move USING btree (lot_id, at);

create table task_report (
    close_out_id uuid not null,
    turf_area_id uuid not null,
    work text not null,
    done boolean not null,
    done_on date not null,
    machine_id uuid,
    height_set_in numeric,
    clippings text not null default ''::text,
    note text not null default ''::text,
    constraint task_report_pkey PRIMARY KEY (close_out_id, turf_area_id, work),
    constraint task_report_clippings CHECK ((clippings = ANY (ARRAY[''::text, 'left'::text, 'bagged'::text]))),
    constraint task_report_close_out FOREIGN KEY (close_out_id) REFERENCES close_out(id),
    constraint task_report_machine FOREIGN KEY (machine_id) REFERENCES machine(id),
    constraint task_report_turf_area FOREIGN KEY (turf_area_id) REFERENCES turf_area(id)
);
CREATE INDEX task_report_by_turf_area ON public.task_report USING btree (turf_area_id, work, done_on DESC);
CREATE TRIGGER task_report_append_only BEFORE DELETE OR UPDATE ON public.task_report FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER task_report_no_truncate BEFORE TRUNCATE ON public.task_report FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

create table timetable (
    name text not null,
    last_run_on text not null default ''::text,
    updated_at timestamp with time zone not null,
    constraint timetable_pkey PRIMARY KEY (name)
);

create table treatment_choice (
    id uuid not null,
    target text not null,
    season text not null,
    work text not null,
    product_id uuid not null,
    pattern text not null,
    rate numeric,
    rate_unit text not null default ''::text,
    purpose text not null,
    method text not null default ''::text,
    constraint treatment_choice_pkey PRIMARY KEY (id),
    constraint treatment_choice_once UNIQUE (target, season),
    constraint treatment_choice_product FOREIGN KEY (product_id) REFERENCES product(id),
    constraint treatment_choice_rate_positive CHECK ((rate > (0)::numeric)),
    constraint treatment_choice_season CHECK ((season = ANY (ARRAY['cool'::text, 'warm'::text, 'any'::text]))),
    constraint treatment_choice_work CHECK ((work = ANY (ARRAY['spray'::text, 'spread'::text])))
);

create table turf_area (
    id uuid not null,
    property_id uuid not null,
    name text not null,
    outline jsonb,
    area_sqft numeric not null,
    area_method text not null,
    area_measured_on date,
    species text not null default 'unknown'::text,
    cutting_height_in numeric not null,
    mower text,
    exposure text not null default 'sun'::text,
    slope_percent numeric not null default 0,
    soil text not null default 'unknown'::text,
    irrigated boolean not null default false,
    irrigation_note text not null default ''::text,
    n_lb_per_1000sqft_year numeric,
    note text not null default ''::text,
    retired_on date,
    version integer not null default 1,
    updated_at timestamp with time zone not null,
    constraint turf_area_pkey PRIMARY KEY (id),
    constraint turf_area_area_method CHECK ((area_method = ANY (ARRAY['outline'::text, 'wheel'::text, 'tape'::text, 'plan'::text, 'estimate'::text, 'given'::text]))),
    constraint turf_area_area_positive CHECK ((area_sqft > (0)::numeric)),
    constraint turf_area_exposure CHECK ((exposure = ANY (ARRAY['sun'::text, 'part_shade'::text, 'shade'::text]))),
    constraint turf_area_height_range CHECK (((cutting_height_in > (0)::numeric) AND (cutting_height_in <= (8)::numeric))),
    constraint turf_area_mower CHECK ((mower = ANY (ARRAY['reel'::text, 'rotary'::text]))),
    constraint turf_area_name_given CHECK ((name <> ''::text)),
    constraint turf_area_name_unique UNIQUE (property_id, name),
    constraint turf_area_nitrogen_range CHECK (((n_lb_per_1000sqft_year >= (0)::numeric) AND (n_lb_per_1000sqft_year <= (10)::numeric))),
    constraint turf_area_property FOREIGN KEY (property_id) REFERENCES property(id),
    constraint turf_area_slope_range CHECK (((slope_percent >= (0)::numeric) AND (slope_percent <= (100)::numeric)))
);

create table visit (
    id uuid not null,
    property_id uuid not null,
    crew_id uuid not null,
    date date not null,
    state text not null,
    "position" smallint not null,
    arrive_minute smallint not null,
    leave_minute smallint not null,
    driving_minutes numeric not null default 0,
    pinned boolean not null default false,
    reason text not null default ''::text,
    proposal_id uuid,
    version integer not null default 1,
    updated_at timestamp with time zone not null,
    constraint visit_pkey PRIMARY KEY (id),
    constraint visit_crew FOREIGN KEY (crew_id) REFERENCES crew(id),
    constraint visit_minutes_order CHECK ((arrive_minute <= leave_minute)),
    constraint visit_property FOREIGN KEY (property_id) REFERENCES property(id),
    constraint visit_proposal FOREIGN KEY (proposal_id) REFERENCES proposal(id),
    constraint visit_state CHECK ((state = ANY (ARRAY['planned'::text, 'out'::text, 'closed'::text, 'returned'::text, 'withdrawn'::text])))
);
CREATE INDEX visit_by_day ON public.visit USING btree (date, crew_id, "position") WHERE (state <> 'withdrawn'::text);
CREATE INDEX visit_by_property ON public.visit USING btree (property_id, date DESC);
CREATE INDEX visit_open ON public.visit USING btree (date) WHERE (state = ANY (ARRAY['planned'::text, 'out'::text]));

create table visit_task (
    id uuid not null,
    visit_id uuid not null,
    turf_area_id uuid not null,
    work text not null,
    minutes numeric not null,
    due_opens date,
    due_best date,
    due_closes date,
    why text not null default ''::text,
    product_id uuid,
    label_version_id uuid,
    rate numeric,
    rate_unit text not null default ''::text,
    target text not null default ''::text,
    findings jsonb not null default '[]'::jsonb,
    treatment text not null default ''::text,
    constraint visit_task_pkey PRIMARY KEY (id),
    constraint visit_task_label_version FOREIGN KEY (label_version_id) REFERENCES label_version(id),
    constraint visit_task_minutes_positive CHECK ((minutes >= (0)::numeric)),
    constraint visit_task_product FOREIGN KEY (product_id) REFERENCES product(id),
    constraint visit_task_turf_area FOREIGN KEY (turf_area_id) REFERENCES turf_area(id),
    constraint visit_task_visit FOREIGN KEY (visit_id) REFERENCES visit(id)
);
CREATE INDEX visit_task_by_turf_area ON public.visit_task USING btree (turf_area_id, work);
CREATE INDEX visit_task_by_visit ON public.visit_task USING btree (visit_id);

create table weather_day (
    place_id text not null,
    date date not null,
    temp_max_c numeric not null,
    temp_min_c numeric not null,
    precipitation_mm numeric,
    wind_mps numeric,
    quality text not null,
    source text not null default ''::text,
    updated_at timestamp with time zone not null,
    constraint weather_day_pkey PRIMARY KEY (place_id, date),
    constraint weather_day_place FOREIGN KEY (place_id) REFERENCES weather_place(id),
    constraint weather_day_precipitation_range CHECK (((precipitation_mm >= (0)::numeric) AND (precipitation_mm <= (2000)::numeric))),
    constraint weather_day_quality CHECK ((quality = ANY (ARRAY['observed'::text, 'station'::text, 'forecast'::text, 'estimated'::text, 'filled'::text, 'normal'::text]))),
    constraint weather_day_temp_max_range CHECK (((temp_max_c >= ('-70'::integer)::numeric) AND (temp_max_c <= (60)::numeric))),
    constraint weather_day_temp_min_range CHECK (((temp_min_c >= ('-80'::integer)::numeric) AND (temp_min_c <= (50)::numeric))),
    constraint weather_day_temp_order CHECK ((temp_min_c <= temp_max_c)),
    constraint weather_day_wind_range CHECK (((wind_mps >= (0)::numeric) AND (wind_mps <= (120)::numeric)))
);

create table weather_place (
    id text not null,
    name text not null,
    latitude double precision not null,
    longitude double precision not null,
    elevation_m numeric not null default 0,
    constraint weather_place_pkey PRIMARY KEY (id),
    constraint weather_place_latitude_range CHECK (((latitude >= ('-90'::integer)::double precision) AND (latitude <= (90)::double precision))),
    constraint weather_place_longitude_range CHECK (((longitude >= ('-180'::integer)::double precision) AND (longitude <= (180)::double precision)))
);

CREATE OR REPLACE FUNCTION public.refuse_change()
 RETURNS trigger
 LANGUAGE plpgsql
AS $function$
begin
    raise exception '% rows are only ever added: % refused', tg_table_name, tg_op
        using errcode = 'restrict_violation', constraint = tg_table_name || '_append_only';
end $function$;
