package logbook

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"runtime"
	"slices"
	"strings"
	"time"
)

// keys are what a line may hold beside time, level and message. None of them takes what a
// person typed, a file's name or an address.
var keys = []string{
	"err",     // an error: its kinds
	"route",   // the pattern of a page or call, not its address
	"status",  // of an answer
	"who",     // see [Caller]
	"version", // of the program
	"system",
	"port",
	"stack", // see [Stack]
	"verb",
	"channels", "hz", "seconds", "frames", "voids", "from", // of a capture
	"fields", // how many
}

// mostAlike is how many lines of one message are noted within a minute: who is refused a
// thousand times would else push out what went wrong.
const mostAlike = 30

// flood counts the lines of one message.
type flood struct {
	until time.Time
	n     int
	more  int // that were left out
}

// Logger notes into the book.
func (b *Book) Logger() *slog.Logger { return slog.New(&handler{book: b}) }

type handler struct {
	book  *Book
	attrs []slog.Attr
}

func (*handler) Enabled(_ context.Context, l slog.Level) bool { return l >= slog.LevelInfo }

// WithGroup leaves the group out: keys are few, and mean the same everywhere.
func (h *handler) WithGroup(string) slog.Handler { return h }

func (h *handler) WithAttrs(a []slog.Attr) slog.Handler {
	return &handler{h.book, append(slices.Clone(h.attrs), a...)}
}

func (h *handler) Handle(ctx context.Context, r slog.Record) error {
	more, ok := h.book.alike(r.Message)
	if !ok {
		return nil
	}
	h.book.note(func(lost int) []byte {
		out := slog.NewRecord(r.Time, r.Level, clip(r.Message, 200), 0)
		left := 0
		add := func(a slog.Attr) bool {
			if v, ok := h.book.allowed(a); ok {
				out.AddAttrs(slog.Attr{Key: a.Key, Value: v})
			} else {
				left++
			}
			return true
		}
		for _, a := range h.attrs {
			add(a)
		}
		r.Attrs(add)
		for key, n := range map[string]int{"left_out": left, "not_noted": lost, "more_alike": more} {
			if n > 0 {
				out.AddAttrs(slog.Int(key, n))
			}
		}
		var line bytes.Buffer
		if err := slog.NewJSONHandler(&line, nil).Handle(ctx, out); err != nil {
			return nil
		}
		return line.Bytes()
	})
	return nil
}

// alike says whether a line may be noted, and how many of the same were left out before it.
func (b *Book) alike(message string) (more int, ok bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	now := b.opt.Now()
	f := b.counts[message]
	if f == nil || !now.Before(f.until) {
		if f != nil {
			more = f.more
		}
		f = &flood{until: now.Add(time.Minute)}
		b.counts[message] = f
	}
	if f.n++; f.n > mostAlike {
		f.more++
		return 0, false
	}
	return more, true
}

// allowed is what is noted of an attribute.
func (b *Book) allowed(a slog.Attr) (slog.Value, bool) {
	if !slices.Contains(keys, a.Key) {
		return slog.Value{}, false
	}
	v := a.Value.Resolve()
	switch v.Kind() {
	case slog.KindInt64, slog.KindUint64, slog.KindFloat64, slog.KindBool, slog.KindDuration:
		return v, true
	case slog.KindString:
		return slog.StringValue(clip(v.String(), mostLine/2)), true
	case slog.KindAny:
		if err, ok := v.Any().(error); ok {
			return slog.StringValue(b.cause(err)), true
		}
	}
	return slog.Value{}, false
}

func clip(s string, most int) string {
	if len(s) > most {
		return strings.ToValidUTF8(s[:most], "")
	}
	return s
}

// Stack is where the caller's goroutine is, function by function, without the values it
// works on; skip leaves out the nearest.
func Stack(skip int) string {
	pc := make([]uintptr, 64)
	frames := runtime.CallersFrames(pc[:runtime.Callers(skip+2, pc)])
	var s strings.Builder
	for {
		f, more := frames.Next()
		if f.Function != "" {
			fmt.Fprintf(&s, "%s:%d ", f.Function, f.Line)
		}
		if !more {
			return strings.TrimSpace(s.String())
		}
	}
}
