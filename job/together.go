package job

import (
	"context"
	"fmt"
	"strings"
	"sync/atomic"
	"time"
)

// This file has what lets several people and programs work on one record. Entries are only
// ever appended, so two that are keyed in at the same time are both kept. What can be in
// conflict is little: an entry that two people correct ([CheckCorrection]), and an entry
// that says something of the whole job, when the job has grown since it was looked at.

// ConflictError refuses an entry that says something of the whole job, because the job has
// grown since. Nothing was kept.
type ConflictError struct {
	Kind  Kind // of the entry refused
	Job   string
	Newer []Entry // Seq, Ref, At, Kind and Remark of the newer ones that upset it, the oldest first
}

func (e *ConflictError) Error() string {
	var parts []string
	for _, n := range e.Newer {
		part := n.Ref + " of " + moment(n.At)
		if n.Remark != "" {
			part += " (" + shorten(n.Remark) + ")"
		}
		parts = append(parts, part)
	}
	return fmt.Sprintf("the %s of %s was not kept: the job has grown since it was looked at, by %s; look at what is new, then send it again",
		e.Kind, e.Job, strings.Join(parts, ", "))
}

// moment is a time as the messages of this package write it.
func moment(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05 UTC") }

// Upsets says whether newer, appended to the job after what the writer of e had seen, takes
// the ground from e: anything does from a closing, as it says what the whole job came to,
// and another check from a check whose fault is numbered after the ones before.
func Upsets(newer, e Entry) bool {
	switch e.Kind {
	case KindClosing:
		return true
	case KindCheck:
		return newer.Kind == KindCheck || newer.Withdraw
	}
	return false
}

// CheckSeen says whether e may be appended where newer are the entries after e.Seen that
// upset it. It returns a [ConflictError] when not.
func CheckSeen(e Entry, newer []Entry) error {
	if e.Seen == 0 || len(newer) == 0 {
		return nil
	}
	return &ConflictError{Kind: e.Kind, Job: e.Job, Newer: newer}
}

// CheckOnce says whether e is the entry that was kept under its name. The name of another
// one is an [InvalidError].
func CheckOnce(kept, e Entry) error {
	if kept.Job == e.Job && kept.Kind == e.Kind {
		return nil
	}
	return &InvalidError{Field: "once", Value: shorten(e.Once), Problem: fmt.Sprintf("is the name of another entry, %s of %s; give each entry a name of its own", kept.Ref, kept.Job)}
}

// Growth is what was appended to a record since.
type Growth struct {
	Seq    int64    // of the last entry
	Jobs   []string // that have entries after the one asked about
	Taught bool     // among them are closings, or something was taken back
	Counts int      // files of counts that were merged, in all
}

// grower is a record to which other programs append, too.
type grower interface {
	// Since tells what was appended after the entry seq.
	Since(ctx context.Context, seq int64) (Growth, error)
}

// follow makes what is kept in memory be worked out anew where another program has appended.
func (b *Bench) follow(ctx context.Context) error {
	rec, ok := b.rec.(grower)
	if !ok {
		return nil
	}
	b.mu.Lock()
	before := b.seen
	b.mu.Unlock()
	g, err := rec.Since(ctx, before.Seq)
	if err != nil {
		return err
	}
	b.mu.Lock()
	if b.seen.Seq < g.Seq || b.seen.Counts != g.Counts {
		b.seen = g
	}
	b.mu.Unlock()
	for _, id := range g.Jobs {
		b.shop.changed(id)
		b.forgetCases(id)
	}
	if g.Counts != before.Counts {
		b.shop.changed("")
	}
	if g.Taught || g.Counts != before.Counts {
		b.shop.taught()
	}
	return nil
}

type repeatKey struct{}

// repeat is a request that may be sent again.
type repeat struct {
	name string
	n    atomic.Int64
}

// Repeatable marks what is appended under ctx as one request by its name: sent again under
// the same name, what was kept the first time is not kept twice. Within the request the
// order of appends must be the same each time.
func Repeatable(ctx context.Context, name string) context.Context {
	return context.WithValue(ctx, repeatKey{}, &repeat{name: name})
}

// PlainName says whether a name given from outside is plain text: printing ASCII.
func PlainName(name string) bool {
	return strings.IndexFunc(name, func(r rune) bool { return r < ' ' || r > '~' }) < 0
}

// nameFor is the name of the next append under ctx, "" where it has none.
func nameFor(ctx context.Context) string {
	r, ok := ctx.Value(repeatKey{}).(*repeat)
	if !ok {
		return ""
	}
	return fmt.Sprintf("%s/%d", r.name, r.n.Add(1))
}
