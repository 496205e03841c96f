package machine

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
)

// summary writes the recorder as a whole.
func (d *Definition) summary(w io.Writer) {
	fmt.Fprintf(w, "%s %s (%s)\n", d.Make, d.Name, d.ID)
	if n := strings.TrimSpace(d.Notes); n != "" {
		fmt.Fprintf(w, "%s\n", n)
	}
	fmt.Fprintf(w, "\nTape: %s, %g mm; %d tracks %g mm wide, %g mm apart\n", d.Medium.Kind, d.Medium.WidthMm, d.Tracks.Count, d.Tracks.WidthMm, d.Tracks.PitchMm)
	for _, s := range d.Speeds {
		low := fmt.Sprintf("%g µs", s.LowUs)
		if s.LowUs == 0 {
			low = "none"
		}
		fmt.Fprintf(w, "Speed: %g cm/s ±%g %%, replay %g µs, low %s\n", s.CmS, s.TolerancePercent, s.HighUs, low)
	}
	fmt.Fprintf(w, "Reference: %g nWb/m at %g Hz (%s); %s\n", d.Reference.FluxivityNWbM, d.Reference.ToneHz, d.Reference.Convention, d.Reference.Output)
	fmt.Fprintf(w, "Supply: class %s, %s\n", d.Supply.Class, d.Supply.Text)
	for _, s := range d.Speeds {
		if on := d.onceRoundText(s.CmS); on != "" {
			fmt.Fprintf(w, "Turning at %g cm/s: %s\n", s.CmS, on)
		}
	}
	for _, g := range d.Groups {
		fmt.Fprintf(w, "Group %s (%s): tracks %s\n", g.ID, g.Name, numbers(g.Tracks, 0))
	}
	trims := 0
	for _, t := range d.Trims {
		trims += len(d.ReplicaKeys(t.Each))
	}
	fmt.Fprintf(w, "%d stages, %d trims, %d check items\n", len(d.Instances()), trims, len(d.CheckItems()))

	d.summaryPlaces(w)
	d.summaryPoints(w)
	fmt.Fprint(w, "\nBefore any work\n")
	for _, c := range Cautions(d) {
		fmt.Fprintf(w, "  - %s\n", c)
	}
}

func (d *Definition) summaryPlaces(w io.Writer) {
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprint(t, "\nBoards\n")
	for _, b := range d.Boards {
		fmt.Fprintf(t, "  %s\t%s\t%s\treached at %s\n", b.ID, b.Name, b.Place, b.Opening)
	}
	t.Flush()
	fmt.Fprint(t, "\nConnectors\n")
	for _, c := range d.Connectors {
		fmt.Fprintf(t, "  %s\t%s to %s\t%d pins\t%s\n", c.ID, c.A.Board, c.B.Board, len(c.A.Pins), plugNote(&c))
	}
	t.Flush()
	fmt.Fprint(t, "\nOpenings (minutes down/up from closed)\n")
	for _, o := range d.Openings {
		down, up, after := d.OpeningMinutes(o.ID)
		note := ""
		if after > 0 {
			note = fmt.Sprintf("and %g min afterwards: %s", float64(after), o.AfterWhy)
		}
		fmt.Fprintf(t, "  %s\t%s\tfrom %s\t%g/%g\t%s\n", o.ID, o.Name, o.From, float64(down), float64(up), note)
	}
	t.Flush()
}

// plugNote names what can go wrong with a plug.
func plugNote(c *Connector) string {
	var notes []string
	if !c.Keyed {
		notes = append(notes, "NOT KEYED")
	}
	if c.Mirrored {
		notes = append(notes, fmt.Sprintf("MIRRORED: pin n on %s is pin %d−n on %s", c.B.Board, len(c.A.Pins)+1, c.A.Board))
	}
	if c.Rated > 0 {
		notes = append(notes, fmt.Sprintf("rated for %d insertions", c.Rated))
	}
	return strings.Join(notes, ", ")
}

func (d *Definition) summaryPoints(w io.Writer) {
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprint(t, "\nFunctions\n")
	for _, f := range d.Functions {
		each := f.Each
		if each == "" {
			each = "whole recorder"
		}
		fmt.Fprintf(t, "  %s\t%s\t%s\n", f.ID, each, f.Name)
	}
	t.Flush()
	fmt.Fprint(t, "\nTest points\n")
	for i := range d.TestPoints {
		p := &d.TestPoints[i]
		keys := d.ReplicaKeys(p.Each)
		if len(keys) == 0 {
			continue
		}
		// The first replica that no exception touches would be more general;
		// the rule itself is what a summary shows.
		bare := *d
		bare.Exceptions = nil
		fmt.Fprintf(t, "  %s\t%s\t%s\t%s\n", p.Part, p.Name, p.Board, bare.ExpectText(p, keys[0]))
	}
	t.Flush()
}

// onceRoundText lists how often each part of the transport turns.
func (d *Definition) onceRoundText(speedCmS float64) string {
	var parts []string
	for _, r := range d.OnceRound(speedCmS) {
		rate := fmt.Sprintf("%.4g Hz", r.LowHz)
		if r.HighHz > r.LowHz {
			rate = fmt.Sprintf("%.3g to %.3g Hz", r.LowHz, r.HighHz)
		}
		parts = append(parts, r.Name+" "+rate)
	}
	return strings.Join(parts, ", ")
}
