-- The record of a bench on PostgreSQL: the schema of the SQLite file under the same numbers.
-- Rows are appended and never changed: triggers refuse UPDATE, DELETE and TRUNCATE, and a
-- correction is a row that points at what it corrects. Times are RFC 3339 in UTC with nine
-- decimals; with COLLATE "C" text order is time order, whatever the database's own collation.

-- +goose Up

-- Definitions and test tapes, by the SHA-256 of their bytes.
CREATE TABLE documents (
    sha256 TEXT  NOT NULL PRIMARY KEY CHECK (length(sha256) = 64),
    data   BYTEA NOT NULL
);

-- What can be chosen by name; the last row of an id is the one in force.
CREATE TABLE listings (
    n      BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    kind   TEXT NOT NULL,
    id     TEXT NOT NULL,
    name   TEXT NOT NULL,
    sha256 TEXT NOT NULL REFERENCES documents (sha256),
    added  TEXT COLLATE "C" NOT NULL
);

CREATE TABLE jobs (
    n              BIGINT PRIMARY KEY,
    id             TEXT NOT NULL UNIQUE,
    definition     TEXT NOT NULL,
    definition_sha TEXT NOT NULL REFERENCES documents (sha256),
    name           TEXT NOT NULL,
    serial         TEXT NOT NULL,
    owner          TEXT NOT NULL,
    claim          TEXT NOT NULL,
    case_state     TEXT NOT NULL,
    opened         TEXT COLLATE "C" NOT NULL,
    clock          TEXT COLLATE "C" -- what the clock said, where that differs
);

CREATE TABLE entries (
    seq        BIGINT  PRIMARY KEY,
    job        TEXT    NOT NULL REFERENCES jobs (id),
    kind       TEXT    NOT NULL CONSTRAINT entries_kind CHECK (kind IN ('check', 'reading', 'capture', 'note')),
    n          BIGINT  NOT NULL CHECK (n > 0), -- within job and kind
    at         TEXT    COLLATE "C" NOT NULL,
    clock      TEXT    COLLATE "C",            -- what the clock said, where that differs
    corrects   BIGINT  UNIQUE CHECK (corrects < seq),
    withdraw   BOOLEAN NOT NULL CHECK (NOT withdraw OR corrects IS NOT NULL),
    case_state TEXT    NOT NULL,
    remark     TEXT    NOT NULL,
    payload    TEXT    NOT NULL CHECK (payload::json IS NOT NULL),
    UNIQUE (job, kind, n),
    UNIQUE (job, seq),
    FOREIGN KEY (job, corrects) REFERENCES entries (job, seq)
);

-- +goose StatementBegin
CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION 'the record is append-only: %', TG_ARGV[0]; END $$;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE FUNCTION refuse_correction_of_withdrawal() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF EXISTS (SELECT 1 FROM entries WHERE seq = NEW.corrects AND withdraw) THEN
        RAISE EXCEPTION 'a withdrawal cannot be corrected';
    END IF;
    RETURN NEW;
END $$;
-- +goose StatementEnd

CREATE TRIGGER documents_keep_update BEFORE UPDATE ON documents FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('a document cannot be changed');
CREATE TRIGGER documents_keep_delete BEFORE DELETE ON documents FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('a document cannot be removed');
CREATE TRIGGER documents_keep_truncate BEFORE TRUNCATE ON documents FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('a document cannot be removed');
CREATE TRIGGER listings_keep_update BEFORE UPDATE ON listings FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('a listing cannot be changed');
CREATE TRIGGER listings_keep_delete BEFORE DELETE ON listings FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('a listing cannot be removed');
CREATE TRIGGER listings_keep_truncate BEFORE TRUNCATE ON listings FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('a listing cannot be removed');
CREATE TRIGGER jobs_keep_update BEFORE UPDATE ON jobs FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('a job cannot be changed');
CREATE TRIGGER jobs_keep_delete BEFORE DELETE ON jobs FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('a job cannot be removed');
CREATE TRIGGER jobs_keep_truncate BEFORE TRUNCATE ON jobs FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('a job cannot be removed');
CREATE TRIGGER entries_keep_update BEFORE UPDATE ON entries FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('append a correction instead');
CREATE TRIGGER entries_keep_delete BEFORE DELETE ON entries FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('append a withdrawal instead');
CREATE TRIGGER entries_keep_truncate BEFORE TRUNCATE ON entries FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('append a withdrawal instead');
CREATE TRIGGER entries_no_correction_of_withdrawal BEFORE INSERT ON entries FOR EACH ROW EXECUTE FUNCTION refuse_correction_of_withdrawal();
