package handout

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
	"headstack/paper"
	"headstack/plot"
	"headstack/report"
	"headstack/unit"
)

// Data is what a hand-over is made from. All of it is of the record.
type Data struct {
	View *job.View
	// LineUp is nil where the definition has none; NoLineUp says why.
	LineUp   *job.LineUp
	NoLineUp string
	// Unproven are symptoms that went without a proven cause; NoAdvice says why that is not
	// known.
	Unproven []diagnosis.Unproven
	NoAdvice string
	// LoopedBack is as in [report.Data].
	LoopedBack map[string]time.Time
	// Photographs gives those of the job; nil: there are none. Only the hand-over asks, as
	// a card has no room for them.
	Photographs func() []report.Photograph
	Program     string // name and version
}

// HandOver writes the report that goes with the recorder: what it was like when it came and
// when it left, against tolerances; what was done; what was not.
func HandOver(d Data, size paper.Size) ([]byte, error) {
	if d.View == nil || d.View.Def == nil {
		return nil, fmt.Errorf("handout: no job or definition given")
	}
	stamp, err := StampOf(d.View)
	if err != nil {
		return nil, err
	}
	v := d.View
	title := "Hand-over: " + v.Job.Name
	foot := fmt.Sprintf("%s; record of %d entries, SHA-256 %s", footOf(v), stamp.Entries, stamp.SHA256)
	var photographs []paper.Photograph
	if d.Photographs != nil {
		photographs = photographsOf(d.Photographs())
	}
	var wrong error // found in the first run
	pdf, err := paper.Compose(size, paper.Info{Title: title, Keywords: stamp.keywords(), When: RecordTime(v)}, foot, func(f *paper.Flow) {
		h := handOver{Data: d, f: f, stamp: stamp}
		h.head(title)
		h.levels()
		h.proof()
		h.response()
		h.changed()
		h.unproven()
		h.open()
		h.means()
		h.all()
		if err := h.photographs(photographs); err != nil {
			wrong = err
		}
		h.record()
		h.limits()
	})
	return pdf, cmp.Or(err, wrong)
}

// handOver sets one hand-over.
type handOver struct {
	Data
	f     *paper.Flow
	stamp Stamp
}

func (h *handOver) head(title string) {
	f, v := h.f, h.View
	f.Para(title, paper.Title)
	f.Gap(1)
	pairs := [][2]string{{"Serial", cmp.Or(v.Job.Serial, "not stated")}, {"Owner", cmp.Or(v.Job.Owner, "not stated")},
		{"Job", v.Job.ID + ", opened " + v.Job.Opened.UTC().Format(day)}, {"Came in", report.CaseWord(v.Job.Case)},
		{"Claim", cmp.Or(v.Job.Claim, "none stated")}, {"Record", fmt.Sprintf("%d entries up to %s UTC", len(v.Entries), RecordTime(v).Format(day+" 15:04"))},
		{"At hand-over", report.CaseWord(v.Case) + closedText(v)}}
	if h.Program != "" {
		pairs = append(pairs, [2]string{"Written by", h.Program})
	}
	f.Pairs(pairs, paper.Plain)
	f.Gap(1)
	f.Para("Electrical safety is not tested by this. Local electrical codes and licensed practice come first: before the machine goes back into use, earth continuity, insulation and the supply are to be tested as they require.", paper.Strong)
}

func closedText(v *job.View) string {
	if c := v.Closing(); c != nil {
		return "; " + c.Closing.Text(v.Def) + ", " + c.At.UTC().Format(day)
	}
	return "; the job is not closed"
}

