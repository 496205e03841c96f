package main

import (
	"fmt"
	"slices"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/unit"
)

// recordVerb adds one entry to a job; it is the verb for scripts.
type recordVerb struct {
	benchFlag
	Job     string  `required:"" short:"j" placeholder:"ID" help:"Job id."`
	Case    string  `enum:"closed,propped,open,unknown" default:"unknown" help:"Case state: ${enum}. Where openings were recorded it follows from them."`
	Minutes float64 `placeholder:"MIN" help:"How long it took."`
	Remark  string  `help:"A remark kept with the entry: of a work, what was found."`
	JSON    bool    `help:"One JSON object on standard output, with the id of the entry."`

	Check   recordCheckVerb   `cmd:"" help:"A control or a function was tried."`
	Reading recordReadingVerb `cmd:"" help:"An instrument was read at a test point."`
	Work    recordWorkVerb    `cmd:"" help:"Something was done to the recorder."`
	Open    recordOpenVerb    `cmd:"" help:"The recorder was opened further."`
	Close   recordCloseVerb   `cmd:"" help:"An opening was put back, and with it all that hangs on it."`
	Turn    recordTurnVerb    `cmd:"" help:"A trim was turned."`
	Gate    recordGateVerb    `cmd:"" help:"A gate of the line-up, or a step without a figure, was seen to, or holds no longer."`
	Figure  recordFigureVerb  `cmd:"" help:"A step of the line-up was read by hand."`
	Pass    recordPassVerb    `cmd:"" help:"A test tape played once without being captured."`
	SignOff recordSignOffVerb `cmd:"" help:"A step of the line-up is left as it is."`
	Soak    recordSoakVerb    `cmd:"" help:"A reading during the soak."`
	Note    recordNoteVerb    `cmd:"" help:"A note that belongs to nothing else."`
}

func (recordVerb) Help() string {
	return `Examples: headstack record --job job-0001 reading TP21-a 0.31V --with dmm1 --setting 2 --case propped --pressed
          headstack record --job job-0001 check record 3 dull
          headstack record --job job-0001 work repair C31-a --minutes 12 --remark "dried out, replaced"
          headstack record --job job-0001 work swap RY1-3 --with 5
          headstack record --job job-0001 open lid
          headstack record --job job-0001 turn VRa-3 30deg anticlockwise
          headstack record --job job-0001 figure level/VRa/3 109mV`
}

// recorded is the answer of record --json; scripts depend on it.
type recorded struct {
	ID   string   `json:"id"`  // kind and number within the job: "reading 3"
	Seq  int64    `json:"seq"` // number within the bench, for headstack correct
	Job  string   `json:"job"`
	Kind job.Kind `json:"kind"`
	Case string   `json:"case"` // empty where it is not known
	Open []string `json:"open"` // openings that are open now, outermost first
	// Doubts is what to bear in mind about a reading: what its instrument cannot tell, or
	// that it is not on the register.
	Doubts []string `json:"doubts"`
}

// add records an entry that build makes from the job as it stands.
func (v *recordVerb) add(e *env, build func(view *job.View) (job.Entry, error)) error {
	return v.with(e, func(b *job.Bench) error {
		view, err := b.View(e.ctx, v.Job)
		if err != nil {
			return err
		}
		x, err := build(view)
		if err != nil {
			return err
		}
		x.Case, x.Minutes = caseState(v.Case), unit.Minutes(v.Minutes)
		if x.Remark == "" {
			x.Remark = v.Remark
		}
		if x, err = b.Record(e.ctx, v.Job, x); err != nil {
			return err
		}
		if view, err = b.View(e.ctx, v.Job); err != nil {
			return err
		}
		return v.say(e, view, x)
	})
}

// say acknowledges an entry; by then it is on the disk.
func (v *recordVerb) say(e *env, view *job.View, x job.Entry) error {
	doubts := doubtsOf(view, x)
	if v.JSON {
		return printJSON(e.out, recorded{ID: x.Ref, Seq: x.Seq, Job: x.Job, Kind: x.Kind, Case: string(x.Case),
			Open: append([]string{}, view.Open...), Doubts: append([]string{}, doubts...)})
	}
	fmt.Fprintf(e.out, "kept as %s (entry %d): %s\n", x.Ref, x.Seq, strings.TrimSpace(entryLine(view, x)))
	if x.Opening != nil {
		fmt.Fprintln(e.out, openText(view))
	}
	for _, d := range doubts {
		fmt.Fprintln(e.out, "doubt:", d)
	}
	return nil
}

// openText says what is open now.
func openText(view *job.View) string {
	if len(view.Open) == 0 {
		return "nothing is open now"
	}
	return "open now: " + strings.Join(view.Open, ", ")
}

// doubtsOf is what a reading with this instrument leaves open.
func doubtsOf(view *job.View, x job.Entry) []string {
	r := x.Reading
	if r == nil || r.Instrument == "" || len(view.Instruments) == 0 {
		return nil
	}
	var ids []string
	for _, in := range view.Instruments {
		if in.ID == r.Instrument {
			return view.CannotTell(*r)
		}
		ids = append(ids, in.ID)
	}
	return []string{fmt.Sprintf("%q is not on the register of instruments, so it counts as an ordinary meter; there is %s", r.Instrument, strings.Join(ids, ", "))}
}

// provokedFlags say how the recorder was treated while it was observed.
type provokedFlags struct {
	Pressed bool `xor:"provoked" help:"While the place was pressed, flexed or tapped."`
	Warm    bool `xor:"provoked" help:"After the time in which parts warm up."`
	Cold    bool `xor:"provoked" help:"Cooled, or just switched on."`
}

