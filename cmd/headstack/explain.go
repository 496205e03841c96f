package main

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"

	"headstack/job"
	"headstack/plot"
	"headstack/report"
	"headstack/signature"
)

type explainVerb struct {
	benchFlag
	Machine   string   `placeholder:"DEF" help:"Of captures in files: recorder definition, a YAML file or the id of a built-in one."`
	Tape      string   `xor:"played" placeholder:"TAPE" help:"Of captures in files: test-tape definition, a YAML file or the id of a built-in one."`
	Programme string   `xor:"played" placeholder:"FILE" help:"Of captures in files: record programme that the machine recorded and replayed."`
	Interface string   `placeholder:"ID" help:"Of captures in files: looped-back capture interface to take off."`
	Tracks    []string `sep:"none" placeholder:"1,2,.." help:"Of captures in files: track on each channel, in channel order, as headstack measure takes it."`
	Case      string   `enum:"closed,propped,open,unknown" default:"unknown" help:"Of captures in files: case state, ${enum}."`
	Against   string   `placeholder:"EARLIER" help:"Explain what changed since an earlier capture of the same tape: a file, or in a job the number of its entry."`
	Doing     string   `placeholder:"WHAT" help:"With --against: what was done in between, such as \"pressing the shell\"."`
	Draw      string   `placeholder:"DIR" help:"Also write the plot as PNG and SVG and its table into a folder."`
	JSON      bool     `help:"One JSON object on standard output."`
	What      []string `arg:"" help:"Captures (WAV, RF64, BW64 or FLAC files) with --machine, or a job of the bench and the number of a capture's entry; without the number, all captures of the job."`
}

func (explainVerb) Help() string {
	return `Examples: headstack explain --machine hexastrand --tape TAPE.yaml closed.wav
          headstack explain --machine hexastrand --tape TAPE.yaml --against closed.wav --doing "pressing the shell" pressed.wav
          headstack explain job-0001 4
          headstack explain job-0001 7 --against 4 --doing "cleaning the heads"

Exit code 3 when a fault is at least as likely as not, 4 when nothing could be told.`
}

func (v *explainVerb) Run(e *env) error {
	switch {
	case v.Doing != "" && v.Against == "":
		return usage("--doing says what was done since the capture that --against names")
	case v.Machine != "" || v.Tape != "" || v.Programme != "":
		return v.files(e)
	case v.Interface != "" || len(v.Tracks) > 0 || v.Case != "unknown":
		return usage("--interface, --tracks and --case are for captures in files; those of a job have theirs in the record")
	}
	return v.with(e, func(b *job.Bench) error { return v.kept(e, b) })
}

// files measures captures and explains them.
func (v *explainVerb) files(e *env) error {
	if v.Machine == "" || v.Tape == "" && v.Programme == "" {
		return usage("captures in files need --machine, and --tape or --programme")
	}
	m := measureVerb{benchFlag: v.benchFlag, Machine: v.Machine, Tape: v.Tape, Programme: v.Programme, Interface: v.Interface, Tracks: v.Tracks, Case: v.Case, Capture: v.What}
	after, err := m.take(e)
	if err != nil {
		return err
	}
	if err := after.judged(); err != nil {
		return err
	}
	opt := after.options()
	x := job.Explained{Captures: captureEntries(v.What)}
	if v.Against == "" {
		x.Explanation, err = signature.Explain(after.rep, opt)
	} else {
		var before played
		m.Capture, m.Case = []string{v.Against}, "unknown"
		if before, err = m.take(e); err != nil {
			return err
		}
		if err = before.judged(); err != nil {
			return err
		}
		x.Captures = captureEntries(append([]string{v.Against}, v.What...))
		x.Compared, x.Between = true, v.Doing
		x.Explanation, err = signature.Compare(before.rep, after.rep, v.Doing, opt)
	}
	if err != nil {
		return noExplanation(err)
	}
	return v.say(e, []job.Explained{x})
}

// options are what package signature is to know of what was played.
func (t played) options() signature.Options {
	function := "play"
	if _, ok := t.def.Function("record-play"); ok && t.own {
		function = "record-play"
	}
	opt := job.SignatureOptions(t.def, function)
	opt.Tape, opt.OwnRecording, opt.SpeedCmS = t.tape, t.own, t.tape.SpeedCmS
	return opt
}

// captureEntries stand for files, by which they are named.
func captureEntries(files []string) []job.Entry {
	var out []job.Entry
	for _, f := range files {
		out = append(out, job.Entry{Ref: f})
	}
	return out
}

