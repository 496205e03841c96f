package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/job"
	"headstack/plot"
	"headstack/signature"
	"headstack/unit"
)

// WearText sets out how the heads of a machine changed over its jobs, for pages and
// command line.
type WearText struct {
	Of       string // "5 jobs of Quernmoor Hexastrand, serial 0417"
	Refused  string // why nothing can be said; empty where something can
	Series   []WearSeriesText
	Warnings []string
}

// WearSeriesText is one capture of each job, as left or as found.
type WearSeriesText struct {
	Title     string   // "As left"
	About     string   // which captures these are
	Sentences []string // one for each track that changes
	Steady    string   // what holds of the others
	Table     Table    // the trends
	Picture   Picture
}

var wearTitles = map[job.WearWhen][2]string{
	job.AsLeft:  {"As left", "the last capture of a test tape in each job, after whatever was cleaned and set; what grows here is wear"},
	job.AsFound: {"As found", "the first capture in each job, with whatever dirt was on the heads; what grows here may be wear or dirt"},
}

// WearOf puts the wear of a machine into words and draws it. prefix begins the ids of the
// pictures' elements.
func WearOf(w job.Wear, prefix string) WearText {
	out := WearText{Refused: w.Refused, Warnings: w.Warnings, Of: fmt.Sprintf("%d jobs of %s, serial %s", len(w.Jobs), w.Name, w.Serial)}
	if len(w.Jobs) == 1 {
		out.Of = "one job of " + w.Name
	}
	for _, s := range w.Series {
		out.Series = append(out.Series, wearSeries(s, prefix))
	}
	return out
}

func wearSeries(s job.WearSeries, prefix string) WearSeriesText {
	title := wearTitles[s.When]
	out := WearSeriesText{Title: title[0], About: title[1]}
	steady, without := 0, map[string]int{}
	for _, t := range s.Tracks {
		switch main := wearTrend(s, t); {
		case main.Refused != "":
			without[main.Refused]++
		case t.Sentence != "":
			out.Sentences = append(out.Sentences, t.Sentence)
		default:
			steady++
		}
	}
	out.Steady = steadyText(steady, len(s.Tracks), without)
	out.Table = wearTable(s, out.Title)
	id := prefix + strings.ReplaceAll(string(s.When), " ", "-")
	d := wearDrawing(s, id)
	out.Picture = Picture{Name: "wear", ID: id, Title: d.Title(), Words: d.Describe(), SVG: d.SVG(), Drawing: d, Table: plot.TableOf(d)}
	return out
}

func steadyText(steady, tracks int, without map[string]int) string {
	var out []string
	for why, n := range without {
		if n == tracks {
			out = append(out, "No trend: "+why+".")
		} else {
			out = append(out, fmt.Sprintf("No trend on %d of %d tracks: %s.", n, tracks, why))
		}
	}
	slices.Sort(out)
	switch {
	case steady == tracks:
		out = append(out, "No track changes by more than its interval.")
	case steady == 1:
		out = append(out, "One track does not change by more than its interval.")
	case steady > 0:
		out = append(out, fmt.Sprintf("%d tracks do not change by more than their intervals.", steady))
	}
	return strings.Join(out, " ")
}

// wearQuantity is what a series is drawn as: what was found may be dirt, what was left is
// not.
func wearQuantity(s job.WearSeries) string {
	if s.When == job.AsFound || slices.ContainsFunc(s.Points, func(p job.WearPoint) bool { return p.Condition.DesignGapUm <= 0 }) {
		return "spacing"
	}
	return "gap"
}

func wearTrend(s job.WearSeries, t job.WearTrack) job.Trend {
	if wearQuantity(s) == "spacing" {
		return t.Spacing
	}
	return t.Gap
}

// datedOf is a series as it is drawn.
func datedOf(s job.WearSeries) plot.Dated {
	d := plot.Dated{Quantity: wearQuantity(s), Unit: "µm", HasSound: true}
	if d.Quantity == "gap" {
		d.Sound = s.Points[0].Condition.DesignGapUm
	}
	tapes := map[string]bool{}
	for _, p := range s.Points {
		tapes[p.TapeSHA] = true
		d.Columns = append(d.Columns, plot.DatedColumn{At: p.At, Name: p.At.UTC().Format("2 January 2006") + ", " + p.Job})
	}
	d.Bars = "Bars are 95" + unit.ThinSpace + "% of what repeating a capture of one tape differs by; errors of the tape's tones move all points together, and are in the band."
	if len(tapes) > 1 {
		d.Bars = "Bars are 95" + unit.ThinSpace + "% intervals with the errors of the tapes' tones, for different tapes were played."
	}
	for _, p := range s.Points {
		d.Notes = append(d.Notes, fmt.Sprintf("%s, %s: test tape %s, %s.", p.Job, entriesText(p.Entries), p.Tape, CaseWord(p.Case)))
	}
	for _, t := range s.Tracks {
		d.Tracks = append(d.Tracks, datedTrack(s, t, len(tapes) > 1))
	}
	return d
}