func (f provokedFlags) provocation() diagnosis.Provocation {
	switch {
	case f.Pressed:
		return diagnosis.Pressed
	case f.Warm:
		return diagnosis.Warm
	case f.Cold:
		return diagnosis.Cold
	}
	return diagnosis.Unprovoked
}

type recordReadingVerb struct {
	provokedFlags
	With    string  `aliases:"instrument" placeholder:"ID" help:"Instrument, as headstack instrument list names it."`
	Session string  `help:"Readings of one session with one instrument share its error."`
	Setting string  `help:"Name of the probe setting; repeats within one are one piece of evidence."`
	Tone    float64 `placeholder:"HZ" help:"Tone, where it is not the test point's own."`
	Point   string  `arg:"" help:"Test point, such as TP21-a."`
	Value   string  `arg:"" help:"The reading with its unit: 310mV, 1.1V, 3k3ohm."`
}

func (v *recordReadingVerb) Run(e *env, all *recordVerb) error {
	return all.add(e, func(view *job.View) (job.Entry, error) {
		r, err := job.ParseReading(view.Def, v.Point, v.Value)
		r.ToneHz, r.Instrument, r.Session, r.Setting, r.Provoked = v.Tone, v.With, v.Session, v.Setting, v.provocation()
		return job.Entry{Reading: &r}, err
	})
}

type recordCheckVerb struct {
	provokedFlags
	What []string `arg:"" help:"A function with its track, or a control of the check sheet, and how it did: record 3 dull; record/3 works; fader/3 intermittent noisy. works, faulty, intermittent, not-fitted or not-tried, and of what is faulty dead, weak, dull, thin or noisy."`
}

func (v *recordCheckVerb) Run(e *env, all *recordVerb) error {
	return all.add(e, func(view *job.View) (job.Entry, error) {
		c, err := parseCheck(view, v.What)
		c.Provoked = v.provocation()
		return job.Entry{Check: &c}, err
	})
}

// parseCheck reads what was tried and how it did. A symptom alone means faulty.
func parseCheck(view *job.View, words []string) (job.Check, error) {
	var c job.Check
	last := func() string { return strings.ToLower(words[len(words)-1]) }
	if symptoms := job.Symptoms(); len(words) > 0 && slices.Contains(symptoms, diagnosis.Symptom(last())) {
		c.Outcome, c.Symptom = diagnosis.Faulty, diagnosis.Symptom(last())
		words = words[:len(words)-1]
	}
	if len(words) > 0 {
		if o := diagnosis.Outcome(strings.ReplaceAll(last(), "-", " ")); slices.Contains(job.Outcomes(), o) {
			c.Outcome = o
			words = words[:len(words)-1]
		}
	}
	switch {
	case c.Outcome == "" && len(words) > 1: // let the record say what it could be
		c.Outcome = diagnosis.Outcome(words[len(words)-1])
		words = words[:len(words)-1]
	case c.Outcome == "" || len(words) == 0 || len(words) > 2:
		return c, usage("what was tried, and how did it do? For example: record 3 dull, or fader/3 works")
	}
	id, key, cut := strings.Cut(words[0], "/")
	if len(words) == 2 {
		key = words[1]
	}
	switch _, ok := view.Def.Function(id); {
	case ok || len(words) == 2 && !cut:
		c.Function, c.Key = id, key
	default:
		c.Item = strings.Join(words, "/")
	}
	return c, nil
}

type recordWorkVerb struct {
	With string `placeholder:"KEY" help:"Of a swap: the sibling that it was exchanged with."`
	Back bool   `help:"Of a swap: it was undone."`
	Kind string `arg:"" enum:"repair,clean,reseat,reflow,swap" help:"${enum}."`
	Part string `arg:"" help:"What was worked on, as printed: C31-a."`
}

func (recordWorkVerb) Help() string {
	return `Examples: headstack record --job job-0001 work repair C31-a --minutes 12 --remark "dried out, replaced"
          headstack record --job job-0001 work swap RY1-3 --with 5
          headstack record --job job-0001 work swap RY1-3 --with 5 --back`
}

func (v *recordWorkVerb) Run(e *env, all *recordVerb) error {
	return all.add(e, func(*job.View) (job.Entry, error) {
		return job.Entry{Work: &job.Work{Kind: diagnosis.WorkKind(v.Kind), Stage: v.Part, With: v.With, Back: v.Back}}, nil
	})
}

type recordOpenVerb struct {
	Opening string `arg:"" help:"Opening, as the definition names it: lid."`
}

func (v *recordOpenVerb) Run(e *env, all *recordVerb) error {
	return all.add(e, func(*job.View) (job.Entry, error) {
		return job.Entry{Opening: &job.Opening{Opening: v.Opening}}, nil
	})
}

type recordCloseVerb struct {
	Opening string `arg:"" help:"Opening that was put back."`
}

func (v *recordCloseVerb) Run(e *env, all *recordVerb) error {
	return all.add(e, func(*job.View) (job.Entry, error) {
		return job.Entry{Opening: &job.Opening{Opening: v.Opening, Closed: true}}, nil
	})
}

type recordNoteVerb struct {
	Text []string `arg:"" help:"The note."`
}

func (v *recordNoteVerb) Run(e *env, all *recordVerb) error {
	return all.add(e, func(*job.View) (job.Entry, error) {
		return job.Entry{Kind: job.KindNote, Remark: strings.Join(v.Text, " ")}, nil
	})
}
