package store

import (
	"database/sql"
	"fmt"
	"time"
)

// timeLayout is RFC 3339 with all nine decimals, so that the text sorts as the
// times do.
const timeLayout = "2006-01-02T15:04:05.000000000Z07:00"

func formatTime(t time.Time) string { return t.UTC().Format(timeLayout) }

// formatClock is NULL for the zero time.
func formatClock(t time.Time) sql.NullString {
	if t.IsZero() {
		return sql.NullString{}
	}
	return sql.NullString{String: formatTime(t), Valid: true}
}

func parseTime(s string) (time.Time, error) {
	t, err := time.Parse(timeLayout, s)
	if err != nil {
		return time.Time{}, fmt.Errorf("a time of the record: %w", err)
	}
	return t.UTC(), nil
}

func parseClock(s sql.NullString) (time.Time, error) {
	if !s.Valid {
		return time.Time{}, nil
	}
	return parseTime(s.String)
}
