-- The index to find engines by, as migrations 0003 and 0022 make it for SQLite: any part of a word, whole words without
-- their accents, and the list of words. None of it is a record.

CREATE FUNCTION plain(said text) RETURNS text LANGUAGE sql IMMUTABLE PARALLEL SAFE
RETURN lower(regexp_replace(normalize(said, NFD), '[\u0300-\u036F]', '', 'g') COLLATE "und-x-icu");

-- Whole words with their places; the gap after each column keeps a phrase from reaching into the next.
CREATE FUNCTION words_of(said text[]) RETURNS tsvector LANGUAGE sql IMMUTABLE PARALLEL SAFE
RETURN (
  SELECT coalesce(string_agg(quote_literal(word) || ':' || least(place, 16383)::text, ' '), '')::tsvector
  FROM (
    SELECT word, row_number() OVER (ORDER BY part, at) + part AS place
    FROM unnest(said) WITH ORDINALITY AS one (part_said, part),
      regexp_split_to_table(plain(part_said) COLLATE "und-x-icu", '[^[:alnum:]]+') WITH ORDINALITY AS two (word, at)
    WHERE word <> ''
  ) placed
);

CREATE TABLE search_text (
  id bigint CONSTRAINT pk_search_text PRIMARY KEY,
  serial text COLLATE "C" NOT NULL,
  about text COLLATE "C" NOT NULL,
  owner text COLLATE "C" NOT NULL,
  jobs text COLLATE "C" NOT NULL,
  folded text COLLATE "C" GENERATED ALWAYS AS (
    lower((serial || E'\n' || about || E'\n' || owner || E'\n' || jobs) COLLATE "und-x-icu")
  ) STORED,
  words tsvector GENERATED ALWAYS AS (words_of(ARRAY[serial, about, owner, jobs])) STORED
);
CREATE INDEX search_part ON search_text USING gin (folded gin_trgm_ops);
CREATE INDEX search_word ON search_text USING gin (words);
CREATE TABLE search_term (word text COLLATE "C" CONSTRAINT pk_search_term PRIMARY KEY);

CREATE FUNCTION terms_of(said text) RETURNS SETOF text LANGUAGE sql IMMUTABLE AS $$
  SELECT DISTINCT word
  FROM string_to_table(translate(lower(said COLLATE "C"), '-_/.,;:()#', '          '), ' ') AS one (word)
  WHERE length(word) BETWEEN 3 AND 60
$$;

CREATE FUNCTION search_text_listed() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  INSERT INTO search_term (word)
    SELECT terms_of(NEW.serial || ' ' || NEW.about || ' ' || NEW.owner || ' ' || NEW.jobs) ON CONFLICT DO NOTHING;
  RETURN NULL;
END $$;
CREATE TRIGGER search_text_listed AFTER INSERT OR UPDATE ON search_text
  FOR EACH ROW EXECUTE FUNCTION search_text_listed();

-- The liter and the inch are exact by definition (NIST SP 811, appendix B).
CREATE FUNCTION engine_searched() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
  about_it text;
BEGIN
  IF TG_OP = 'DELETE' THEN
    DELETE FROM search_text WHERE id = OLD.id;
    RETURN NULL;
  END IF;
  about_it := NEW.description || ' ' || to_char(NEW.displacement * 1000, 'FM9999999990.0') || 'L '
    || to_char(NEW.displacement * 1000, 'FM9999999990.00') || 'L '
    || to_char(NEW.displacement / 0.0254::float8 / 0.0254::float8 / 0.0254::float8, 'FM9999999990') || 'cu in';
  INSERT INTO search_text (id, serial, about, owner, jobs)
    VALUES (NEW.id, NEW.serial, about_it, NEW.customer || ' ' || NEW.vehicle, '')
    ON CONFLICT (id) DO UPDATE SET serial = excluded.serial, about = excluded.about, owner = excluded.owner;
  RETURN NULL;
END $$;
CREATE TRIGGER engine_searched AFTER INSERT OR UPDATE OR DELETE ON engine
  FOR EACH ROW EXECUTE FUNCTION engine_searched();

CREATE FUNCTION visit_searched() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  UPDATE search_text SET jobs = jobs || ' ' || NEW.job
    WHERE id = NEW.engine_id AND strpos(jobs || ' ', ' ' || NEW.job || ' ') = 0;
  RETURN NULL;
END $$;
CREATE TRIGGER visit_searched AFTER INSERT ON visit
  FOR EACH ROW WHEN (NEW.job <> '') EXECUTE FUNCTION visit_searched();
