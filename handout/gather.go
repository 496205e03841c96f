package handout

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/report"
	"headstack/teardown"
	"headstack/testtape"
)

// Bench is what documents need of the domain. [job.Bench] is one.
type Bench interface {
	View(ctx context.Context, jobID string) (*job.View, error)
	LineUp(ctx context.Context, jobID string) (*job.LineUp, *job.View, error)
	Openings(ctx context.Context, jobID string, opt job.OpeningOptions) (*teardown.Plan, *job.View, error)
	Loopback(ctx context.Context, id string) (job.Loopback, error)
	Tapes(ctx context.Context) ([]job.TapeInfo, error)
	TapeYAML(ctx context.Context, id string) ([]byte, job.TapeInfo, error)
	PhotographImage(ctx context.Context, jobID string, seq int64, width int) (job.Image, error)
}

// Advise says what is known of the cures of a job; [job.Bench.Advise] does.
type Advise func(ctx context.Context, v *job.View) (*diagnosis.Advice, error)

// Gather takes from the bench what a hand-over or a card is made of. What cannot be reckoned
// is said in its place, with the reason.
func Gather(ctx context.Context, b Bench, jobID, program string, advise Advise) (Data, error) {
	v, err := b.View(ctx, jobID)
	if err != nil {
		return Data{}, err
	}
	d := Data{View: v, Program: program, LoopedBack: report.LoopedBack(ctx, v, b),
		Photographs: func() []report.Photograph { return report.PhotographsOf(ctx, v, b) }}
	if d.LineUp, _, err = b.LineUp(ctx, jobID); err != nil {
		none, ok := errors.AsType[*job.NoLineUpError](err)
		if !ok {
			return Data{}, err
		}
		d.NoLineUp = none.Err.Error()
	}
	a, err := advise(ctx, v)
	switch {
	case ctx.Err() != nil:
		return Data{}, ctx.Err()
	case err != nil:
		d.NoAdvice = err.Error()
	default:
		d.Unproven = a.Unproven
	}
	return d, nil
}

// LabelKind is what labels are of.
type LabelKind string

// The kinds of label.
const (
	OfFaults     LabelKind = "faults"
	OfCups       LabelKind = "cups"       // of screws, one for each opening
	OfConnectors LabelKind = "connectors" // two each
	OfTapes      LabelKind = "tapes"
)

// LabelKinds are the kinds, in the order in which they are offered.
func LabelKinds() []LabelKind { return []LabelKind{OfFaults, OfCups, OfConnectors, OfTapes} }

// LabelsOf are the labels of one kind for a job. Cups and connectors are those of the planned
// openings, or with all those of the whole recorder, as also where nothing is planned. The
// error is a [NoLabelsError] where there are none.
func LabelsOf(ctx context.Context, b Bench, jobID string, kind LabelKind, all bool) ([]Label, *job.View, error) {
	v, err := b.View(ctx, jobID)
	if err != nil {
		return nil, nil, err
	}
	var out []Label
	none := ""
	switch kind {
	case OfFaults:
		out, none = FaultLabels(v), "no control or function was last found faulty or intermittent"
	case OfCups, OfConnectors:
		plan, err := planned(ctx, b, jobID, all)
		if err != nil {
			return nil, nil, err
		}
		if out, none = CupLabels(v, plan), "the recorder has no opening"; kind == OfConnectors {
			out, none = ConnectorLabels(v, plan), "no connector is parted"
		}
	case OfTapes:
		tapes, passes, err := tapesOf(ctx, b, v)
		if err != nil {
			return nil, nil, err
		}
		out, none = TapeLabels(v, tapes, passes), "no test tape of the recorder's speeds is in the library"
	default:
		return nil, nil, &job.InvalidError{Field: "labels of", Value: string(kind), Problem: "is not a kind of label", Nearest: []string{"faults", "cups", "connectors", "tapes"}}
	}
	if len(out) == 0 {
		return nil, v, &NoLabelsError{none}
	}
	return out, v, nil
}

// planned is the plan of openings; nil stands for the whole recorder.
func planned(ctx context.Context, b Bench, jobID string, all bool) (*teardown.Plan, error) {
	if all {
		return nil, nil
	}
	plan, _, err := b.Openings(ctx, jobID, job.OpeningOptions{})
	if _, none := errors.AsType[*job.NoTasksError](err); none {
		return nil, nil
	}
	return plan, err
}

// tapesOf are the test tapes of the recorder's speeds, and how often the job played each.
func tapesOf(ctx context.Context, b Bench, v *job.View) ([]*testtape.Tape, map[string]int, error) {
	list, err := b.Tapes(ctx)
	if err != nil {
		return nil, nil, err
	}
	passes := map[string]int{}
	for _, e := range v.Current {
		switch {
		case e.Capture != nil && e.Capture.Tape != "":
			passes[e.Capture.Tape]++
		case e.Pass != nil:
			name := e.Pass.Tape
			if i := slices.IndexFunc(list, func(t job.TapeInfo) bool { return t.ID == name }); i >= 0 {
				name = list[i].Name
			}
			passes[name]++
		}
	}
	var out []*testtape.Tape
	for _, i := range list {
		yaml, _, err := b.TapeYAML(ctx, i.SHA)
		if err != nil {
			return nil, nil, err
		}
		t, err := testtape.Load(i.ID+".yaml", yaml)
		if err != nil {
			return nil, nil, fmt.Errorf("test tape %s: %w", i.ID, err)
		}
		if _, fits := v.Def.Speed(t.SpeedCmS); fits {
			out = append(out, t)
		}
	}
	return out, passes, nil
}
