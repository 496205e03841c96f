package lineup

import (
	"fmt"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/measure"
)

// Sheet is a line-up on paper: everything that a person needs who follows the paper
// alone. Rendering is the caller's.
type Sheet struct {
	Title   string `json:"title"`
	Machine string `json:"machine"`
	// Reference says what the recorder's 0 dB is, Tapes what the test tapes are.
	Reference string   `json:"reference"`
	Tapes     []string `json:"tapes,omitempty"`
	// Head are the boxes to fill in at the top; Cautions stand before the first page.
	Head     []string `json:"head"`
	Cautions []string `json:"cautions"`
	Pages    []Page   `json:"pages"`
	// Signature are the boxes at the end.
	Signature []string `json:"signature"`
}

// Page is one round: what is done with one set of tracks under one way of running.
type Page struct {
	Number   int     `json:"number"`
	Title    string  `json:"title"`
	Phase    Phase   `json:"phase"`
	SpeedCmS float64 `json:"speed_cm_s,omitempty"`
	Tracks   []int   `json:"tracks,omitempty"` // of the round; empty: all
	// How says what runs, plays and records, and how the tracks reach the interface.
	How      []string   `json:"how,omitempty"`
	Cautions []string   `json:"cautions,omitempty"` // each once, for the rows of the page
	Rows     []SheetRow `json:"rows"`
}

// SheetRow is one line with two empty columns to fill in, or a box to tick.
type SheetRow struct {
	Box   bool   `json:"box,omitempty"` // a gate: a box to tick
	Step  string `json:"step"`
	What  string `json:"what"`
	Track string `json:"track,omitempty"` // "3", "1, 3, 5", empty: the whole recorder
	// Trim and Part name what is turned, Turn which way it goes, Reach where it is.
	Trim  string `json:"trim,omitempty"`
	Part  string `json:"part,omitempty"`
	Turn  string `json:"turn,omitempty"`
	Reach string `json:"reach,omitempty"`
	// Point is where it is read, Plays what plays.
	Point string `json:"point,omitempty"`
	Plays string `json:"plays,omitempty"`
	// Target is value and tolerance, Shows the same on an instrument, Start where the
	// trim is put first, Sum the arithmetic in words.
	Target string   `json:"target"`
	Shows  string   `json:"shows,omitempty"`
	Start  string   `json:"start,omitempty"`
	Sum    []string `json:"sum,omitempty"`
	// Before and After are for the pen.
	Before string `json:"before"`
	After  string `json:"after"`
	// First is what comes before, with the reason, as far as it stands on the same page.
	First []string `json:"first,omitempty"`
	// Again are the steps to take again when this one reads out.
	Again    []string `json:"again,omitempty"`
	Cautions []int    `json:"cautions,omitempty"` // numbers, from 1, in the page's list
	Note     string   `json:"note,omitempty"`
}

// SheetOptions say how the line-up will be done.
type SheetOptions struct {
	Setup     Setup     `json:"setup"`
	Hearing   Hearing   `json:"hearing"`
	Recording Recording `json:"recording"`
}

// Sheet lays an order out on pages, in the order in which they are filled in: every step
// stands on exactly one page, after all that it needs. The error is [ErrRounds].
func (o *Order) Sheet(opt SheetOptions) (*Sheet, error) {
	hear, err := HearRounds(tracksOf(o.def), opt.Hearing, HearEach)
	if err != nil {
		return nil, err
	}
	record, err := RecordRounds(o.def, opt.Recording)
	if err != nil {
		return nil, err
	}
	l := &layout{o: o, opt: opt, record: record, page: map[string]int{}}
	for _, p := range hear {
		l.hear = append(l.hear, p.Tracks)
	}
	s := &Sheet{
		Title: "Line-up of " + o.def.Make + " " + o.def.Name, Machine: o.Machine,
		Reference: fmt.Sprintf("0 dB is %g nWb/m (%s) at %g Hz: %s", o.def.Reference.FluxivityNWbM, o.def.Reference.Convention, o.def.Reference.ToneHz, o.def.Reference.Output),
		Head:      []string{"job", "serial", "date", "initials", "tape recorded on", "instrument and its number", "room temperature"},
		Cautions:  machine.Cautions(o.def),
		Signature: []string{"all pages filled in", "trims and azimuth sealed and photographed", "what is left out of tolerance, and why", "soak: hours", "date and initials"},
	}
	tapes := opt.Setup.Tapes
	if tapes == nil {
		tapes = o.tapes
	}
	for _, t := range tapes {
		if t.Tape != nil {
			s.Tapes = append(s.Tapes, fmt.Sprintf("%s: %g cm/s, %g nWb/m (%s) at %g Hz, %s; passes so far: ____", t.Tape.Name, t.Tape.SpeedCmS,
				t.Tape.Reference.FluxivityNWbM, t.Tape.Reference.Convention, t.Tape.Reference.ToneHz, t.Tape.TrackLayout))
		}
	}
	s.Pages = l.pages()
	return s, nil
}

