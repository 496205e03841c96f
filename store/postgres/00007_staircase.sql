-- Plans of bias staircases beside the other kinds of entry.

-- +goose Up
ALTER TABLE entries DROP CONSTRAINT entries_kind;
ALTER TABLE entries ADD CONSTRAINT entries_kind CHECK (kind IN ('check', 'reading', 'capture', 'note', 'work', 'opening', 'closing',
    'turn', 'gate', 'pass', 'figure', 'sign-off', 'soak', 'photograph', 'staircase'));