func entriesText(seqs []int64) string {
	if len(seqs) == 1 {
		return fmt.Sprintf("entry %d", seqs[0])
	}
	var out []string
	for _, n := range seqs {
		out = append(out, fmt.Sprint(n))
	}
	return "entries " + strings.Join(out, ", ")
}

func datedTrack(s job.WearSeries, t job.WearTrack, tapes bool) plot.DatedTrack {
	out := plot.DatedTrack{Track: t.Track}
	for _, p := range s.Points {
		for _, c := range p.Condition.Tracks {
			a := c.Gap
			if wearQuantity(s) == "spacing" {
				a = c.Spacing
			}
			if c.Track == t.Track && a.Refused == "" {
				out.Points = append(out.Points, datedPoint(p, a, tapes))
			}
		}
	}
	trend := wearTrend(s, t)
	for _, l := range trend.Line {
		out.Line = append(out.Line, plot.DatedPoint{At: l.At, Value: l.Value, Lo: l.Lo, Hi: l.Hi})
	}
	if out.Trend = "no trend: " + trend.Refused; trend.Refused == "" {
		out.Trend = rateOf(trend).String() + "/year"
	}
	return out
}

func datedPoint(p job.WearPoint, a signature.Amount, tapes bool) plot.DatedPoint {
	half := 1.96 * a.RepeatSD
	if tapes {
		half = 1.96 * math.Hypot(a.RepeatSD, a.TapeSD)
	}
	return plot.DatedPoint{At: p.At, Value: a.Value, Lo: a.Value - half, Hi: a.Value + half, Whole: [2]float64{a.Lo, a.Hi}}
}

// rateOf is a slope as a figure; its sign is always written.
func rateOf(t job.Trend) unit.Figure {
	return unit.Figure{Value: t.PerYear, Lo: t.Lo, Hi: t.Hi, Unit: t.Unit, Difference: true}
}

// wearTable has a row a track: the trend taken each way, and when the limit is reached.
func wearTable(s job.WearSeries, title string) Table {
	tone := unit.Frequency(unit.Hertz(s.TrebleHz))
	t := Table{Name: "wear", Title: "Trends, " + strings.ToLower(title), Unit: "a year", RowHead: "track",
		About:   "the treble loss taken as gap, taken as spacing, and as it is at " + tone,
		Columns: []string{"as gap", "as spacing", "loss at " + tone, fmt.Sprintf("%g dB at %s", job.LimitDB, tone)}}
	for _, k := range s.Tracks {
		row := Row{Label: fmt.Sprint(k.Track)}
		for _, x := range []job.Trend{k.Gap, k.Spacing, k.Loss} {
			row.Cells = append(row.Cells, wearCell(x))
		}
		row.Cells = append(row.Cells, limitCell(wearTrend(s, k)))
		t.Rows = append(t.Rows, row)
	}
	return t
}

func wearCell(t job.Trend) Cell {
	if t.Refused != "" {
		return Cell{Text: "no trend: " + t.Refused, Refused: true}
	}
	f := rateOf(t)
	c := Cell{Text: f.String()}
	c.Value, c.Spread = f.Parts()
	return c
}

func limitCell(t job.Trend) Cell {
	switch {
	case t.Refused != "":
		return Cell{Text: "not known"}
	case t.Limit == nil:
		return Cell{Text: "not in sight"}
	}
	return Cell{Text: t.Limit.When()}
}

// WearPlots are the pictures of the series: "wear-as-left", "wear-as-found".
func WearPlots(w job.Wear) []plot.Named {
	var out []plot.Named
	for _, s := range w.Series {
		name := "wear-" + strings.ReplaceAll(string(s.When), " ", "-")
		out = append(out, plot.Named{Name: name, Drawing: wearDrawing(s, name)})
	}
	return out
}

func wearDrawing(s job.WearSeries, id string) plot.Drawing {
	return plot.Wear(datedOf(s), plot.Options{ID: id, Title: wearTitles[s.When][0] + ": wear of the heads, taken as " + wearQuantity(s)})
}