// layout puts steps on pages.
type layout struct {
	o            *Order
	opt          SheetOptions
	hear, record [][]int
	page         map[string]int // of a step, within its block
}

// block are the steps of one phase at one speed.
type block struct {
	phase Phase
	speed float64
	steps []*Step
}

func (l *layout) blocks() []block {
	var out []block
	for i := range l.o.Steps {
		s := &l.o.Steps[i]
		speed := s.SpeedCmS
		if s.Phase == PhaseGates || s.Phase == PhaseTransport || s.Phase == PhaseLast || s.Phase == PhaseProof && s.Gate {
			speed = 0
		}
		if n := len(out); n > 0 && out[n-1].phase == s.Phase && out[n-1].speed == speed {
			out[n-1].steps = append(out[n-1].steps, s)
			continue
		}
		out = append(out, block{s.Phase, speed, []*Step{s}})
	}
	return out
}

// rounds of a block: the tracks that its pages are about.
func (l *layout) rounds(b block) [][]int {
	switch b.phase {
	case PhaseReplay, PhaseSync:
		return l.hear
	case PhaseRecord, PhaseLast:
		return l.record
	}
	return [][]int{nil}
}

func (l *layout) pages() []Page {
	var out []Page
	for _, b := range l.blocks() {
		rounds := l.rounds(b)
		pages := make([]Page, len(rounds))
		for i, r := range rounds {
			pages[i] = Page{Phase: b.phase, SpeedCmS: b.speed, Tracks: r}
		}
		for _, s := range b.steps {
			i := l.place(s, rounds)
			l.page[s.ID] = i
			l.row(&pages[i], s)
		}
		for i, p := range pages {
			if len(p.Rows) == 0 {
				continue
			}
			p.Number = len(out) + 1
			p.Title = l.title(&p, i, len(pages))
			p.How = l.how(&p)
			out = append(out, p)
		}
	}
	return out
}

// place is the page of a step in its block: that of its track, or the first after what
// it needs.
func (l *layout) place(s *Step, rounds [][]int) int {
	at := 0
	if len(s.Tracks) > 0 {
		at = max(0, slices.IndexFunc(rounds, func(r []int) bool {
			return slices.ContainsFunc(s.Tracks, func(t int) bool { return slices.Contains(r, t) })
		}))
	}
	for _, n := range s.Needs {
		need, _ := l.o.Step(n.Step)
		if need.Phase == s.Phase && need.SpeedCmS == s.SpeedCmS {
			at = max(at, l.page[n.Step])
		}
	}
	return at
}

func (l *layout) title(p *Page, i, n int) string {
	names := map[Phase]string{PhaseGates: "Before anything else", PhaseTransport: "Transport", PhaseReplay: "Replay of the test tape",
		PhaseRecord: "Recording", PhaseSync: "Sync", PhaseLast: "What remains", PhaseProof: "Closing proof"}
	t := names[p.Phase]
	if p.SpeedCmS > 0 {
		t += fmt.Sprintf(", %g cm/s", p.SpeedCmS)
	}
	if n > 1 {
		t += fmt.Sprintf(", round %d of %d: track%s %s", i+1, n, plural(p.Tracks), list(p.Tracks))
	}
	return t
}

func plural(tracks []int) string {
	if len(tracks) == 1 {
		return ""
	}
	return "s"
}

func list(tracks []int) string {
	var out []string
	for _, t := range tracks {
		out = append(out, fmt.Sprint(t))
	}
	return strings.Join(out, ", ")
}

// how says what runs on a page and how it is heard.
func (l *layout) how(p *Page) []string {
	var out []string
	test := slices.ContainsFunc(p.Rows, func(r SheetRow) bool { return strings.HasPrefix(r.Plays, "test tape") })
	own := slices.ContainsFunc(p.Rows, func(r SheetRow) bool { return strings.HasPrefix(r.Plays, "own recording") })
	if test {
		out = append(out, "The good test tape goes on only when every gate is ticked. Count the pass.")
		out = append(out, l.sides(p.Tracks)...)
		if slices.ContainsFunc(p.Rows, func(r SheetRow) bool {
			return strings.HasPrefix(r.Step, string(Azimuth)) || strings.HasPrefix(r.Step, string(ProofAzimuth))
		}) {
			out = append(out, l.azimuthPasses()...)
		}
	}
	if own {
		line := "Record on the tape that the recorder is meant for"
		if len(p.Tracks) > 0 && len(l.record) > 1 {
			line += fmt.Sprintf(", track%s %s armed and no other", plural(p.Tracks), list(p.Tracks))
		}
		if !l.o.ThreeHeads {
			line += "; rewind, play"
		} else {
			line += "; heard off tape while it records"
		}
		out = append(out, line+".")
	}
	if p.Phase == PhaseProof && len(p.Rows) > 2 {
		out = append(out, "Case closed. Every reading once more, nothing turned.")
	}
	return out
}

func (l *layout) sides(tracks []int) []string {
	if !l.opt.Hearing.Bus || len(tracks) == 0 {
		return nil
	}
	line := fmt.Sprintf("Pan track %d hard left", tracks[0])
	if len(tracks) > 1 {
		line += fmt.Sprintf(", track %d hard right", tracks[1])
	}
	return []string{line + ", the others down; equalisers flat, faders at 0."}
}

