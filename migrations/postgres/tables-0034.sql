-- The tables at revision 0034. Written by python -m tests.shop.store.baseline; not to be edited.
CREATE TABLE alembic_version (version_num varchar(32) CONSTRAINT alembic_version_pkc PRIMARY KEY);
INSERT INTO alembic_version VALUES ('0034');
CREATE TABLE "change" (
  "seq" bigint DEFAULT next_id('change', 'seq') NOT NULL,
  "row_table" text COLLATE "C" NOT NULL,
  "row_id" bigint NOT NULL,
  CONSTRAINT pk_change PRIMARY KEY ("seq")
);
CREATE TABLE "channel_check" (
  "id" bigint DEFAULT next_id('channel_check') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "channels" text COLLATE "C" NOT NULL,
  "kind" text COLLATE "C" NOT NULL,
  "bore" bigint,
  "spread" double precision,
  "depth" double precision,
  "figures" text COLLATE "C" NOT NULL,
  "by" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  CONSTRAINT ck_channel_check_bore CHECK ((kind = 'wiggle') <> (bore IS NULL)),
  CONSTRAINT ck_channel_check_kind CHECK (kind IN ('ambient', 'tee', 'wiggle')),
  CONSTRAINT ck_channel_check_spread CHECK ((kind = 'wiggle') = (spread IS NULL)),
  CONSTRAINT pk_channel_check PRIMARY KEY ("id"),
  CONSTRAINT uq_channel_check_key UNIQUE ("key")
);
CREATE INDEX ix_channel_check_channels ON "channel_check" ("channels");
CREATE TABLE "engine" (
  "id" bigint DEFAULT next_id('engine') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "serial" text COLLATE "C" NOT NULL,
  "serial_folded" text COLLATE "C" NOT NULL,
  "description" text COLLATE "C" NOT NULL,
  "displacement" double precision NOT NULL,
  "displacement_unit" text COLLATE "C" NOT NULL,
  "customer" text COLLATE "C" NOT NULL,
  "vehicle" text COLLATE "C" NOT NULL,
  "idle_speed" double precision NOT NULL,
  "registered_at" text COLLATE "C" NOT NULL,
  "version" bigint NOT NULL,
  CONSTRAINT pk_engine PRIMARY KEY ("id"),
  CONSTRAINT uq_engine_key UNIQUE ("key"),
  CONSTRAINT uq_engine_serial_folded UNIQUE ("serial_folded")
);
CREATE TABLE "feed" (
  "id" bigint DEFAULT next_id('feed') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "name" text COLLATE "C" NOT NULL,
  "token" text COLLATE "C" NOT NULL,
  "active" bigint NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  "supersedes_id" bigint,
  CONSTRAINT fk_feed_supersedes_id_feed FOREIGN KEY ("supersedes_id") REFERENCES "feed" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_feed PRIMARY KEY ("id"),
  CONSTRAINT uq_feed_key UNIQUE ("key"),
  CONSTRAINT uq_feed_supersedes_id UNIQUE ("supersedes_id")
);
CREATE TABLE "meter" (
  "id" bigint DEFAULT next_id('meter') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "name" text COLLATE "C" NOT NULL,
  "quantity" text COLLATE "C" NOT NULL,
  "unit" text COLLATE "C" NOT NULL,
  "step" double precision NOT NULL,
  "low" double precision NOT NULL,
  "high" double precision NOT NULL,
  "repeatability" double precision NOT NULL,
  "repeatability_from" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "reference" text COLLATE "C",
  CONSTRAINT ck_meter_reference CHECK (reference IS NULL OR (reference = 'absolute' AND quantity = 'vacuum')),
  CONSTRAINT pk_meter PRIMARY KEY ("id"),
  CONSTRAINT uq_meter_key UNIQUE ("key")
);
CREATE TABLE "person" (
  "id" bigint DEFAULT next_id('person') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "name" text COLLATE "C" NOT NULL,
  "pin" text COLLATE "C" NOT NULL,
  "active" bigint NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  "supersedes_id" bigint,
  CONSTRAINT fk_person_supersedes_id_person FOREIGN KEY ("supersedes_id") REFERENCES "person" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_person PRIMARY KEY ("id"),
  CONSTRAINT uq_person_key UNIQUE ("key"),
  CONSTRAINT uq_person_supersedes_id UNIQUE ("supersedes_id")
);
CREATE TABLE "pin_try" (
  "id" bigint DEFAULT next_id('pin_try') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "name" text COLLATE "C" NOT NULL,
  "right" bigint NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  CONSTRAINT pk_pin_try PRIMARY KEY ("id"),
  CONSTRAINT uq_pin_try_key UNIQUE ("key")
);
CREATE INDEX ix_pin_try_name ON "pin_try" ("name");
CREATE TABLE "program" (
  "id" bigint DEFAULT next_id('program') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "name" text COLLATE "C" NOT NULL,
  "token" text COLLATE "C" NOT NULL,
  "scopes" text COLLATE "C" NOT NULL,
  "good_until" text COLLATE "C" NOT NULL,
  "active" bigint NOT NULL,
  "made_at" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  "supersedes_id" bigint,
  CONSTRAINT fk_program_supersedes_id_program FOREIGN KEY ("supersedes_id") REFERENCES "program" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_program PRIMARY KEY ("id"),
  CONSTRAINT uq_program_key UNIQUE ("key"),
  CONSTRAINT uq_program_supersedes_id UNIQUE ("supersedes_id")
);
CREATE TABLE "proved" (
  "row_table" text COLLATE "C" NOT NULL,
  "up_to" bigint NOT NULL,
  "sound" bigint NOT NULL,
  "unsealed" bigint NOT NULL,
  "carried_at" text COLLATE "C" NOT NULL,
  "whole_at" text COLLATE "C" NOT NULL,
  CONSTRAINT pk_proved PRIMARY KEY ("row_table")
);
CREATE TABLE "setup" (
  "id" bigint DEFAULT next_id('setup') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "said" text COLLATE "C" NOT NULL,
  "why" text COLLATE "C" NOT NULL,
  "by" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  CONSTRAINT pk_setup PRIMARY KEY ("id"),
  CONSTRAINT uq_setup_key UNIQUE ("key")
);
CREATE TABLE "tablet" (
  "id" bigint DEFAULT next_id('tablet') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "name" text COLLATE "C" NOT NULL,
  "token" text COLLATE "C" NOT NULL,
  "active" bigint NOT NULL,
  "paired_at" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  "supersedes_id" bigint,
  CONSTRAINT fk_tablet_supersedes_id_tablet FOREIGN KEY ("supersedes_id") REFERENCES "tablet" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_tablet PRIMARY KEY ("id"),
  CONSTRAINT uq_tablet_key UNIQUE ("key"),
  CONSTRAINT uq_tablet_supersedes_id UNIQUE ("supersedes_id")
);
CREATE TABLE "fitting" (
  "id" bigint DEFAULT next_id('fitting') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "engine_id" bigint NOT NULL,
  "number" bigint NOT NULL,
  "layout" text COLLATE "C" NOT NULL,
  "hardware" text COLLATE "C" NOT NULL,
  "why" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  CONSTRAINT fk_fitting_engine_id_engine FOREIGN KEY ("engine_id") REFERENCES "engine" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_fitting PRIMARY KEY ("id"),
  CONSTRAINT uq_fitting_engine_id_number UNIQUE ("engine_id", "number"),
  CONSTRAINT uq_fitting_key UNIQUE ("key")
);
CREATE TABLE "meter_due" (
  "id" bigint DEFAULT next_id('meter_due') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "meter_id" bigint NOT NULL,
  "due" text COLLATE "C" NOT NULL,
  "why" text COLLATE "C" NOT NULL,
  "by" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  CONSTRAINT fk_meter_due_meter_id_meter FOREIGN KEY ("meter_id") REFERENCES "meter" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_meter_due PRIMARY KEY ("id"),
  CONSTRAINT uq_meter_due_key UNIQUE ("key")
);
CREATE TABLE "practice" (
  "id" bigint DEFAULT next_id('practice') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "engine_id" bigint NOT NULL,
  "seed" bigint NOT NULL,
  "trouble" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  CONSTRAINT fk_practice_engine_id_engine FOREIGN KEY ("engine_id") REFERENCES "engine" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_practice PRIMARY KEY ("id"),
  CONSTRAINT uq_practice_engine_id UNIQUE ("engine_id"),
  CONSTRAINT uq_practice_key UNIQUE ("key")
);
CREATE TABLE "program_write" (
  "id" bigint DEFAULT next_id('program_write') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "program_id" bigint NOT NULL,
  "row_table" text COLLATE "C" NOT NULL,
  "row_id" bigint NOT NULL,
  CONSTRAINT fk_program_write_program_id_program FOREIGN KEY ("program_id") REFERENCES "program" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_program_write PRIMARY KEY ("id"),
  CONSTRAINT uq_program_write_key UNIQUE ("key"),
  CONSTRAINT uq_program_write_row_table_row_id UNIQUE ("row_table", "row_id")
);
CREATE TABLE "study" (
  "id" bigint DEFAULT next_id('study') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "meter_id" bigint NOT NULL,
  "other_id" bigint,
  "place" text COLLATE "C" NOT NULL,
  "by" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  "second_place" text COLLATE "C",
  "second_by" text COLLATE "C",
  CONSTRAINT fk_study_meter_id_meter FOREIGN KEY ("meter_id") REFERENCES "meter" ("id") ON DELETE RESTRICT,
  CONSTRAINT fk_study_other_id_meter FOREIGN KEY ("other_id") REFERENCES "meter" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_study PRIMARY KEY ("id"),
  CONSTRAINT uq_study_key UNIQUE ("key")
);
CREATE TABLE "study_reading" (
  "id" bigint DEFAULT next_id('study_reading') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "study_id" bigint NOT NULL,
  "meter_id" bigint NOT NULL,
  "place" bigint NOT NULL,
  "value" double precision NOT NULL,
  "by" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  "supersedes_id" bigint,
  CONSTRAINT fk_study_reading_meter_id_meter FOREIGN KEY ("meter_id") REFERENCES "meter" ("id") ON DELETE RESTRICT,
  CONSTRAINT fk_study_reading_study_id_study FOREIGN KEY ("study_id") REFERENCES "study" ("id") ON DELETE RESTRICT,
  CONSTRAINT fk_study_reading_supersedes_id_study_reading FOREIGN KEY ("supersedes_id") REFERENCES "study_reading" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_study_reading PRIMARY KEY ("id"),
  CONSTRAINT uq_study_reading_key UNIQUE ("key"),
  CONSTRAINT uq_study_reading_supersedes_id UNIQUE ("supersedes_id")
);
CREATE INDEX ix_study_reading_study_id ON "study_reading" ("study_id");
CREATE TABLE "visit" (
  "id" bigint DEFAULT next_id('visit') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "engine_id" bigint NOT NULL,
  "fitting_id" bigint NOT NULL,
  "meter_id" bigint NOT NULL,
  "number" bigint NOT NULL,
  "place" text COLLATE "C" NOT NULL,
  "job" text COLLATE "C" NOT NULL,
  "why" text COLLATE "C" NOT NULL,
  "by" text COLLATE "C" NOT NULL,
  "opened_at" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "setup" bigint,
  "changed" text COLLATE "C",
  "meter_own" double precision,
  "meter_low" double precision,
  "meter_limit" double precision,
  "intake" text COLLATE "C",
  "intake_note" text COLLATE "C",
  "runs" text COLLATE "C",
  CONSTRAINT fk_visit_engine_id_engine FOREIGN KEY ("engine_id") REFERENCES "engine" ("id") ON DELETE RESTRICT,
  CONSTRAINT fk_visit_fitting_id_fitting FOREIGN KEY ("fitting_id") REFERENCES "fitting" ("id") ON DELETE RESTRICT,
  CONSTRAINT fk_visit_meter_id_meter FOREIGN KEY ("meter_id") REFERENCES "meter" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_visit PRIMARY KEY ("id"),
  CONSTRAINT uq_visit_engine_id_number UNIQUE ("engine_id", "number"),
  CONSTRAINT uq_visit_key UNIQUE ("key")
);
CREATE TABLE "check" (
  "id" bigint DEFAULT next_id('check') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "visit_id" bigint NOT NULL,
  "phase" text COLLATE "C" NOT NULL,
  "item" text COLLATE "C" NOT NULL,
  "number" double precision,
  "text" text COLLATE "C" NOT NULL,
  "after_move" bigint NOT NULL,
  "by" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  "supersedes_id" bigint,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  CONSTRAINT fk_check_supersedes_id_check FOREIGN KEY ("supersedes_id") REFERENCES "check" ("id") ON DELETE RESTRICT,
  CONSTRAINT fk_check_visit_id_visit FOREIGN KEY ("visit_id") REFERENCES "visit" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_check PRIMARY KEY ("id"),
  CONSTRAINT uq_check_key UNIQUE ("key"),
  CONSTRAINT uq_check_supersedes_id UNIQUE ("supersedes_id")
);
CREATE INDEX ix_check_visit_id ON "check" ("visit_id");
CREATE TABLE "correction" (
  "id" bigint DEFAULT next_id('correction') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "visit_id" bigint NOT NULL,
  "number" bigint NOT NULL,
  "after_reading" bigint NOT NULL,
  "after_check" bigint NOT NULL,
  "why" text COLLATE "C" NOT NULL,
  "by" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  CONSTRAINT fk_correction_visit_id_visit FOREIGN KEY ("visit_id") REFERENCES "visit" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_correction PRIMARY KEY ("id"),
  CONSTRAINT uq_correction_key UNIQUE ("key"),
  CONSTRAINT uq_correction_visit_id_number UNIQUE ("visit_id", "number")
);
CREATE TABLE "engine_event" (
  "id" bigint DEFAULT next_id('engine_event') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "visit_id" bigint NOT NULL,
  "what" text COLLATE "C" NOT NULL,
  "after_reading" bigint NOT NULL,
  "after_check" bigint NOT NULL,
  "by" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  CONSTRAINT ck_engine_event_what CHECK (what IN ('started', 'stopped')),
  CONSTRAINT fk_engine_event_visit_id_visit FOREIGN KEY ("visit_id") REFERENCES "visit" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_engine_event PRIMARY KEY ("id"),
  CONSTRAINT uq_engine_event_key UNIQUE ("key")
);
CREATE INDEX ix_engine_event_visit_id ON "engine_event" ("visit_id");
CREATE TABLE "filling" (
  "id" bigint DEFAULT next_id('filling') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "visit_id" bigint NOT NULL,
  "active" bigint NOT NULL,
  "by" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  CONSTRAINT fk_filling_visit_id_visit FOREIGN KEY ("visit_id") REFERENCES "visit" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_filling PRIMARY KEY ("id"),
  CONSTRAINT uq_filling_key UNIQUE ("key")
);
CREATE INDEX ix_filling_visit_id ON "filling" ("visit_id");
CREATE TABLE "finding" (
  "id" bigint DEFAULT next_id('finding') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "visit_id" bigint NOT NULL,
  "bore" bigint,
  "bank" text COLLATE "C" NOT NULL,
  "kind" text COLLATE "C" NOT NULL,
  "value" double precision,
  "word" text COLLATE "C",
  "why" text COLLATE "C",
  "unit" text COLLATE "C" NOT NULL,
  "spread" double precision,
  "source" text COLLATE "C" NOT NULL,
  "file" text COLLATE "C",
  "after_move" bigint NOT NULL,
  "by" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  "supersedes_id" bigint,
  "after_reading" bigint,
  CONSTRAINT ck_finding_one_of_three CHECK (num_nonnulls(value, word, why) = 1),
  CONSTRAINT ck_finding_one_place CHECK (bore IS NULL OR bank = ''),
  CONSTRAINT fk_finding_supersedes_id_finding FOREIGN KEY ("supersedes_id") REFERENCES "finding" ("id") ON DELETE RESTRICT,
  CONSTRAINT fk_finding_visit_id_visit FOREIGN KEY ("visit_id") REFERENCES "visit" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_finding PRIMARY KEY ("id"),
  CONSTRAINT uq_finding_key UNIQUE ("key"),
  CONSTRAINT uq_finding_supersedes_id UNIQUE ("supersedes_id")
);
CREATE INDEX ix_finding_visit_id ON "finding" ("visit_id");
CREATE TABLE "hours_correction" (
  "id" bigint DEFAULT next_id('hours_correction') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "visit_id" bigint NOT NULL,
  "phase" text COLLATE "C" NOT NULL,
  "seconds" double precision NOT NULL,
  "why" text COLLATE "C" NOT NULL,
  "by" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  CONSTRAINT ck_hours_correction_seconds CHECK (seconds >= 0),
  CONSTRAINT fk_hours_correction_visit_id_visit FOREIGN KEY ("visit_id") REFERENCES "visit" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_hours_correction PRIMARY KEY ("id"),
  CONSTRAINT uq_hours_correction_key UNIQUE ("key")
);
CREATE INDEX ix_hours_correction_visit_id ON "hours_correction" ("visit_id");
CREATE TABLE "look" (
  "id" bigint DEFAULT next_id('look') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "visit_id" bigint NOT NULL,
  "window" double precision NOT NULL,
  "rate" double precision NOT NULL,
  "speed" double precision,
  "channels" text COLLATE "C" NOT NULL,
  "trace" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  "check_id" bigint,
  CONSTRAINT ck_look_speed CHECK (speed IS NULL OR speed > 0),
  CONSTRAINT ck_look_window CHECK ("window" > 0),
  CONSTRAINT fk_look_visit_id_visit FOREIGN KEY ("visit_id") REFERENCES "visit" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_look PRIMARY KEY ("id"),
  CONSTRAINT uq_look_key UNIQUE ("key")
);
CREATE INDEX ix_look_visit_id ON "look" ("visit_id");
CREATE TABLE "move" (
  "id" bigint DEFAULT next_id('move') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "visit_id" bigint NOT NULL,
  "phase" text COLLATE "C" NOT NULL,
  "kind" text COLLATE "C" NOT NULL,
  "bank" text COLLATE "C" NOT NULL,
  "near" bigint,
  "far" bigint,
  "amount" double precision NOT NULL,
  "leaves" text COLLATE "C" NOT NULL,
  "advised" bigint NOT NULL,
  "after_reading" bigint NOT NULL,
  "by" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  "supersedes_id" bigint,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "taken_back" bigint,
  "power_off" bigint,
  CONSTRAINT ck_move_kind CHECK (kind <> ''),
  CONSTRAINT ck_move_power_off CHECK (power_off IS NULL OR power_off = 1),
  CONSTRAINT ck_move_taken_back CHECK (taken_back IS NULL OR (taken_back = 1 AND supersedes_id IS NOT NULL)),
  CONSTRAINT fk_move_supersedes_id_move FOREIGN KEY ("supersedes_id") REFERENCES "move" ("id") ON DELETE RESTRICT,
  CONSTRAINT fk_move_visit_id_visit FOREIGN KEY ("visit_id") REFERENCES "visit" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_move PRIMARY KEY ("id"),
  CONSTRAINT uq_move_key UNIQUE ("key"),
  CONSTRAINT uq_move_supersedes_id UNIQUE ("supersedes_id")
);
CREATE INDEX ix_move_visit_id ON "move" ("visit_id");
CREATE TABLE "override" (
  "id" bigint DEFAULT next_id('override') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "visit_id" bigint NOT NULL,
  "phase" text COLLATE "C" NOT NULL,
  "missing" text COLLATE "C" NOT NULL,
  "why" text COLLATE "C" NOT NULL,
  "by" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "gate" text COLLATE "C",
  CONSTRAINT fk_override_visit_id_visit FOREIGN KEY ("visit_id") REFERENCES "visit" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_override PRIMARY KEY ("id"),
  CONSTRAINT uq_override_key UNIQUE ("key")
);
CREATE INDEX ix_override_visit_id ON "override" ("visit_id");
CREATE TABLE "round" (
  "id" bigint DEFAULT next_id('round') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "visit_id" bigint NOT NULL,
  "phase" text COLLATE "C" NOT NULL,
  "number" bigint NOT NULL,
  "opening" double precision NOT NULL,
  "begun_at" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "from_above" bigint,
  CONSTRAINT ck_round_from_above CHECK (from_above IS NULL OR (from_above = 1 AND opening > 0)),
  CONSTRAINT fk_round_visit_id_visit FOREIGN KEY ("visit_id") REFERENCES "visit" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_round PRIMARY KEY ("id"),
  CONSTRAINT uq_round_key UNIQUE ("key"),
  CONSTRAINT uq_round_visit_id_number UNIQUE ("visit_id", "number")
);
CREATE TABLE "sign_off" (
  "id" bigint DEFAULT next_id('sign_off') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "visit_id" bigint NOT NULL,
  "name" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "after_study" bigint,
  CONSTRAINT fk_sign_off_visit_id_visit FOREIGN KEY ("visit_id") REFERENCES "visit" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_sign_off PRIMARY KEY ("id"),
  CONSTRAINT uq_sign_off_key UNIQUE ("key"),
  CONSTRAINT uq_sign_off_visit_id UNIQUE ("visit_id")
);
CREATE TABLE "stop_end" (
  "id" bigint DEFAULT next_id('stop_end') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "visit_id" bigint NOT NULL,
  "after_check" bigint NOT NULL,
  "cause" text COLLATE "C" NOT NULL,
  "cause_text" text COLLATE "C" NOT NULL,
  "remedy" text COLLATE "C" NOT NULL,
  "by" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  CONSTRAINT fk_stop_end_visit_id_visit FOREIGN KEY ("visit_id") REFERENCES "visit" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_stop_end PRIMARY KEY ("id"),
  CONSTRAINT uq_stop_end_key UNIQUE ("key")
);
CREATE INDEX ix_stop_end_visit_id ON "stop_end" ("visit_id");
CREATE TABLE "opening_speed" (
  "id" bigint DEFAULT next_id('opening_speed') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "round_id" bigint NOT NULL,
  "speed" double precision NOT NULL,
  "after_move" bigint NOT NULL,
  "by" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  "supersedes_id" bigint,
  CONSTRAINT ck_opening_speed_speed CHECK (speed > 0),
  CONSTRAINT fk_opening_speed_round_id_round FOREIGN KEY ("round_id") REFERENCES "round" ("id") ON DELETE RESTRICT,
  CONSTRAINT fk_opening_speed_supersedes_id_opening_speed FOREIGN KEY ("supersedes_id") REFERENCES "opening_speed" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_opening_speed PRIMARY KEY ("id"),
  CONSTRAINT uq_opening_speed_key UNIQUE ("key"),
  CONSTRAINT uq_opening_speed_supersedes_id UNIQUE ("supersedes_id")
);
CREATE INDEX ix_opening_speed_round_id ON "opening_speed" ("round_id");
CREATE TABLE "reading" (
  "id" bigint DEFAULT next_id('reading') NOT NULL,
  "key" text COLLATE "C" NOT NULL,
  "payload" text COLLATE "C" NOT NULL,
  "round_id" bigint NOT NULL,
  "bore" bigint NOT NULL,
  "kind" text COLLATE "C" NOT NULL,
  "value" double precision,
  "unit" text COLLATE "C" NOT NULL,
  "why" text COLLATE "C" NOT NULL,
  "by" text COLLATE "C" NOT NULL,
  "at" text COLLATE "C" NOT NULL,
  "supersedes_id" bigint,
  "seal" text COLLATE "C" DEFAULT '' NOT NULL,
  "sd" double precision,
  "look_id" bigint,
  "fixed" bigint,
  "speed" double precision,
  "alike" double precision,
  CONSTRAINT ck_reading_alike CHECK (alike IS NULL OR (alike >= 0 AND fixed = 1)),
  CONSTRAINT ck_reading_fixed CHECK (fixed IS NULL OR (fixed IN (0, 1) AND value IS NOT NULL)),
  CONSTRAINT ck_reading_kind CHECK (kind IN ('turn', 'closing', 'again', 'skip')),
  CONSTRAINT ck_reading_sd CHECK (sd IS NULL OR (sd > 0 AND sd < 1 AND value IS NOT NULL)),
  CONSTRAINT ck_reading_skip_has_no_value CHECK ((kind = 'skip') = (value IS NULL)),
  CONSTRAINT ck_reading_speed CHECK (speed > 0),
  CONSTRAINT ck_reading_value CHECK (value IS NULL OR value BETWEEN 0 AND 100000),
  CONSTRAINT fk_reading_round_id_round FOREIGN KEY ("round_id") REFERENCES "round" ("id") ON DELETE RESTRICT,
  CONSTRAINT fk_reading_supersedes_id_reading FOREIGN KEY ("supersedes_id") REFERENCES "reading" ("id") ON DELETE RESTRICT,
  CONSTRAINT pk_reading PRIMARY KEY ("id"),
  CONSTRAINT uq_reading_key UNIQUE ("key"),
  CONSTRAINT uq_reading_supersedes_id UNIQUE ("supersedes_id")
);
CREATE INDEX ix_reading_round_id ON "reading" ("round_id");
CREATE TRIGGER "channel_check_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "channel_check" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "channel_check_told" AFTER INSERT ON "channel_check" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "engine_told" AFTER INSERT OR UPDATE ON "engine" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "feed_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "feed" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "meter_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "meter" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "meter_told" AFTER INSERT ON "meter" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "person_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "person" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "pin_try_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "pin_try" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "program_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "program" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "setup_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "setup" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "setup_told" AFTER INSERT ON "setup" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "tablet_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "tablet" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "fitting_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "fitting" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "fitting_told" AFTER INSERT ON "fitting" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "meter_due_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "meter_due" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "meter_due_told" AFTER INSERT ON "meter_due" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "practice_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "practice" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "practice_told" AFTER INSERT ON "practice" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "program_write_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "program_write" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "study_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "study" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "study_told" AFTER INSERT ON "study" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "study_reading_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "study_reading" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "study_reading_told" AFTER INSERT ON "study_reading" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "visit_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "visit" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "visit_told" AFTER INSERT ON "visit" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "check_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "check" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "check_told" AFTER INSERT ON "check" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "correction_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "correction" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "correction_told" AFTER INSERT ON "correction" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "engine_event_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "engine_event" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "engine_event_told" AFTER INSERT ON "engine_event" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "filling_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "filling" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "filling_told" AFTER INSERT ON "filling" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "finding_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "finding" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "finding_told" AFTER INSERT ON "finding" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "hours_correction_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "hours_correction" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "hours_correction_told" AFTER INSERT ON "hours_correction" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "look_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "look" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "look_told" AFTER INSERT ON "look" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "move_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "move" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "move_told" AFTER INSERT ON "move" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "override_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "override" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "override_told" AFTER INSERT ON "override" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "round_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "round" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "round_told" AFTER INSERT ON "round" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "sign_off_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "sign_off" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "sign_off_told" AFTER INSERT ON "sign_off" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "stop_end_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "stop_end" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "stop_end_told" AFTER INSERT ON "stop_end" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "opening_speed_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "opening_speed" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "opening_speed_told" AFTER INSERT ON "opening_speed" FOR EACH ROW EXECUTE FUNCTION told();
CREATE TRIGGER "reading_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "reading" FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER "reading_told" AFTER INSERT ON "reading" FOR EACH ROW EXECUTE FUNCTION told();
INSERT INTO "meter" ("id", "key", "payload", "name", "quantity", "unit", "step", "low", "high", "repeatability", "repeatability_from", "seal", "reference") VALUES (1, '00000000-0000-4000-8000-000000000001', '', 'Bench meter', 'flow', 'kg/h', 0.25, 0.0, 40.0, 0.02, 'this program''s estimate until a repeatability study', 'a99c5769fb5b37921000eba75c2a09bc1d79039be8e16a6df675e4b4b38d4849', NULL);
