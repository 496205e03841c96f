package main

import (
	"fmt"
	"slices"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
)

// closingVerb closes a job: by default it shows what would be kept.
type closingVerb struct {
	entryFlags
	Confirm   bool     `help:"Keep it: the job is closed."`
	Reopen    bool     `xor:"what" help:"Take the closing back: the job is open again."`
	Fault     []string `sep:"none" placeholder:"PART=CAUSE" help:"A part that was proved at fault, in place of what is proposed; several times. Without =CAUSE: a cause that the definition does not list."`
	Unproven  []string `sep:"none" placeholder:"PART=WORK" help:"A part after whose cleaning, reseating, reflow or swap the fault was gone, and nobody knows why; several times."`
	None      bool     `xor:"what" help:"Nothing was at fault."`
	Complaint []string `placeholder:"WORD,.." help:"What was wrong: dead, weak, dull, thin, noisy, intermittent."`
	Returned  string   `placeholder:"JOB" help:"The job from which the machine came back; none where it did not."`
	Job       string   `arg:"" help:"Job id."`
}

func (closingVerb) Help() string {
	return `Examples: headstack closing job-0001
          headstack closing job-0001 --confirm
          headstack closing job-0001 --fault "C31-a=dried out: capacitance lost" --unproven H-4=clean --confirm
          headstack closing job-0001 --reopen --remark "it hums again"

What was proved at fault becomes part of the priors of the next job: headstack counts shows them.
A closed job is closed anew, with what is given, by --confirm; the old closing stays in the record.`
}

func (v *closingVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		c, view, err := b.ProposeClosing(e.ctx, v.Job)
		if err != nil {
			return err
		}
		standing := view.Closing()
		if v.Reopen {
			if standing == nil {
				return &fault{exitError, fmt.Errorf("%s is not closed", v.Job), "nothing was changed"}
			}
			x, err := b.Withdraw(e.ctx, v.Job, standing.Seq, v.Remark)
			if err != nil {
				return err
			}
			return v.say(e, x)
		}
		changed, err := v.change(&c)
		if err != nil {
			return err
		}
		if !v.Confirm {
			return v.propose(e, view, c)
		}
		entry := job.Entry{Kind: job.KindClosing, Case: caseState(v.Case), Remark: v.Remark, Closing: &c}
		switch {
		case standing == nil:
			entry, err = b.Record(e.ctx, v.Job, entry)
		case !changed:
			return &fault{exitError, fmt.Errorf("%s is closed already, by %s", v.Job, standing.Ref), "say what is right instead with --fault, --unproven, --none, --complaint or --returned; --reopen takes it back"}
		default:
			entry, err = b.Correct(e.ctx, v.Job, standing.Seq, entry)
		}
		if err != nil {
			return err
		}
		if v.JSON {
			return printJSON(e.out, entry)
		}
		fmt.Fprintf(e.out, "kept as %s (entry %d): %s\n", entry.Ref, entry.Seq, entry.Closing.Text(view.Def))
		return nil
	})
}

// change puts in what was given in place of what was proposed.
func (v *closingVerb) change(c *job.Closing) (changed bool, err error) {
	if len(v.Fault)+len(v.Unproven) > 0 || v.None {
		if v.None && len(v.Fault)+len(v.Unproven) > 0 {
			return false, usage("--none does not go with --fault or --unproven")
		}
		c.Faults, changed = nil, true
	}
	for _, f := range v.Fault {
		part, cause, _ := strings.Cut(f, "=")
		c.Faults = append(c.Faults, job.ClosedFault{Stage: part, Cause: cause, Proven: true, Work: diagnosis.WorkRepair})
	}
	for _, f := range v.Unproven {
		part, work, ok := strings.Cut(f, "=")
		if !ok {
			work = string(diagnosis.WorkClean)
		}
		c.Faults = append(c.Faults, job.ClosedFault{Stage: part, Work: diagnosis.WorkKind(work)})
	}
	if len(v.Complaint) > 0 {
		c.Complaint, changed = nil, true
		for _, w := range v.Complaint {
			c.Complaint = append(c.Complaint, diagnosis.Symptom(w))
		}
	}
	if v.Returned != "" {
		c.Returned, changed = v.Returned, true
		if v.Returned == "none" {
			c.Returned = ""
		}
	}
	return changed, nil
}

// propose shows what would be kept.
func (v *closingVerb) propose(e *env, view *job.View, c job.Closing) error {
	if v.JSON {
		return printJSON(e.out, c)
	}
	if x := view.Closing(); x != nil {
		fmt.Fprintf(e.out, "%s is %s\n", v.Job, x.Closing.Text(view.Def))
		return nil
	}
	fmt.Fprintf(e.out, "%s would be %s\n", v.Job, c.Text(view.Def))
	for _, f := range c.Faults {
		if f.Proven && f.Cause == "" {
			fmt.Fprintf(e.out, "of %s no cause is known; the definition lists: %s\n", f.Part(view.Def), strings.Join(job.Causes(view.Def, f.Stage), "; "))
		}
	}
	if slices.ContainsFunc(c.Faults, func(f job.ClosedFault) bool { return !f.Proven }) {
		fmt.Fprintln(e.out, "a cure without a proven cause counts neither for nor against its part")
	}
	fmt.Fprintln(e.out, "nothing is kept yet: --confirm keeps it")
	return nil
}
