package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
)

// entryFlags are common to the verbs that append to a record.
type entryFlags struct {
	benchFlag
	Case   string `enum:"closed,propped,open,unknown" default:"unknown" help:"Case state: ${enum}."`
	Remark string `help:"A remark kept with the entry."`
	JSON   bool   `help:"The entry as one JSON object on standard output."`
}

// say acknowledges an entry; by then it is on the disk.
func (f entryFlags) say(e *env, x job.Entry) error {
	if f.JSON {
		return printJSON(e.out, x)
	}
	_, err := fmt.Fprintf(e.out, "kept as %s (entry %d): %s\n", x.Ref, x.Seq, strings.TrimSpace(entryText(x)))
	return err
}

type checkVerb struct {
	entryFlags
	Symptom string `enum:"dead,weak,dull,thin,noisy,unsaid" default:"unsaid" help:"How it is faulty: ${enum}."`
	Job     string `arg:"" help:"Job id."`
	What    string `arg:"" help:"A control of the check sheet (fader/3) or a function and track (record/3)."`
	Outcome string `arg:"" enum:"works,faulty,intermittent,not-fitted,not-tried" help:"${enum}."`
}

func (checkVerb) Help() string {
	return `Example: headstack check job-0001 record/3 faulty --symptom weak --case closed`
}

func (v *checkVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		view, err := b.View(e.ctx, v.Job)
		if err != nil {
			return err
		}
		c := job.Check{Item: v.What, Outcome: diagnosis.Outcome(strings.ReplaceAll(v.Outcome, "-", " "))}
		id, key, _ := strings.Cut(v.What, "/")
		if _, ok := view.Def.Function(id); ok {
			c.Item, c.Function, c.Key = "", id, key
		}
		if v.Symptom != "unsaid" {
			c.Symptom = diagnosis.Symptom(v.Symptom)
		}
		x, err := b.RecordCheck(e.ctx, v.Job, c, caseState(v.Case), v.Remark)
		if err != nil {
			return err
		}
		return v.say(e, x)
	})
}

type readingVerb struct {
	entryFlags
	Tone       float64 `placeholder:"HZ" help:"Tone, where it is not the test point's own."`
	Instrument string  `help:"Meter or scope used."`
	Session    string  `help:"Readings of one session with one instrument share its error. Without it: the day."`
	Setting    string  `help:"Name of the probe setting, when the probe was not moved since the last reading."`
	Job        string  `arg:"" help:"Job id."`
	From       string  `placeholder:"ID" help:"Take the reading from this instrument of the register: the first value that stands."`
	Same       bool    `help:"With --from: the probe was not lifted since the last reading there."`
	Point      string  `arg:"" help:"Test point, such as TP21-a."`
	Value      string  `arg:"" optional:"" help:"The reading with its unit: 310mV, 1.1V, 3k3ohm; none with --from."`
}

func (readingVerb) Help() string {
	return `Examples: headstack reading job-0001 TP21-a 310mV --instrument bench-meter --case propped
          headstack reading job-0001 TP21-a --from dmm1`
}

func (v *readingVerb) Run(e *env) error {
	switch {
	case v.From != "" && (v.Value != "" || v.Instrument != ""):
		return usage("--from takes value and instrument: give no value and no --instrument beside it")
	case v.From != "":
		return v.take(e)
	case v.Value == "":
		return usage("what does it read? Give the value, or --from and an instrument that has an address")
	}
	return v.with(e, func(b *job.Bench) error {
		view, err := b.View(e.ctx, v.Job)
		if err != nil {
			return err
		}
		r, err := job.ParseReading(view.Def, v.Point, v.Value)
		if err != nil {
			return err
		}
		r.ToneHz, r.Instrument, r.Session, r.Setting = v.Tone, v.Instrument, v.Session, v.Setting
		x, err := b.RecordReading(e.ctx, v.Job, r, caseState(v.Case), v.Remark)
		if err != nil {
			return err
		}
		return v.say(e, x)
	})
}

type noteVerb struct {
	benchFlag
	Case string   `enum:"closed,propped,open,unknown" default:"unknown" help:"Case state: ${enum}."`
	JSON bool     `help:"The entry as one JSON object on standard output."`
	Job  string   `arg:"" help:"Job id."`
	Text []string `arg:"" help:"The note."`
}

func (v *noteVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		x, err := b.RecordNote(e.ctx, v.Job, caseState(v.Case), strings.Join(v.Text, " "))
		if err != nil {
			return err
		}
		return entryFlags{JSON: v.JSON}.say(e, x)
	})
}

type captureVerb struct {
	entryFlags
	Tape           string  `required:"" xor:"played" placeholder:"TAPE" help:"Test tape: a YAML file, or the id of one the bench knows."`
	Programme      string  `required:"" xor:"played" placeholder:"FILE" help:"Record programme that the machine recorded and replayed: a YAML file, or the id of one the bench knows."`
	WhileRecording bool    `help:"The capture was taken while the programme was being recorded."`
	Interface      string  `placeholder:"ID" help:"Looped-back capture interface to take off, as headstack loopback list names it."`
	Function       string  `placeholder:"ID" help:"What was captured: play, or record-play for the machine's own recording; without it play for a test tape, record-play for a programme."`
	Tracks         string  `placeholder:"1,2,.." help:"Track on each channel, in channel order."`
	Speed          float64 `placeholder:"CM_S" help:"Tape speed, where it is not the test tape's."`
	Job            string  `arg:"" help:"Job id."`
	File           string  `arg:"" help:"WAV, RF64, BW64 or FLAC file."`
}

