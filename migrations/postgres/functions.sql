-- What the tables of a PostgreSQL database need first. Beside tables-*.sql, which is written by a command, this and
-- search.sql are written by hand. Like a migration they stay as they are.

CREATE EXTENSION IF NOT EXISTS pg_trgm;

-- The id of the next row, as SQLite gives it: one more than the newest. All writes hold one lock.
CREATE FUNCTION next_id(place text, named text DEFAULT 'id') RETURNS bigint LANGUAGE plpgsql AS $$
DECLARE newest bigint;
BEGIN
  EXECUTE format('SELECT max(%I) FROM %I', named, place) INTO newest;
  RETURN coalesce(newest, 0) + 1;
END $$;

-- Of tables of evidence: nothing is changed, deleted or emptied.
CREATE FUNCTION only_added() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION '% rows are only ever added', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation';
END $$;

-- Of tables that programs are told of: a row of "change" for each row.
CREATE FUNCTION told() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  INSERT INTO change (row_table, row_id) VALUES (TG_TABLE_NAME, NEW.id);
  RETURN NULL;
END $$;
