-- Works and openings beside the other kinds of entry, and the minutes that an entry took.

-- +goose Up
ALTER TABLE entries ADD COLUMN minutes DOUBLE PRECISION NOT NULL DEFAULT 0 CHECK (minutes >= 0); -- 0: nobody said
ALTER TABLE entries DROP CONSTRAINT entries_kind;
ALTER TABLE entries ADD CONSTRAINT entries_kind CHECK (kind IN ('check', 'reading', 'capture', 'note', 'work', 'opening'));
