package store

import (
	"database/sql"
	"encoding/json"

	"headstack/job"
	"headstack/measure"
	"headstack/unit"
)

// This file makes of a row what it says, by the columns that the migrations give each table,
// and refuses one that no bench would have kept.

// texts are columns that must be text.
func texts(columns []any, at ...int) ([]string, bool) {
	var out []string
	for _, i := range at {
		s, ok := columns[i].(string)
		if !ok {
			return nil, false
		}
		out = append(out, s)
	}
	return out, true
}

// maybe is a column of text that may be NULL.
func maybe(v any) (sql.NullString, bool) {
	s, ok := v.(string)
	return sql.NullString{String: s, Valid: ok}, ok || v == nil
}

func listingOf(c []any) (job.Listing, bool) {
	s, ok := texts(c, 1, 2, 3, 4, 5)
	if !ok || !isHash(s[3]) {
		return job.Listing{}, false
	}
	at, err := parseTime(s[4])
	return job.Listing{Kind: job.DocumentKind(s[0]), ID: s[1], Name: s[2], SHA256: s[3], Added: at}, err == nil
}

func jobOf(r row) (j job.Job, ok bool) {
	if len(r.columns) < 11 || len(r.columns) > 12 { // the last, where there is one, is the name of the append
		return j, false
	}
	s, ok := texts(r.columns, 1, 2, 3, 4, 5, 6, 7, 8, 9)
	clock, ok2 := maybe(r.columns[10])
	if !ok || !ok2 || s[0] != job.JobID(r.id) || !isHash(s[2]) {
		return j, false
	}
	j = job.Job{ID: s[0], Definition: s[1], DefinitionSHA: s[2], Name: s[3], Serial: s[4], Owner: s[5], Claim: s[6], Case: measure.CaseState(s[7])}
	var err error
	if j.Opened, err = parseTime(s[8]); err != nil || job.CheckTime(j.Opened) != nil {
		return j, false
	}
	j.Clock, err = parseClock(clock)
	return j, err == nil
}

// entryOf reads a row of entries: the first schema had no minutes, and what an append was
// named stands behind the payload.
func entryOf(r row) (e job.Entry, ok bool) {
	c := r.columns
	if len(c) < 11 || len(c) > 13 {
		return e, false
	}
	minutes, payload := 0.0, 10
	if len(c) >= 12 {
		payload = 11
		switch v := c[10].(type) {
		case float64:
			minutes = v
		case int64: // SQLite keeps a whole number of a REAL column so
			minutes = float64(v)
		default:
			return e, false
		}
	}
	s, ok := texts(c, 1, 2, 4, 8, 9, payload)
	n, ok2 := c[3].(int64)
	withdraw, ok3 := c[7].(int64)
	clock, ok4 := maybe(c[5])
	corrects, ok5 := c[6].(int64)
	if !ok || !ok2 || !ok3 || !ok4 || !ok5 && c[6] != nil || n < 1 || withdraw>>1 != 0 || !(minutes >= 0) || corrects < 0 || corrects >= r.id || !json.Valid([]byte(s[5])) {
		return e, false
	}
	e = job.Entry{Seq: r.id, Job: s[0], Kind: job.Kind(s[1]), Ref: job.EntryRef(job.Kind(s[1]), n), Corrects: corrects, Withdraw: withdraw == 1,
		Case: measure.CaseState(s[3]), Remark: s[4], Minutes: unit.Minutes(minutes)}
	var err error
	if e.At, err = parseTime(s[2]); err != nil || job.CheckTime(e.At) != nil {
		return e, false
	}
	if e.Clock, err = parseClock(clock); err != nil {
		return e, false
	}
	return e, decodePayload(s[5], &e) == nil && job.CheckShape(e) == nil
}