// azimuthPasses says how all tracks are compared.
func (l *layout) azimuthPasses() []string {
	purpose, exchanged := HearLine, ""
	if l.opt.Hearing.AtOnce == 2 {
		purpose, exchanged = HearCorrected, " The last one, sides exchanged, takes off the error between the two paths."
	}
	all, err := HearRounds(tracksOf(l.o.def), l.opt.Hearing, purpose)
	if err != nil || l.o.def.Tracks.Count < 2 {
		return nil
	}
	sides := "tracks together"
	if l.opt.Hearing.Bus {
		sides = "left–right"
	}
	var sets []string
	for _, x := range all {
		sets = append(sets, strings.ReplaceAll(list(x.Tracks), ", ", "–"))
	}
	return []string{fmt.Sprintf("Azimuth over all tracks takes %s, %s: %s.%s", passes(len(all)), sides, strings.Join(sets, "; "), exchanged)}
}

func (l *layout) row(p *Page, s *Step) {
	t := l.o.Target(s.ID, l.opt.Setup)
	r := SheetRow{Box: s.Gate, Step: s.ID, What: s.Name, Track: list(s.Tracks), Trim: s.Trim, Part: s.Part, Target: t.Text(), Note: s.Note}
	if s.Trim != "" {
		r.Turn = turn(s)
		r.Reach = reachText(s.Reach)
	}
	if s.OnEvidence {
		r.Note = strings.TrimSpace("Leave it alone unless something points at it. " + r.Note)
	}
	r.Point = s.AtName
	if s.AtPart != "" {
		r.Point = s.AtPart + ", " + s.AtName + "; " + reachText(s.Probe)
	}
	r.Plays = plays(s.Source)
	if t.Refused != "" && !s.Gate {
		r.Note = strings.TrimSpace(r.Note + " No figure: " + t.Refused + ".")
	}
	if t.At != nil {
		r.Shows = t.At.Text() + " at " + t.At.Point
	}
	if t.Start != nil {
		r.Start = t.Start.Text() + " at " + t.Start.Point
	}
	if len(t.Lines) > 1 {
		for _, line := range t.Lines {
			r.Sum = append(r.Sum, fmt.Sprintf("%s %s: %s", signedText(line.Value, line.Unit), line.Term, line.Why))
		}
	}
	if t.Means != nil {
		r.Note = strings.TrimSpace(r.Note + " " + t.Means.Text() + ".")
	}
	for _, w := range t.Warnings {
		r.Note = strings.TrimSpace(r.Note + " " + w)
	}
	for _, n := range s.Needs {
		if slices.ContainsFunc(p.Rows, func(x SheetRow) bool { return x.Step == n.Step }) {
			r.First = append(r.First, n.Step+": "+n.Why)
		}
	}
	r.Again = s.Checks
	for _, c := range s.Cautions {
		i := slices.Index(p.Cautions, c)
		if i < 0 {
			p.Cautions = append(p.Cautions, c)
			i = len(p.Cautions) - 1
		}
		r.Cautions = append(r.Cautions, i+1)
	}
	p.Rows = append(p.Rows, r)
}

func signedText(x float64, u string) string {
	k, name := prefixed(abs(x), u)
	s := number(x * k)
	if x > 0 {
		s = "+" + s
	}
	return s + " " + name
}

func abs(x float64) float64 { return max(x, -x) }

// turn says which way a trim goes.
func turn(s *Step) string {
	switch {
	case s.Sign > 0:
		return "clockwise raises; range " + s.Range
	case s.Sign < 0:
		return "clockwise lowers; range " + s.Range
	}
	return "has no higher or lower side: find its place; range " + s.Range
}

func reachText(r Reach) string {
	var parts []string
	if len(r.Chain) > 0 {
		parts = append(parts, strings.Join(r.Chain, ", then "))
	} else {
		parts = append(parts, "from outside")
	}
	if r.Board != "" {
		parts = append(parts, r.Board)
	}
	if r.Place != "" {
		parts = append(parts, r.Place)
	}
	if r.Case != "" && r.Case != measure.CaseClosed {
		parts = append(parts, "case "+string(r.Case))
	}
	return strings.Join(parts, "; ")
}

// plays says what plays in words.
func plays(s Source) string {
	switch s.Carrier {
	case TestTape:
		if s.Section != "" {
			return fmt.Sprintf("test tape, section %q", s.Section)
		}
		return fmt.Sprintf("test tape, %g Hz at %g dB", s.ToneHz, s.LevelDB)
	case OwnTape:
		if s.ToneHz == 0 {
			return fmt.Sprintf("own recording, part %q", s.Section)
		}
		return fmt.Sprintf("own recording, part %q: %g Hz at %g dB", s.Section, s.ToneHz, s.LevelDB)
	}
	return ""
}

func passes(n int) string {
	if n == 1 {
		return "one pass"
	}
	return fmt.Sprintf("%d passes", n)
}
