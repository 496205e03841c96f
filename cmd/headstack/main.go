// Command headstack is the bench tool: it measures captures of test tapes,
// reasons about faults, names the next cheapest check and keeps the record.
// Each verb is in a file of its own; the work is done by the packages.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/alecthomas/kong"
)

// Exit codes, by meaning. They are part of the program's contract and printed
// by `headstack --help`.
const (
	exitDone       = 0
	exitError      = 1 // a file, the disk or the data; what was kept is said
	exitUsage      = 2 // the command line
	exitNotInOrder = 3 // judged, and not in order: lint findings, a report that does not hold
	exitNoJudge    = 4 // could not judge: no section found, no evidence
)

// verbs is the command line.
type verbs struct {
	Measure    measureVerb    `cmd:"" help:"Measure captures of a test tape."`
	Listen     listenVerb     `cmd:"" help:"Capture a tape while it plays: the file, and each section's figures while it runs."`
	Explain    explainVerb    `cmd:"" help:"What the losses on captures say: which cause, how sure, what would tell."`
	Wear       wearVerb       `cmd:"" help:"How the heads of a machine changed over its jobs: gap and spacing against the date."`
	Machine    machineVerb    `cmd:"" help:"Recorder definitions: check, show, new, schema."`
	Tape       tapeVerb       `cmd:"" help:"Test-tape definitions: check, new, schema."`
	Programme  programmeVerb  `cmd:"" help:"Record programmes: what is recorded through a machine to measure it. new, check, sound."`
	Loopback   loopbackVerb   `cmd:"" help:"The capture interface played into itself: keep, list, show."`
	Instrument instrumentVerb `cmd:"" help:"The register of instruments: add, list."`
	Picture    pictureVerb    `cmd:"" help:"Pictures of boards and circuit diagrams of a recorder type: add, list, show, remove, export, import."`
	Mark       markVerb       `cmd:"" help:"Where things are on a picture: set, remove, list."`
	Photograph photographVerb `cmd:"" help:"Keep a photograph of the opened recorder in a job."`
	Job        jobVerb        `cmd:"" help:"Jobs on the bench: open, list, show."`
	Next       nextVerb       `cmd:"" help:"What to do next, and what is known: for the bench and for scripts."`
	Lineup     lineupVerb     `cmd:"" help:"Where the line-up of a job stands, what is next, its target and how far to turn."`
	Bias       biasVerb       `cmd:"" help:"Bias from a staircase of trim positions recorded in one pass: plan, fit."`
	Openings   openingsVerb   `cmd:"" help:"What to do in the next opening of the recorder, in what order, with what to have ready."`
	Record     recordVerb     `cmd:"" help:"Add a check, reading, work, opening, turn or figure to a job: one verb for scripts."`
	Check      checkVerb      `cmd:"" help:"Record the outcome of trying a control or a function."`
	Reading    readingVerb    `cmd:"" help:"Record an instrument reading at a test point."`
	Note       noteVerb       `cmd:"" help:"Record a note."`
	Capture    captureVerb    `cmd:"" help:"Keep a capture of a test tape in a job and measure it."`
	Correct    correctVerb    `cmd:"" help:"Correct or take back an entry; the old one stays in the record."`
	Closing    closingVerb    `cmd:"" help:"Close a job: what was proved at fault. Shows what it would keep; --confirm keeps it."`
	Counts     countsVerb     `cmd:"" help:"What closed jobs found so far, and what the priors became: show, export, merge."`
	Verdict    verdictVerb    `cmd:"" help:"What is proved, what is suspect, what to do next."`
	Report     reportVerb     `cmd:"" help:"The report of a job as HTML or PDF, and the card for a buyer: write, check."`
	Labels     labelsVerb     `cmd:"" help:"Labels as PDF: faults, cups of screws, connectors, tapes, channel strips."`
	Blank      blankVerb      `cmd:"" help:"Blank sheets as PDF: the check sheet, the line-up."`
	Backup     backupVerb     `cmd:"" help:"The whole bench as one file, while it is in use."`
	Restore    restoreVerb    `cmd:"" help:"A bench in a new folder from a backup."`
	Salvage    salvageVerb    `cmd:"" help:"What can still be read of a damaged bench, as an export; the folder is only read."`
	Export     exportVerb     `cmd:"" help:"The whole bench as tables, pages, sound and pictures that need no program: a folder or a zip file."`
	Import     importVerb     `cmd:"" help:"A bench from an export, exactly as it was."`
	Verify     verifyVerb     `cmd:"" help:"Look through all that is kept, or through a backup: is it as it was kept?"`
	Doctor     doctorVerb     `cmd:"" help:"Look at folder, disk, record, copies, port and sound, and say what to do."`
	Serve      serveVerb      `cmd:"" help:"Serve the pages of a bench on this machine."`
	Demo       demoVerb       `cmd:"" help:"A recorder with hidden faults, from capture to report, on a scratch bench."`
	Simulate   simulateVerb   `cmd:"" hidden:"" help:"What does not exist, to try the program on: meter."`
}