func (captureVerb) Help() string {
	return `Examples: headstack capture job-0001 --tape hexastrand-tape.yaml --tracks 1,6 --case closed left-right.wav
          headstack capture job-0001 --programme my-programme.yaml --interface bench own-recording.wav`
}

func (v *captureVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		view, err := b.View(e.ctx, v.Job)
		if err != nil {
			return err
		}
		var tape, prog string
		if v.Programme != "" {
			prog, err = programmeID(e, b, v.Programme)
		} else {
			tape, err = tapeID(e, b, v.Tape)
		}
		if err != nil {
			return err
		}
		var tracks []int
		if v.Tracks != "" {
			if tracks, err = parseTracks(v.Tracks, view.Def.Tracks.Count); err != nil {
				return err
			}
		}
		f, err := os.Open(v.File)
		if err != nil {
			return err
		}
		defer f.Close()
		bar := e.progress("measuring " + filepath.Base(v.File))
		x, err := b.AddCapture(e.ctx, v.Job, job.CaptureUpload{Name: filepath.Base(v.File), Data: f, Tape: tape, Programme: prog,
			Interface: v.Interface, WhileRecording: v.WhileRecording, Function: v.Function, Tracks: tracks, SpeedCmS: v.Speed, Case: caseState(v.Case), Remark: v.Remark, Progress: bar.at})
		bar.done()
		var unmeasured *job.NotMeasuredError
		if errors.As(err, &unmeasured) {
			return &fault{exitNoJudge, err, "the file is kept; take the entry back with headstack correct, or measure it again with the right tape and tracks"}
		}
		if err != nil {
			return err
		}
		if !v.JSON {
			printReport(e.out, x.Capture.Report, false)
		}
		return v.say(e, x)
	})
}

type correctVerb struct {
	entryFlags
	TakeBack bool     `help:"Take the entry back; nothing replaces it."`
	Job      string   `arg:"" help:"Job id."`
	Entry    int64    `arg:"" help:"Number of the entry, as headstack job show lists it."`
	New      []string `arg:"" optional:"" help:"The right value: outcome for a check, reading with unit, part of a work, opening, turn, figure with unit, step of a gate, text of a note or sign-off."`
}

func (correctVerb) Help() string {
	return "Examples: headstack correct job-0001 12 310mV\n          headstack correct job-0001 13 --take-back --remark \"wrong track\""
}

func (v *correctVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		if v.TakeBack {
			x, err := b.Withdraw(e.ctx, v.Job, v.Entry, v.Remark)
			if err != nil {
				return err
			}
			return v.say(e, x)
		}
		view, err := b.View(e.ctx, v.Job)
		if err != nil {
			return err
		}
		repl, err := v.replacement(view)
		if err != nil {
			return err
		}
		x, err := b.Correct(e.ctx, v.Job, v.Entry, repl)
		if err != nil {
			return err
		}
		return v.say(e, x)
	})
}

// replacement is the old entry with the value that was given.
func (v *correctVerb) replacement(view *job.View) (job.Entry, error) {
	text := strings.Join(v.New, " ")
	if text == "" {
		return job.Entry{}, usage("what is right instead? Give the new value, or --take-back")
	}
	for _, old := range view.Entries {
		if old.Seq != v.Entry {
			continue
		}
		out := job.Entry{Kind: old.Kind, Case: old.Case, Remark: old.Remark, Minutes: old.Minutes}
		if v.Case != "unknown" {
			out.Case = measure.CaseState(v.Case)
		}
		if v.Remark != "" {
			out.Remark = v.Remark
		}
		switch {
		case old.Check != nil:
			c := *old.Check
			outcome, symptom, _ := strings.Cut(text, " ")
			c.Outcome, c.Symptom = diagnosis.Outcome(strings.ReplaceAll(outcome, "-", " ")), diagnosis.Symptom(symptom)
			out.Check = &c
		case old.Reading != nil:
			r, err := job.ParseReading(view.Def, designator(*old.Reading), text)
			if err != nil {
				return out, err
			}
			full := *old.Reading
			full.Value, full.Unit = r.Value, r.Unit
			out.Reading = &full
		case old.Work != nil:
			w := *old.Work
			w.Stage, w.Key = text, ""
			out.Work = &w
		case old.Opening != nil:
			o := *old.Opening
			o.Opening = text
			out.Opening = &o
		case old.Closing != nil:
			return out, usage("entry %d closes the job: headstack closing %s with what is right and --confirm, or --take-back", v.Entry, v.Job)
		case old.Photograph != nil:
			out.Photograph = &job.Photograph{Opening: old.Photograph.Opening, Caption: text}
		case old.Capture != nil:
			return out, usage("entry %d is a capture: take it back and keep the right one with headstack capture", v.Entry)
		default:
			err := replaceLineUp(view, old, text, &out)
			return out, err
		}
		return out, nil
	}
	return job.Entry{}, fmt.Errorf("job %s has no entry %d", v.Job, v.Entry)
}

func designator(r job.Reading) string {
	if r.Key == "" {
		return r.TestPoint
	}
	return r.TestPoint + "-" + r.Key
}
