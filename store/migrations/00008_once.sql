-- A name that who appends may give to a job or an entry, so that the same append sent
-- twice is kept once. Rows without one, and those of before, have NULL.

-- +goose Up
ALTER TABLE jobs ADD COLUMN once TEXT;
CREATE UNIQUE INDEX jobs_once ON jobs (once);
ALTER TABLE entries ADD COLUMN once TEXT;
CREATE UNIQUE INDEX entries_once ON entries (once);