func noExplanation(err error) error {
	return &fault{exitNoJudge, err, "headstack measure shows what was measured; the response of a few tones on each track is needed"}
}

// kept explains captures of a job.
func (v *explainVerb) kept(e *env, b *job.Bench) error {
	id := v.What[0]
	if len(v.What) > 2 {
		return usage("%s is taken for a job: give a job and at most one entry, or --machine and --tape for captures in files", id)
	}
	entry, err := entryNumber(v.What[1:])
	if err != nil {
		return err
	}
	against, err := entryNumber(slices.DeleteFunc([]string{v.Against}, func(s string) bool { return s == "" }))
	if err != nil {
		return err
	}
	var found []job.Explained
	switch {
	case against != 0 && entry == 0:
		return usage("--against %d: which later capture of %s is to be compared with it?", against, id)
	case against != 0:
		x, err := b.CompareCaptures(e.ctx, id, against, entry, v.Doing)
		return v.sayOne(e, x, err)
	case entry != 0:
		x, err := b.Explain(e.ctx, id, entry)
		return v.sayOne(e, x, err)
	}
	if found, err = b.ExplainJob(e.ctx, id); err != nil {
		return err
	}
	if len(found) == 0 {
		return &fault{exitNoJudge, fmt.Errorf("%s has no capture", id), "headstack capture keeps and measures one"}
	}
	return v.say(e, found)
}

func entryNumber(args []string) (int64, error) {
	if len(args) == 0 {
		return 0, nil
	}
	n, err := strconv.ParseInt(args[0], 10, 64)
	if err != nil || n < 1 {
		return 0, usage("%q is not the number of an entry: headstack job show lists them", args[0])
	}
	return n, nil
}

func (v *explainVerb) sayOne(e *env, x job.Explained, err error) error {
	if _, ok := errors.AsType[*job.UnexplainedError](err); ok {
		return noExplanation(err)
	}
	if err != nil {
		return err
	}
	return v.say(e, []job.Explained{x})
}

// say prints and draws; its error carries what the findings mean for the exit code.
func (v *explainVerb) say(e *env, found []job.Explained) error {
	if v.JSON {
		if len(found) > 1 {
			var ways []string
			for _, x := range found {
				ways = append(ways, fmt.Sprintf("entry %d (%s)", x.Captures[0].Seq, report.CaseWord(x.Captures[0].Case)))
			}
			return usage("the captures were made under %d conditions and --json prints one explanation: name one of %s", len(found), strings.Join(ways, ", "))
		}
		if why := found[0].Unexplained; why != "" {
			return noExplanation(fmt.Errorf("%s: %s", found[0].Refs(), why))
		}
		if err := printJSON(e.out, found[0].Explanation); err != nil {
			return err
		}
	} else {
		for i, x := range found {
			if i > 0 {
				fmt.Fprintln(e.out)
			}
			printExplained(e.out, x)
		}
	}
	if v.Draw != "" {
		if err := v.draw(e, found); err != nil {
			return err
		}
	}
	return standing(found)
}

// standing is nil when all is in order.
func standing(found []job.Explained) error {
	var bad, silent []string
	for _, x := range found {
		if x.Unexplained != "" {
			silent = append(silent, x.Refs()+": "+x.Unexplained)
		}
		for _, f := range x.Explanation.Findings {
			if report.NotInOrder(f) {
				bad = append(bad, f.Cause.Words()+" on "+report.TracksText(f.Tracks))
			}
		}
	}
	switch {
	case found[0].Compared && len(silent) == 0: // a change is no fault
		return nil
	case len(bad) > 0:
		return &fault{code: exitNotInOrder, err: fmt.Errorf("not in order: %s", strings.Join(bad, "; "))}
	case len(silent) == len(found):
		return noExplanation(errors.New(strings.Join(silent, "; ")))
	}
	return nil
}

func (v *explainVerb) draw(e *env, found []job.Explained) error {
	if err := os.MkdirAll(v.Draw, 0o777); err != nil {
		return err
	}
	var out []plot.Named
	for i, x := range found {
		if x.Unexplained != "" {
			continue
		}
		name := "explanation"
		if len(found) > 1 {
			name += "-" + strconv.Itoa(i+1)
		}
		opt := plot.Options{ID: name}
		if x.Compared {
			opt.Title = "What changed, by track"
		}
		out = append(out, plot.Named{Name: name, Drawing: plot.Explain(x.Explanation, opt)})
	}
	return drawAll(e, v.Draw, out)
}
