package main

import (
	"fmt"
	"strconv"
	"text/tabwriter"

	"headstack/job"
	"headstack/unit"
)

type jobVerb struct {
	Open jobOpenVerb `cmd:"" help:"Open a job for a machine that came in."`
	List jobListVerb `cmd:"" help:"List the jobs of the bench."`
	Show jobShowVerb `cmd:"" help:"Show the record of a job."`
}

type jobOpenVerb struct {
	benchFlag
	Machine string `required:"" placeholder:"DEF" help:"Definition: a YAML file, or the id of one the bench knows."`
	Serial  string `help:"Serial number."`
	Owner   string `help:"Owner."`
	Claim   string `help:"What the owner says is wrong, in the owner's words."`
	Case    string `enum:"closed,propped,open,unknown" default:"closed" help:"Case state: ${enum}."`
	JSON    bool   `help:"One JSON object on standard output."`
}

func (jobOpenVerb) Help() string {
	return `Example: headstack job open --machine hexastrand --serial 0417 --claim "records weak on some tracks"`
}

func (v *jobOpenVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		id, err := definitionID(e, b, v.Machine)
		if err != nil {
			return err
		}
		j, err := b.OpenJob(e.ctx, job.NewJob{Definition: id, Serial: v.Serial, Owner: v.Owner, Claim: v.Claim, Case: caseState(v.Case)})
		if err != nil {
			return err
		}
		if v.JSON {
			return printJSON(e.out, j)
		}
		fmt.Fprintf(e.out, "%s: %s, serial %s\n", j.ID, j.Name, orNone(j.Serial))
		return nil
	})
}

// definitionID adds a definition file to the bench, or passes an id through.
func definitionID(e *env, b *job.Bench, name string) (string, error) {
	data, isFile, err := fileOrID(name)
	if err != nil || !isFile {
		return name, err
	}
	info, err := b.AddDefinition(e.ctx, name, data)
	return info.ID, err
}

// tapeID does the same for a test tape.
func tapeID(e *env, b *job.Bench, name string) (string, error) {
	data, isFile, err := fileOrID(name)
	if err != nil || !isFile {
		return name, err
	}
	info, err := b.AddTape(e.ctx, name, data)
	return info.ID, err
}

type jobListVerb struct {
	benchFlag
	JSON bool `help:"One JSON array on standard output."`
}

func (v *jobListVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		jobs, err := b.Jobs(e.ctx)
		if err != nil {
			return err
		}
		if v.JSON {
			return printJSON(e.out, jobs)
		}
		if len(jobs) == 0 {
			fmt.Fprintln(e.out, "no jobs yet: headstack job open --machine hexastrand --serial NUMBER")
			return nil
		}
		w := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "job\tmachine\tserial\tchecks\treadings\tcaptures\topened")
		for _, j := range jobs {
			fmt.Fprintf(w, "%s\t%s\t%s\t%d\t%d\t%d\t%s\n", j.ID, j.Name, orNone(j.Serial), j.Checks, j.Readings, j.Captures, j.Opened.Format("2006-01-02 15:04Z07:00"))
		}
		return w.Flush()
	})
}

type jobShowVerb struct {
	benchFlag
	JSON bool   `help:"One JSON object on standard output."`
	Job  string `arg:"" help:"Job id, such as job-0001."`
}

func (v *jobShowVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		view, err := b.View(e.ctx, v.Job)
		if err != nil {
			return err
		}
		if v.JSON {
			return printJSON(e.out, struct {
				Job     job.Job
				Entries []job.Entry
			}{view.Job, view.Entries})
		}
		j := view.Job
		fmt.Fprintf(e.out, "%s: %s, serial %s, owner %s\n", j.ID, j.Name, orNone(j.Serial), orNone(j.Owner))
		if j.Claim != "" {
			fmt.Fprintf(e.out, "owner's words: %s\n", j.Claim)
		}
		w := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "entry\twhen\tcase\twhat\t")
		for _, x := range view.Entries {
			mark := ""
			if c := view.CorrectedBy(x.Seq); c != nil {
				mark = "replaced by " + c.Ref
				if c.Withdraw {
					mark = "taken back"
				}
			}
			fmt.Fprintf(w, "%d %s\t%s\t%s\t%s\t%s\n", x.Seq, x.Ref, x.At.Format("2006-01-02 15:04:05Z07:00"), x.Case, entryText(x), mark)
		}
		return w.Flush()
	})
}

// entryText is one line that says what an entry holds.
func entryText(x job.Entry) string {
	s := x.Remark
	switch {
	case x.Withdraw:
		s = fmt.Sprintf("takes back entry %d. %s", x.Corrects, x.Remark)
	case x.Check != nil:
		what := x.Check.Item
		if what == "" {
			what = x.Check.Function + " " + x.Check.Key
		}
		s = fmt.Sprintf("%s: %s %s %s", what, x.Check.Outcome, x.Check.Symptom, x.Remark)
	case x.Reading != nil:
		s = designator(*x.Reading) + ": " + strconv.FormatFloat(x.Reading.Value, 'g', -1, 64) + " " + x.Reading.Unit
		if x.Reading.ToneHz > 0 {
			s += " with " + unit.Frequency(unit.Hertz(x.Reading.ToneHz))
		}
		s += " " + x.Reading.Instrument + " " + x.Remark
	case x.Capture != nil:
		s = fmt.Sprintf("%s, %s of %q, tracks %v, %d figures %s", x.Capture.File, x.Capture.Function, x.Capture.Played(), x.Capture.Tracks, len(x.Capture.Report.Measures), x.Remark)
	}
	return s
}

func orNone(s string) string {
	if s == "" {
		return "not stated"
	}
	return s
}
