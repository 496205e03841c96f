package web

import (
	"bytes"
	"fmt"
	"net/http"
	"sync/atomic"
	"time"
)

// maxStreams bounds the pages that are kept up to date at once.
const maxStreams = 32

// streams counts them.
type streams struct{ n atomic.Int32 }

// stream is a page's part that is sent again whenever it changes, as Server-Sent Events
// (WHATWG HTML, 9.2). Nothing is queued: one who reads slowly gets the latest, and one who
// does not read for ten seconds is let go.
type stream struct {
	w    http.ResponseWriter
	ctl  *http.ResponseController
	last []byte
}

func (s *streams) open(w http.ResponseWriter) (st *stream, done func(), err error) {
	if s.n.Add(1) > maxStreams {
		s.n.Add(-1)
		return nil, nil, &pageError{status: http.StatusServiceUnavailable, title: "Too many pages look on already", what: plural(maxStreams, "page", "pages"),
			hint: "Close some; this one can be loaded again by hand.", kept: "What is heard goes on."}
	}
	w.Header().Set("Content-Type", "text/event-stream")
	w.WriteHeader(http.StatusOK)
	st = &stream{w: w, ctl: http.NewResponseController(w)}
	return st, func() { s.n.Add(-1) }, st.flush()
}

func (st *stream) flush() error {
	_ = st.ctl.SetWriteDeadline(time.Now().Add(10 * time.Second)) // a recorder in a test has none
	return st.ctl.Flush()
}

// send sends a part where it is another than the last one; event names it.
func (st *stream) send(event string, part []byte) error {
	if bytes.Equal(part, st.last) {
		return nil
	}
	st.last = append(st.last[:0], part...)
	var b bytes.Buffer
	fmt.Fprintf(&b, "event: %s\n", event)
	for line := range bytes.Lines(part) {
		b.WriteString("data: ")
		b.Write(bytes.TrimRight(line, "\r\n"))
		b.WriteByte('\n')
	}
	b.WriteByte('\n')
	if _, err := st.w.Write(b.Bytes()); err != nil {
		return err
	}
	return st.flush()
}

// alive tells a reader, and finds one that is gone, where nothing changes for long.
func (st *stream) alive() error {
	if _, err := st.w.Write([]byte(":\n\n")); err != nil {
		return err
	}
	return st.flush()
}

// partOf renders one named part of a page.
func partOf(page, part string, data any) ([]byte, error) {
	var b bytes.Buffer
	if err := pagesByName[page].ExecuteTemplate(&b, part, data); err != nil {
		return nil, fmt.Errorf("rendering %s of page %s: %w", part, page, err)
	}
	return b.Bytes(), nil
}
