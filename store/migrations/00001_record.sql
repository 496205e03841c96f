-- The record of a bench. Rows are appended and never changed: triggers refuse
-- UPDATE and DELETE, and a correction is a row that points at what it corrects.
-- Times are RFC 3339 in UTC with nine decimals, so that text order is time order.

-- +goose Up
PRAGMA application_id = 0x68737462; -- "hstb"

-- Definitions and test tapes, by the SHA-256 of their bytes.
CREATE TABLE documents (
    sha256 TEXT NOT NULL PRIMARY KEY CHECK (length(sha256) = 64),
    data   BLOB NOT NULL
) STRICT;

-- What can be chosen by name; the last row of an id is the one in force.
CREATE TABLE listings (
    n      INTEGER PRIMARY KEY,
    kind   TEXT NOT NULL,
    id     TEXT NOT NULL,
    name   TEXT NOT NULL,
    sha256 TEXT NOT NULL REFERENCES documents (sha256),
    added  TEXT NOT NULL
) STRICT;

CREATE TABLE jobs (
    n              INTEGER PRIMARY KEY,
    id             TEXT NOT NULL UNIQUE,
    definition     TEXT NOT NULL,
    definition_sha TEXT NOT NULL REFERENCES documents (sha256),
    name           TEXT NOT NULL,
    serial         TEXT NOT NULL,
    owner          TEXT NOT NULL,
    claim          TEXT NOT NULL,
    case_state     TEXT NOT NULL,
    opened         TEXT NOT NULL,
    clock          TEXT -- what the clock said, where that differs
) STRICT;

CREATE TABLE entries (
    seq        INTEGER PRIMARY KEY,
    job        TEXT    NOT NULL REFERENCES jobs (id),
    kind       TEXT    NOT NULL CHECK (kind IN ('check', 'reading', 'capture', 'note')),
    n          INTEGER NOT NULL CHECK (n > 0), -- within job and kind
    at         TEXT    NOT NULL,
    clock      TEXT,                           -- what the clock said, where that differs
    corrects   INTEGER UNIQUE CHECK (corrects < seq),
    withdraw   INTEGER NOT NULL CHECK (withdraw = 0 OR (withdraw = 1 AND corrects IS NOT NULL)),
    case_state TEXT    NOT NULL,
    remark     TEXT    NOT NULL,
    payload    TEXT    NOT NULL CHECK (json_valid(payload)),
    UNIQUE (job, kind, n),
    UNIQUE (job, seq),
    FOREIGN KEY (job, corrects) REFERENCES entries (job, seq)
) STRICT;

-- +goose StatementBegin
CREATE TRIGGER documents_keep_update BEFORE UPDATE ON documents
BEGIN SELECT RAISE(ABORT, 'the record is append-only: a document cannot be changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER documents_keep_delete BEFORE DELETE ON documents
BEGIN SELECT RAISE(ABORT, 'the record is append-only: a document cannot be removed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER listings_keep_update BEFORE UPDATE ON listings
BEGIN SELECT RAISE(ABORT, 'the record is append-only: a listing cannot be changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER listings_keep_delete BEFORE DELETE ON listings
BEGIN SELECT RAISE(ABORT, 'the record is append-only: a listing cannot be removed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER jobs_keep_update BEFORE UPDATE ON jobs
BEGIN SELECT RAISE(ABORT, 'the record is append-only: a job cannot be changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER jobs_keep_delete BEFORE DELETE ON jobs
BEGIN SELECT RAISE(ABORT, 'the record is append-only: a job cannot be removed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entries_keep_update BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'the record is append-only: append a correction instead'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entries_keep_delete BEFORE DELETE ON entries
BEGIN SELECT RAISE(ABORT, 'the record is append-only: append a withdrawal instead'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entries_no_correction_of_withdrawal BEFORE INSERT ON entries
WHEN EXISTS (SELECT 1 FROM entries WHERE seq = NEW.corrects AND withdraw = 1)
BEGIN SELECT RAISE(ABORT, 'a withdrawal cannot be corrected'); END;
-- +goose StatementEnd
