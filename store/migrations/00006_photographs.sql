-- Photographs taken at the bench beside the other kinds of entry. The table is made anew for
-- its CHECK, as in the migrations before.

-- +goose Up
CREATE TABLE entries_anew (
    seq        INTEGER PRIMARY KEY,
    job        TEXT    NOT NULL REFERENCES jobs (id),
    kind       TEXT    NOT NULL CHECK (kind IN ('check', 'reading', 'capture', 'note', 'work', 'opening', 'closing',
                         'turn', 'gate', 'pass', 'figure', 'sign-off', 'soak', 'photograph')),
    n          INTEGER NOT NULL CHECK (n > 0), -- within job and kind
    at         TEXT    NOT NULL,
    clock      TEXT,                           -- what the clock said, where that differs
    corrects   INTEGER UNIQUE CHECK (corrects < seq),
    withdraw   INTEGER NOT NULL CHECK (withdraw = 0 OR (withdraw = 1 AND corrects IS NOT NULL)),
    case_state TEXT    NOT NULL,
    remark     TEXT    NOT NULL,
    minutes    REAL    NOT NULL DEFAULT 0 CHECK (minutes >= 0), -- 0: nobody said
    payload    TEXT    NOT NULL CHECK (json_valid(payload)),
    UNIQUE (job, kind, n),
    UNIQUE (job, seq),
    FOREIGN KEY (job, corrects) REFERENCES entries_anew (job, seq)
) STRICT;

INSERT INTO entries_anew (seq, job, kind, n, at, clock, corrects, withdraw, case_state, remark, minutes, payload)
SELECT seq, job, kind, n, at, clock, corrects, withdraw, case_state, remark, minutes, payload FROM entries ORDER BY seq;

DROP TABLE entries; -- its triggers go with it; DROP fires none

ALTER TABLE entries_anew RENAME TO entries;

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
