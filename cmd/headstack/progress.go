package main

import (
	"fmt"
	"os"
	"time"
)

// progress shows how far long work is, on a terminal only; elsewhere it is
// silent so that logs stay clean.
type progress struct {
	e     *env
	what  string
	last  time.Time
	shown bool
}

func (e *env) progress(what string) *progress { return &progress{e: e, what: what} }

// at reports the done share, 0 to 1. It is called from one goroutine at a time.
func (p *progress) at(done float64) {
	if !p.e.errIsTerminal || os.Getenv("TERM") == "dumb" {
		return
	}
	if time.Since(p.last) < 100*time.Millisecond {
		return
	}
	p.last, p.shown = time.Now(), true
	fmt.Fprintf(p.e.err, "\r%s %3.0f %%", p.what, 100*done)
}

func (p *progress) done() {
	if p.shown {
		fmt.Fprint(p.e.err, "\r\x1b[K")
	}
}