// levels says what 0 dB is and what was played.
func (h *handOver) levels() {
	f, ref := h.f, h.View.Def.Reference
	f.Heading(2, "Reference level, tapes and speeds")
	var pairs [][2]string
	pairs = append(pairs, [2]string{"Operating level", fmt.Sprintf("%g nWb/m, %s, at %g Hz: %s", ref.FluxivityNWbM, ref.Convention, ref.ToneHz, ref.Output)})
	for _, s := range h.View.Def.Speeds {
		eq := fmt.Sprintf("%g µs", s.HighUs)
		if s.LowUs > 0 {
			eq = fmt.Sprintf("%g µs and %g µs", s.LowUs, s.HighUs)
		}
		pairs = append(pairs, [2]string{fmt.Sprintf("%g cm/s", s.CmS), "equalisation " + eq})
	}
	if h.LineUp != nil {
		for _, t := range h.LineUp.Tapes {
			if t.Passes > 0 {
				pairs = append(pairs, [2]string{"Test tape", fmt.Sprintf("%s, %g cm/s; %s in this job", t.Name, t.SpeedCmS, count(t.Passes, "pass", "passes"))})
			}
		}
	}
	f.Pairs(pairs, paper.Plain)
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// touched are the Seqs of the first and the last entry that changed something; 0 where
// nothing was turned or worked on.
func touched(v *job.View) (first, last int64) {
	for _, e := range v.Current {
		if e.Turn != nil || e.Work != nil {
			if first == 0 {
				first = e.Seq
			}
			last = max(last, e.Seq)
		}
	}
	return first, last
}

// asFound are the captures before anything was touched, asLeft those after the last touch,
// the last one first. Of a recorder that was not touched both are all.
func (h *handOver) asFound() []report.Found {
	first, _ := touched(h.View)
	return h.captures(func(e job.Entry) bool { return first == 0 || e.Seq < first }, false)
}

func (h *handOver) asLeft() []report.Found {
	_, last := touched(h.View)
	return h.captures(func(e job.Entry) bool { return e.Seq > last }, true)
}

func (h *handOver) captures(which func(job.Entry) bool, lastFirst bool) []report.Found {
	v := *h.View
	v.Current = nil
	for _, e := range h.View.Current {
		if e.Capture != nil && which(e) {
			v.Current = append(v.Current, e)
		}
	}
	if lastFirst {
		slices.Reverse(v.Current)
	}
	return report.FoundIn(&v, h.LoopedBack)
}

// masked are the tolerance fields by the kind of tape; their sources stand with them.
var masked = map[string]string{"cassette": "cassette, playback of test tape", "open-reel": "studio machine, playback of test tape"}

// response draws the replay response of test tapes, as found and as left, in its field.
func (h *handOver) response() {
	f := h.f
	f.Heading(1, "Replay response against its tolerance")
	field, ok := plot.MaskNamed(masked[h.View.Def.Medium.Kind])
	if ok {
		f.Para(fmt.Sprintf("The field is “%s” (%s). Points with their 95 %% intervals; a table of all figures follows further on.", field.Name, field.Bands[0].Source), paper.Small)
	}
	first, _ := touched(h.View)
	for _, x := range []struct {
		name  string
		found []report.Found
	}{{"As found", h.asFound()}, {"As left", h.asLeft()}} {
		if x.name == "As left" && first == 0 {
			f.Para("Nothing was turned or worked on: as left is as found.", paper.Plain)
			continue
		}
		n := 0
		for _, found := range x.found {
			if found.First.Tape == "" || !slices.ContainsFunc(found.Joined.Measures, func(r measure.Result) bool { return r.Name == "response" && r.Refused == "" }) {
				continue
			}
			picture := plot.DrawResponse(found.Joined.Measures, plot.Options{Mask: field.Bands})
			f.Need(16 + f.Height(picture)) // with its heading
			f.Heading(3, fmt.Sprintf("%s: %s", x.name, found.Heading))
			f.Draw(picture)
			f.Para("From "+strings.Join(found.Captures, "; ")+".", paper.Note)
			n++
		}
		if n == 0 {
			f.Para(x.name+": no capture of a test tape has a response.", paper.Plain)
		}
	}
}

// changed lists what was done to the recorder.
func (h *handOver) changed() {
	f := h.f
	f.Heading(1, "What was changed")
	var rows []paper.Row
	for _, e := range h.View.Current {
		if e.Work == nil && e.Turn == nil && e.SignOff == nil {
			continue
		}
		minutes := ""
		if e.Minutes > 0 {
			minutes = fmt.Sprintf("%.0f min", float64(e.Minutes))
		}
		rows = append(rows, paper.Row{Cells: paper.Cells(e.At.UTC().Format(day), e.Ref, report.EntryText(h.View.Def, e), e.Remark, minutes)})
	}
	if len(rows) == 0 {
		f.Para("Nothing that was recorded: no work, no trim turned.", paper.Plain)
		return
	}
	f.Table(paper.Table{Caption: "Works, turns and sign-offs, in order", Rows: rows, Columns: []paper.Column{{Head: "date", Width: 19}, {Head: "entry", Width: 18}, {Head: "what", Share: 1.4}, {Head: "what was found", Share: 1}, {Head: "time", Width: 14, Right: true}}})
}

// unproven lists cures that nobody can explain.
func (h *handOver) unproven() {
	f := h.f
	f.Heading(1, "Cured without a proven cause")
	lines := h.unprovenLines()
	switch {
	case len(lines) > 0:
		f.Para("What merely went can come back. Each with what would prove it.", paper.Small)
		for _, s := range lines {
			f.Item("◨", s, paper.Plain)
		}
	case h.NoAdvice != "":
		f.Para("Not known: "+h.NoAdvice+".", paper.Plain)
	default:
		f.Para("None.", paper.Plain)
	}
}

func (h *handOver) unprovenLines() []string {
	var out []string
	for _, u := range h.Unproven {
		s := fmt.Sprintf("%s was gone after %s (%s); it comes back with about %s.", u.Symptom, u.Work, workText(h.View, u.Work), unit.Probability(u.Returns))
		if len(u.Asks) > 0 {
			s += " What would prove it: " + strings.Join(u.Asks, "; ") + "."
		}
		out = append(out, s)
	}
	if c := h.View.Closing(); c != nil {
		for _, x := range c.Closing.Faults {
			if !x.Proven {
				out = append(out, fmt.Sprintf("%s: %s; the closing (%s) says that its cause was not shown.", x.Part(h.View.Def), x.Work, c.Ref))
			}
		}
	}
	return out
}

// workText says what an entry cited by its ref did.
func workText(v *job.View, ref string) string {
	for _, e := range v.Current {
		if e.Ref == ref {
			return report.EntryText(v.Def, e)
		}
	}
	return "an entry that was taken back"
}

// means are instruments, interfaces and case states, with dates.
func (h *handOver) means() {
	f, v := h.f, h.View
	f.Heading(1, "Means")
	type span struct {
		name, first, last string
	}
	var used, cases, played, faces []span
	add := func(list *[]span, name string, at time.Time) {
		d := at.UTC().Format(day)
		for i := range *list {
			if (*list)[i].name == name {
				(*list)[i].last = d
				return
			}
		}
		*list = append(*list, span{name, d, d})
	}
	for _, e := range v.Current {
		if e.Kind != job.KindNote {
			add(&cases, report.CaseWord(e.Case), e.At)
		}
		if e.Reading != nil && e.Reading.Instrument != "" {
			add(&used, instrumentText(v, e.Reading.Instrument), e.At)
		}
		if e.Figure != nil && e.Figure.Instrument != "" {
			add(&used, instrumentText(v, e.Figure.Instrument), e.At)
		}
		if e.Capture != nil {
			add(&played, report.MeansOf(*e.Capture, h.LoopedBack)[0], e.At)
			add(&faces, report.InterfaceText(*e.Capture, h.LoopedBack), e.At)
		}
	}
	var rows []paper.Row
	for _, k := range []struct {
		what string
		list []span
		none string
	}{{"played", played, "nothing was captured"}, {"capture interface", faces, "none used"}, {"instrument", used, "none named"}, {"case", cases, "none recorded"}} {
		if len(k.list) == 0 {
			rows = append(rows, paper.Row{Cells: paper.Cells(k.what, k.none, "", "")})
		}
		for _, s := range k.list {
			rows = append(rows, paper.Row{Cells: paper.Cells(k.what, s.name, s.first, s.last)})
		}
	}
	f.Table(paper.Table{Caption: "What was measured with, and when", Rows: rows, Columns: []paper.Column{{Head: "what", Width: 30}, {Head: "which"}, {Head: "first used", Width: 22}, {Head: "last used", Width: 22}}})
}

// instrumentText is an instrument with what the register knows of it.
func instrumentText(v *job.View, name string) string {
	for _, in := range v.Instruments {
		if in.Name != name && in.ID != name {
			continue
		}
		s := in.Name + ", " + string(in.Kind)
		if in.BandwidthHz > 0 {
			s += ", 3 dB low at " + unit.Frequency(unit.Hertz(in.BandwidthHz))
		}
		if in.ACPercent > 0 {
			s += fmt.Sprintf(", a.c. good for ±%g %%", in.ACPercent)
		}
		if in.DCPercent > 0 {
			s += fmt.Sprintf(", d.c. good for ±%g %%", in.DCPercent)
		}
		return s
	}
	return name + " (not in the register)"
}

// record is the whole record.
func (h *handOver) record() {
	f := h.f
	f.Heading(1, "The record")
	var rows []paper.Row
	for _, e := range h.View.Entries {
		l := report.LineOf(h.View, e)
		text := join(": ", h.inWords(e, l.Text), l.Remark)
		if l.Corrects != "" {
			text += " (in place of " + l.Corrects + ")"
		}
		if l.Struck != "" {
			text = "[" + l.Struck + "] " + text
		}
		rows = append(rows, paper.Row{Cells: paper.Cells(l.Ref, l.At, text, l.Case)})
	}
	if len(rows) == 0 {
		f.Para("Nothing was recorded.", paper.Plain)
		return
	}
	f.Table(paper.Table{Caption: "Every entry in order; what was corrected or taken back is marked, nothing is removed", Rows: rows,
		Columns: []paper.Column{{Head: "entry", Width: 20}, {Head: "when", Width: 32}, {Head: "what"}, {Head: "case", Width: 25}}})
}

// inWords puts the name of a step of the line-up where an entry has its id: who gets the
// recorder has no list of them.
func (h *handOver) inWords(e job.Entry, text string) string {
	id := ""
	switch {
	case e.Gate != nil:
		id = e.Gate.Step
	case e.Figure != nil:
		id = e.Figure.Step
	}
	if id == "" || h.LineUp == nil {
		return text
	}
	st, ok := h.LineUp.Step(id)
	if !ok {
		return text
	}
	name := st.Name
	if len(st.Tracks) == 1 {
		name += fmt.Sprintf(", track %d", st.Tracks[0])
	}
	if st.SpeedCmS > 0 && !st.AllSpeeds && st.Trim == "" {
		name += fmt.Sprintf(", %g cm/s", st.SpeedCmS)
	}
	return strings.Replace(text, id, name, 1)
}

func (h *handOver) limits() {
	f := h.f
	f.Heading(1, "What this is good for")
	f.Items([]string{
		"Figures hold for the case state and the tape named beside them. A lid that is shut, warmth and another tape move azimuth, treble, hum and speed.",
		"Levels rest on the test tape's own certificate as it was typed in. The replay of a record programme tells of recording and replay together; of replay alone only a test tape tells.",
		"“In” means inside the tolerance with the doubts of reading and target included; “in doubt” that the limit lies within them. Faults that come and go may not have shown."}, paper.Small)
	f.Para(fmt.Sprintf("Made from the record of %s with %d entries. SHA-256 of the record: %s. Definition: %s. headstack report check FILE says whether the bench still has that record; it says nothing of changes to this file.",
		h.stamp.Job, h.stamp.Entries, h.stamp.SHA256, h.View.Job.DefinitionSHA), paper.Small)
}
