package machine

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
)

// Describe writes a definition for a person: with track 0 the recorder as a
// whole, with a track from 1 every function of that track as a list of its
// stages, with designator, board and the test points that follow each stage.
// Shared and group stages are marked, because a fault there shows on the other
// tracks too. The error is w's, or says that there is no such track.
func Describe(w io.Writer, d *Definition, track int) error {
	out := &errWriter{w: w}
	if track == 0 {
		d.summary(out)
		return out.err
	}
	if track < 1 || track > d.Tracks.Count {
		return fmt.Errorf("machine %s has no track %d; it has 1 to %d", d.ID, track, d.Tracks.Count)
	}
	fmt.Fprintf(out, "%s %s, track %d", d.Make, d.Name, track)
	if g, ok := d.GroupOf(track); ok {
		fmt.Fprintf(out, " (group %s, %s, with tracks %s)", g.ID, g.Name, numbers(g.Tracks, track))
	}
	fmt.Fprint(out, "\n")
	for _, f := range d.Functions {
		if path, ok := d.pathForTrack(&f, track); ok && !d.isPiece(f.ID) {
			d.describePath(out, &f, path, strconv.Itoa(track))
		}
	}
	return out.err
}

// pathForTrack is the path of a function as far as one track is concerned. A
// function of the whole recorder has no part in a single track.
func (d *Definition) pathForTrack(f *Function, track int) ([]Instance, bool) {
	key := strconv.Itoa(track)
	if f.Each == "" || !slices.Contains(d.ReplicaKeys(f.Each), key) {
		return nil, false
	}
	path, err := d.Path(f.ID, key)
	return path, err == nil
}

// isPiece tells whether a function exists only to be part of others: it is not
// tried by itself, has no test point, and another contains it.
func (d *Definition) isPiece(id string) bool {
	f, _ := d.Function(id)
	if f == nil || f.CheckMinutes > 0 {
		return false
	}
	if slices.ContainsFunc(d.TestPoints, func(t TestPoint) bool { return t.Function == id }) {
		return false
	}
	return slices.ContainsFunc(d.Functions, func(g Function) bool { return slices.Contains(g.Through, "@"+id) })
}

func (d *Definition) describePath(w io.Writer, f *Function, path []Instance, key string) {
	fmt.Fprintf(w, "\n%s: %s\n", f.ID, f.Name)
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for _, in := range path {
		fmt.Fprintf(t, "  %s\t%s\t%s\t%s\n", in.Part(), in.Stage.Name, in.Stage.Board, d.shareNote(in))
		for _, p := range d.pointsAfter(f.ID, in.Stage.ID) {
			k, ok := d.pointKey(p, f, key)
			if !ok {
				continue
			}
			fmt.Fprintf(t, "    ↳ %s\t%s\t%s\t%s\n", expand(p.Part, p.Each, k), p.Name, p.Board, d.expectNote(p, k))
		}
	}
	t.Flush()
}

// shareNote says whom else a stage serves.
func (d *Definition) shareNote(in Instance) string {
	switch in.Stage.Each {
	case "":
		return "shared by all"
	case EachTrack:
		return ""
	}
	return in.Stage.Each + " " + in.Key
}

func (d *Definition) pointsAfter(function, stage string) []*TestPoint {
	var out []*TestPoint
	for i := range d.TestPoints {
		if t := &d.TestPoints[i]; t.Function == function && t.After == stage {
			out = append(out, t)
		}
	}
	return out
}

// pointKey is the replica of a test point that a function's key meets.
func (d *Definition) pointKey(t *TestPoint, f *Function, key string) (string, bool) {
	k, err := d.resolve(t.Each, f.Each, key, f.With)
	return k, err == nil
}

func (d *Definition) expectNote(t *TestPoint, key string) string {
	s := d.ExpectText(t, key)
	if t.Mode != "" {
		s += "; " + t.Mode
	}
	return s
}

// ExpectText is the expected value of a test point's replica as a person reads
// it: "38 mV ±2 dB", "2 to 6.5 Hz", "below 60 mV", with exceptions applied.
func (d *Definition) ExpectText(t *TestPoint, key string) string {
	q := t.Expect
	factor := 1.0
	if e := t.ExpectedSI(); e.Value != 0 {
		factor = d.Expected(t, key).Value / e.Value
	}
	var s string
	switch {
	case q.Value != 0:
		s = number(q.Value*factor) + " " + q.Unit
	case q.Low != 0:
		s = number(q.Low*factor) + " to " + number(q.High*factor) + " " + q.Unit
	case q.Max != 0:
		s = "below " + number(q.Max) + " " + q.Unit
	default:
		return "no expected value"
	}
	if q.SpreadDB != 0 {
		s += " ±" + number(q.SpreadDB) + " dB"
	}
	if q.SpreadPercent != 0 {
		s += " ±" + number(q.SpreadPercent) + " %"
	}
	if q.Note != "" {
		s += " (" + q.Note + ")"
	}
	return s
}

// number writes a value with at most four figures and a true minus sign.
func number(x float64) string {
	return strings.Replace(strconv.FormatFloat(x, 'g', 4, 64), "-", "−", 1)
}

func numbers(list []int, without int) string {
	var out []string
	for _, n := range list {
		if n != without {
			out = append(out, strconv.Itoa(n))
		}
	}
	return strings.Join(out, ", ")
}

// errWriter keeps the first error of a series of writes.
type errWriter struct {
	w   io.Writer
	err error
}

func (e *errWriter) Write(p []byte) (int, error) {
	if e.err != nil {
		return 0, e.err
	}
	n, err := e.w.Write(p)
	e.err = err
	return n, err
}