// io of one run, so that a test can start the program too.
type env struct {
	ctx           context.Context
	in            io.Reader
	out, err      io.Writer
	errIsTerminal bool
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(&env{ctx: ctx, in: os.Stdin, out: os.Stdout, err: os.Stderr, errIsTerminal: isTerminal(os.Stderr)}, os.Args[1:])
	stop()
	os.Exit(code)
}

const description = `From a multitrack tape recorder in unknown condition to one lined up, proved and documented.

Exit codes: 0 done; 1 error; 2 usage; 3 judged, and not in order; 4 could not judge.`

// run parses args, runs the verb and returns the exit code.
func run(e *env, args []string) int {
	var v verbs
	exited := -1
	parser, err := kong.New(&v,
		kong.Name("headstack"),
		kong.Description(description),
		kong.UsageOnError(),
		kong.Writers(e.out, e.err),
		kong.Exit(func(code int) { exited = code }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 100}),
	)
	if err != nil {
		panic("headstack: command line: " + err.Error())
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	kctx, err := parser.Parse(args)
	if exited >= 0 {
		return exited
	}
	if err != nil {
		fmt.Fprintf(e.err, "error: %v\nhint: headstack --help lists the verbs, headstack VERB --help shows one with an example\n", err)
		return exitUsage
	}
	if err := kctx.Run(e); err != nil {
		return complain(e.err, err)
	}
	return exitDone
}

// fault is an error that carries the exit code and the next step.
type fault struct {
	code int
	err  error
	hint string
}

func (f *fault) Error() string { return f.err.Error() }
func (f *fault) Unwrap() error { return f.err }

// withHint adds what to do next to an error.
func withHint(err error, hint string) error {
	if err == nil {
		return nil
	}
	return &fault{exitError, err, hint}
}

func usage(format string, args ...any) error {
	return &fault{code: exitUsage, err: fmt.Errorf(format, args...)}
}

// complain prints an error as `error:` then `hint:` and returns its exit code.
func complain(w io.Writer, err error) int {
	if errors.Is(err, context.Canceled) {
		fmt.Fprintln(w, "stopped: everything acknowledged before is kept")
		return exitError
	}
	fmt.Fprintf(w, "error: %v\n", err)
	var f *fault
	code := exitError
	if errors.As(err, &f) {
		code = f.code
		if f.hint != "" {
			fmt.Fprintf(w, "hint: %s\n", f.hint)
		}
		return code
	}
	var h interface{ Hint() string }
	if errors.As(err, &h) && h.Hint() != "" {
		fmt.Fprintf(w, "hint: %s\n", h.Hint())
	}
	return code
}

func isTerminal(f *os.File) bool {
	st, err := f.Stat()
	return err == nil && st.Mode()&os.ModeCharDevice != 0
}
