package report

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"time"

	"headstack/job"
	"headstack/machine"
	"headstack/measure"
	"headstack/unit"
)

// Found is a set of captures taken the same way, measured together.
type Found struct {
	Heading  string
	Captures []string  // refs and files
	Means    []string  // what was played and captured with
	Chapters []Chapter // their tables cut to the sheet of the HTML report
	Whole    []Chapter // the same, uncut
	Warnings []string
	Missing  []string       // sections that were not found, with the reason
	Losses   *Losses        // what the losses say; nil where that was not asked
	First    job.Capture    // the first of the captures: what all were taken with
	Joined   measure.Report // all of them together
}

// way is all in which captures must agree for their figures to stand together.
type way struct {
	function, played, playedSHA, faceSHA string
	whileRecording                       bool
	state                                measure.CaseState
}

// FoundIn groups the captures of a job by function, by what was played and through which
// interface, and by case state, and sets their figures out together. Of several figures
// for one place the first taken stands: that is what "as found" means.
func FoundIn(v *job.View, loopedBack map[string]time.Time) []Found {
	var ways []way
	together := map[way]*measure.Report{}
	found := map[way]*Found{}
	for _, e := range v.Current {
		if e.Capture == nil {
			continue
		}
		c := *e.Capture
		k := way{c.Function, c.Played(), c.TapeSHA + c.ProgrammeSHA, c.InterfaceSHA, c.WhileRecording, e.Case}
		if found[k] == nil {
			ways = append(ways, k)
			found[k] = &Found{Heading: headingOf(v, c, e.Case), Means: MeansOf(c, loopedBack), First: c}
			together[k] = &measure.Report{}
		}
		found[k].take(e.Ref, c)
		join(together[k], c.Report)
	}
	var out []Found
	for i, k := range ways {
		f := found[k]
		f.Joined = *together[k]
		f.Whole = Chapters(*together[k], Centres(v.Def), "found"+strconv.Itoa(i+1)+"-")
		f.Chapters = forPaper(slices.Clone(f.Whole))
		out = append(out, *f)
	}
	return out
}

func headingOf(v *job.View, c job.Capture, state measure.CaseState) string {
	s := fmt.Sprintf("%s of %s", functionName(v, c.Function), c.Played())
	if c.WhileRecording {
		s += ", taken while it was recorded"
	}
	return s + ", " + CaseWord(state)
}

func (f *Found) take(ref string, c job.Capture) {
	f.Captures = append(f.Captures, ref+": "+c.File)
	for _, w := range c.Report.Warnings {
		add(&f.Warnings, w)
	}
	for _, s := range c.Report.Sections {
		if !s.Found {
			f.Missing = append(f.Missing, fmt.Sprintf("section %q of %s not found: %s", s.Name, c.File, s.Reason))
		}
	}
}

// join adds a report to another. A course that is there already is left out: two of them
// in one picture would look like two tracks.
func join(to *measure.Report, from measure.Report) {
	to.Measures = append(to.Measures, from.Measures...)
	for _, t := range from.Traces {
		if t.Name != "level_time" && !hasTrace(to.Traces, t) {
			to.Traces = append(to.Traces, t)
		}
	}
}

func hasTrace(ts []measure.Trace, t measure.Trace) bool {
	for _, o := range ts {
		if o.Name == t.Name && o.Track == t.Track && o.TrackB == t.TrackB && o.Section == t.Section && o.ToneHz == t.ToneHz {
			return true
		}
	}
	return false
}

// manyDelays is how many delays of pairs at tones are printed; of more the picture's own
// table is, which has them along the head.
const manyDelays = 100

// forPaper fits the tables to the sheet.
func forPaper(cs []Chapter) []Chapter {
	for i := range cs {
		c := &cs[i]
		kept := c.Tables[:0:0]
		for _, t := range c.Tables {
			if t.Name == "delay" && len(t.Rows)*len(t.Columns) > manyDelays && c.stands("delay") {
				continue
			}
			kept = append(kept, t)
		}
		c.Tables = paper(kept)
	}
	return cs
}

// stands makes the table of a picture stand by itself, and says whether there is one.
func (c *Chapter) stands(picture string) bool {
	for i := range c.Pictures {
		if c.Pictures[i].Name == picture {
			c.Pictures[i].Doubled = false
			return true
		}
	}
	return false
}

// Centres are the places of the tracks across the tape.
func Centres(def *machine.Definition) []unit.Metre {
	var out []unit.Metre
	for _, t := range def.Geometry().Tracks {
		out = append(out, t.Centre)
	}
	return out
}

// MeansOf says how a capture was taken: what was played, with which interface.
func MeansOf(c job.Capture, loopedBack map[string]time.Time) []string {
	out := []string{"Test tape: " + c.Tape}
	if c.Programme != "" {
		out[0] = "Record programme: " + c.Programme
		if c.WhileRecording {
			out[0] += ", captured while it was recorded"
		}
	}
	return append(out, "Capture interface: "+InterfaceText(c, loopedBack))
}

// InterfaceText says whether the capture interface's own response is in the figures:
// "bench box, looped back on 4 May 2031; its response is taken off".
func InterfaceText(c job.Capture, loopedBack map[string]time.Time) string {
	if c.Interface == "" {
		return "none named; its own response is in the figures"
	}
	s := c.Interface
	if at, ok := loopedBack[c.InterfaceSHA]; ok && !at.IsZero() {
		s += ", looped back on " + at.UTC().Format("2 January 2006")
	}
	return s + "; its response is taken off"
}

// LoopedBack asks the bench when the interfaces of a job's captures were looped back, by
// the SHA-256 of the loop-back. One that the bench cannot tell of is left out.
func LoopedBack(ctx context.Context, v *job.View, bench interface {
	Loopback(ctx context.Context, id string) (job.Loopback, error)
}) map[string]time.Time {
	out := map[string]time.Time{}
	for _, e := range v.Entries {
		if e.Capture == nil || e.Capture.InterfaceSHA == "" {
			continue
		}
		if _, asked := out[e.Capture.InterfaceSHA]; asked {
			continue
		}
		if l, err := bench.Loopback(ctx, e.Capture.InterfaceSHA); err == nil {
			out[e.Capture.InterfaceSHA] = l.Response.When
		}
	}
	return out
}

func functionName(v *job.View, id string) string {
	if f, ok := v.Def.Function(id); ok && f.Name != "" {
		return f.Name
	}
	if id == "" {
		return "play"
	}
	return id
}
