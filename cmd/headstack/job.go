package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"

	"headstack/diagnosis"
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
			fmt.Fprintf(w, "%d %s\t%s\t%s\t%s\t%s\n", x.Seq, x.Ref, x.At.Format("2006-01-02 15:04:05Z07:00"), x.Case, entryLine(view, x), mark)
		}
		return w.Flush()
	})
}

// entryLine is entryText with parts named as they are printed on them.
func entryLine(view *job.View, x job.Entry) string {
	if x.Work != nil && !x.Withdraw {
		x.Remark = strings.TrimSpace(x.Work.Text(view.Def) + " " + x.Remark)
		x.Work = nil
	}
	if x.Closing != nil && !x.Withdraw {
		x.Remark = strings.TrimSpace(x.Closing.Text(view.Def) + " " + x.Remark)
		x.Closing = nil
	}
	if x.Turn != nil && !x.Withdraw {
		x.Remark = strings.TrimSpace(x.Turn.Text(view.Def) + " " + x.Remark)
		x.Turn = nil
	}
	return entryText(x)
}

// entryText is one line that says what an entry holds.
func entryText(x job.Entry) string {
	s := entryWords(x)
	if x.Minutes > 0 {
		s = fmt.Sprintf("%s (%g min)", strings.TrimSpace(s), math.Round(10*float64(x.Minutes))/10)
	}
	return s
}

func entryWords(x job.Entry) string {
	switch {
	case x.Withdraw:
		return fmt.Sprintf("takes back entry %d. %s", x.Corrects, x.Remark)
	case x.Check != nil:
		c := x.Check
		what := c.Item
		if what == "" {
			what = c.Function + " " + c.Key
		}
		return fmt.Sprintf("%s: %s %s %s", what, c.Outcome, c.Symptom, provoked(c.Provoked)+x.Remark)
	case x.Reading != nil:
		r := x.Reading
		s := designator(*r) + ": " + strconv.FormatFloat(r.Value, 'g', -1, 64) + " " + r.Unit
		if r.ToneHz > 0 {
			s += " with " + unit.Frequency(unit.Hertz(r.ToneHz))
		}
		return s + " " + r.Instrument + " " + provoked(r.Provoked) + x.Remark
	case x.Work != nil:
		return workWords(*x.Work) + " " + x.Remark
	case x.Opening != nil:
		return x.Opening.Text() + " " + x.Remark
	case x.Closing != nil:
		return closingWords(*x.Closing) + " " + x.Remark
	case x.Photograph != nil:
		return x.Photograph.File + ", " + x.Photograph.Text(nil) + " " + x.Remark
	case x.Capture != nil:
		c := x.Capture
		return fmt.Sprintf("%s, %s of %q, tracks %v, %d figures %s", c.File, c.Function, c.Played(), c.Tracks, len(c.Report.Measures), x.Remark)
	}
	return strings.TrimSpace(x.LineUpWords() + " " + x.Remark)
}

// provoked says how the recorder was treated, with a space behind it.
func provoked(p diagnosis.Provocation) string {
	if p == diagnosis.Unprovoked {
		return ""
	}
	return string(p) + " "
}

// workWords needs no definition: stage and key stand as in the record.
func workWords(w job.Work) string {
	s := string(w.Kind) + " " + w.Stage
	if w.Key != "" {
		s += "/" + w.Key
	}
	if w.With != "" {
		s += " with " + w.With
	}
	if w.Back {
		s += ", undone"
	}
	return s
}

// closingWords needs no definition either.
func closingWords(c job.Closing) string {
	if len(c.Faults) == 0 {
		return "closed, nothing at fault"
	}
	var parts []string
	for _, f := range c.Faults {
		parts = append(parts, strings.TrimSuffix(f.Stage+"/"+f.Key, "/"))
	}
	return "closed: " + strings.Join(parts, ", ")
}

func orNone(s string) string {
	if s == "" {
		return "not stated"
	}
	return s
}
