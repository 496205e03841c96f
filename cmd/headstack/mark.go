package main

import (
	"fmt"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"headstack/job"
)

type markVerb struct {
	Set    markSetVerb    `cmd:"" help:"Mark a test point, trim, connector or stage on a picture, or move its mark."`
	Remove markRemoveVerb `cmd:"" help:"Take a mark off a picture."`
	List   markListVerb   `cmd:"" help:"List the marks of a picture and what is not marked yet."`
}

// markJSON is a mark for scripts: fractions of width and height from the upper left corner.
type markJSON struct {
	Part  string  `json:"part"`
	X     float64 `json:"x"`
	Y     float64 `json:"y"`
	Label string  `json:"label,omitempty"`
}

func markOut(m job.Mark) markJSON { return markJSON{m.Part, m.X, m.Y, m.Label} }

type markSetVerb struct {
	benchFlag
	Label   string `help:"Shown beside it; without it the designator."`
	Def     string `arg:"" name:"def" help:"Recorder type, by id."`
	Picture string `arg:"" help:"Picture, by id."`
	Part    string `arg:"" help:"What is there: TP10-3, VRa-3, W5, C31-a."`
	Across  string `arg:"" help:"How far from the left edge: 0.25 or 25%."`
	Down    string `arg:"" help:"How far from the upper edge: 0.25 or 25%."`
}

func (markSetVerb) Help() string {
	return "Example: headstack mark set hexastrand tape-parts-side TP10-3 31.5% 62%"
}

func (v *markSetVerb) Run(e *env) error {
	x, err := fraction("across", v.Across)
	if err != nil {
		return err
	}
	y, err := fraction("down", v.Down)
	if err != nil {
		return err
	}
	return v.with(e, func(b *job.Bench) error {
		m, err := b.SetMark(e.ctx, v.Def, job.Mark{Picture: v.Picture, Part: v.Part, X: x, Y: y, Label: v.Label})
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(e.out, "marked %s at %.2f %% across, %.2f %% down\n", m.Part, 100*m.X, 100*m.Y)
		return err
	})
}

// fraction reads "0.25" or "25%".
func fraction(what, s string) (float64, error) {
	number, percent := strings.CutSuffix(strings.TrimSpace(s), "%")
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if err != nil {
		return 0, usage("%s %q is no fraction: give 0.25 or 25%%", what, s)
	}
	if percent {
		v /= 100
	}
	return v, nil
}

type markRemoveVerb struct {
	benchFlag
	Def     string `arg:"" name:"def" help:"Recorder type, by id."`
	Picture string `arg:"" help:"Picture, by id."`
	Part    string `arg:"" help:"Designator of the mark."`
}

func (v *markRemoveVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		if err := b.RemoveMark(e.ctx, v.Def, v.Picture, v.Part); err != nil {
			return err
		}
		_, err := fmt.Fprintf(e.out, "%s is not marked on %s any more; where it was stays in the record\n", v.Part, v.Picture)
		return err
	})
}

type markListVerb struct {
	benchFlag
	History bool   `help:"All that was ever marked, the oldest first."`
	JSON    bool   `help:"A JSON array of the marks."`
	Def     string `arg:"" name:"def" help:"Recorder type, by id."`
	Picture string `arg:"" help:"Picture, by id."`
}

func (v *markListVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		p, err := b.Picture(e.ctx, v.Def, v.Picture)
		if err != nil {
			return err
		}
		if v.History {
			return v.history(e, b)
		}
		marks, err := b.Marks(e.ctx, v.Def)
		if err != nil {
			return err
		}
		own := pictureOut(p, marks).Marks
		if v.JSON {
			return printJSON(e.out, own)
		}
		w := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "part\tacross\tdown\tlabel")
		for _, m := range own {
			fmt.Fprintf(w, "%s\t%.2f %%\t%.2f %%\t%s\n", m.Part, 100*m.X, 100*m.Y, m.Label)
		}
		if err := w.Flush(); err != nil {
			return err
		}
		left, err := b.Unmarked(e.ctx, v.Def, p.ID)
		if err != nil {
			return err
		}
		var parts []string
		for _, t := range left {
			parts = append(parts, t.Part)
		}
		_, err = fmt.Fprintf(e.out, "not marked yet, %d: %s\n", len(parts), strings.Join(parts, "  "))
		return err
	})
}

func (v *markListVerb) history(e *env, b *job.Bench) error {
	list, err := b.MarkHistory(e.ctx, v.Def, v.Picture)
	if err != nil {
		return err
	}
	if v.JSON {
		type change struct {
			markJSON
			Removed bool      `json:"removed"`
			At      time.Time `json:"at"`
		}
		out := []change{}
		for _, h := range list {
			out = append(out, change{markOut(h.Mark), h.Removed, h.At})
		}
		return printJSON(e.out, out)
	}
	w := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "when\tpart\tacross\tdown\twhat")
	for _, h := range list {
		what := "marked"
		if h.Removed {
			what = "removed"
		}
		fmt.Fprintf(w, "%s\t%s\t%.2f %%\t%.2f %%\t%s\n", h.At.Format("2006-01-02 15:04Z07:00"), h.Part, 100*h.X, 100*h.Y, what)
	}
	return w.Flush()
}
