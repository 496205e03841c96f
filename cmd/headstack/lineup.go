package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"headstack/job"
	"headstack/lineup"
	"headstack/trim"
	"headstack/unit"
)

type lineupVerb struct {
	benchFlag
	JSON  bool   `help:"One JSON object on standard output: steps with states and targets, next, turns, offsets, proof." xor:"form"`
	Sheet bool   `help:"The line-up on paper, as text: every step in order, with boxes to fill in." xor:"form"`
	All   bool   `help:"Every step, and what is done."`
	Job   string `arg:"" help:"Job id."`
}

func (lineupVerb) Help() string {
	return `Example: headstack lineup job-0001

What is next and why, what it is to read for the tape at hand with the sum of it, and how far to turn with its 95 %
interval; then every phase of the line-up, what is stale and through what. Entries are made with headstack record (gate,
figure, turn, pass, sign-off, soak) and headstack capture.`
}

func (v *lineupVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		l, view, err := b.LineUp(e.ctx, v.Job)
		if err != nil {
			return err
		}
		switch {
		case v.JSON:
			return printJSON(e.out, l)
		case v.Sheet:
			s, err := l.Sheet()
			if err != nil {
				return err
			}
			printSheet(e.out, s)
			return nil
		}
		printLineUp(e.out, view, l, v.All)
		return nil
	})
}

// printLineUp writes what could mislead first, then what to do, then where all stands.
func printLineUp(w io.Writer, view *job.View, l *job.LineUp, all bool) {
	fmt.Fprintf(w, "%s: %s, serial %s; %s\n", view.Job.ID, view.Job.Name, orNone(view.Job.Serial), openText(view))
	if l.MayPlay {
		fmt.Fprintln(w, "The good test tape may go on.")
	} else {
		fmt.Fprintf(w, "The good test tape stays in its box: it waits for %s.\n", stepNames(l, l.Waits))
	}
	for _, p := range l.Problems {
		fmt.Fprintf(w, "  ◆ %s\n", p)
	}
	for _, d := range l.Doubts {
		fmt.Fprintf(w, "  ◆ %s\n", d)
	}
	printNextSteps(w, l, all)
	printTurns(w, l)
	printPhases(w, l, all)
	printOffsets(w, l)
	for _, t := range l.Tapes {
		fmt.Fprintf(w, "\n%s (%g cm/s): passes so far %d; a line-up from its beginning takes at least %d\n", t.Name, t.SpeedCmS, t.Passes, passesOf(l, t.Name))
	}
	printProof(w, l, all)
}

func passesOf(l *job.LineUp, tape string) int {
	n := 0
	for _, p := range l.Passes {
		if p.Tape == tape {
			n++
		}
	}
	return n
}

// stepNames names steps for a person, a few of them.
func stepNames(l *job.LineUp, ids []string) string {
	const most = 4
	var out []string
	for i, id := range ids {
		if i == most {
			out = append(out, fmt.Sprintf("%d more", len(ids)-most))
			break
		}
		if s, ok := l.Step(id); ok {
			out = append(out, s.Name)
		}
	}
	return strings.Join(out, "; ")
}

func printNextSteps(w io.Writer, l *job.LineUp, all bool) {
	if len(l.Next) == 0 {
		fmt.Fprintln(w, "\nNext: nothing; every step is done or waits")
		return
	}
	fmt.Fprintln(w, "\nNext")
	for i, id := range l.Next {
		s, ok := l.Step(id)
		switch {
		case !ok:
		case i == 0 || all:
			printStepCard(w, s)
		default:
			line := "    and " + stepTitle(s)
			if s.Target.Refused == "" {
				line += ": " + s.Target.Text()
			}
			fmt.Fprintln(w, line)
		}
	}
}

// stepTitle is a step with its trim, its track and its id.
func stepTitle(s *job.LineUpStep) string {
	t := s.Name
	if s.Part != "" {
		t += " " + s.Part
	} else if len(s.Tracks) == 1 {
		t += fmt.Sprintf(", track %d", s.Tracks[0])
	}
	return t + " [" + s.ID + "]"
}

// printStepCard is all that a person needs at one step.
func printStepCard(w io.Writer, s *job.LineUpStep) {
	fmt.Fprintf(w, "  ▶ %s\n", stepTitle(s))
	for _, c := range s.Cautions {
		fmt.Fprintf(w, "      caution: %s\n", c)
	}
	read := ""
	if s.Read != nil {
		read = readText(s.Read) + " by " + s.Last
	}
	for _, x := range []struct{ label, text string }{
		{"why", cmp.Or(s.Standing.Why, strings.ReplaceAll(string(s.Standing.State), "_", " "))},
		{"note", s.Note}, {"trim", reachText(s.Reach, s.Part)}, {"read at", cmp.Or(s.AtName, s.AtPart)}, {"probe", reachText(s.Probe, s.AtPart)},
		{"plays", sourceText(s.Source)}, {"target", targetText(&s.Target)}, {"a capture reads", capturedText(s)},
	} {
		if x.text != "" {
			fmt.Fprintf(w, "      %s: %s\n", x.label, x.text)
		}
	}
	for _, line := range s.Target.Lines {
		fmt.Fprintf(w, "        %s: %s (%s)\n", line.Term, unit.Figure{Value: line.Value, Lo: line.Lo, Hi: line.Hi, Unit: line.Unit, Difference: true, Exact: line.Lo == line.Hi}, line.Why)
	}
	for _, warning := range s.Target.Warnings {
		fmt.Fprintf(w, "      ◆ %s\n", warning)
	}
	if read != "" {
		fmt.Fprintf(w, "      read: %s\n", read)
	}
	printStaircase(w, s.Staircase)
	if s.Turn != nil && s.Turn.Do == trim.DoEnough { // the others follow below
		fmt.Fprintf(w, "      %s\n", turnText(s.Turn))
	}
}

// printStaircase is what staircases say of a bias trim.
func printStaircase(w io.Writer, st *job.LineUpStaircase) {
	if st == nil {
		return
	}
	fmt.Fprintf(w, "      %s: %s\n", st.Plan, strings.Join(st.Track.Words, ", "))
	for _, d := range st.Doubts {
		fmt.Fprintf(w, "        ◆ %s\n", d)
	}
	for _, x := range []struct{ label, text string }{{"not read", st.Refused}, {"of before", st.Stale}} {
		if x.text != "" {
			fmt.Fprintf(w, "        ◆ %s: %s\n", x.label, x.text)
		}
	}
	if st.Capture == "" {
		fmt.Fprintf(w, "        not replayed yet: headstack capture JOB --programme %s --tracks %d replay.wav\n", st.ProgrammeSHA, st.Track.Trim.Track)
	}
	if st.Curve == nil {
		return
	}
	for _, x := range biasLines(biasTrack{Track: st.Track.Trim.Track, Curve: st.Curve, Setting: st.Setting, More: st.More}) {
		fmt.Fprintln(w, "        "+x)
	}
}

func readText(f *job.LineUpFigure) string {
	return unit.Figure{Value: f.Value, Lo: f.Lo, Hi: f.Hi, Unit: f.Unit}.String()
}

// reachText says where a hand goes.
func reachText(r lineup.Reach, part string) string {
	if part == "" {
		return ""
	}
	s := part
	if r.Board != "" {
		s += " on " + r.Board
	}
	if r.Place != "" {
		s += ", " + r.Place
	}
	if len(r.Chain) > 0 {
		s += "; open: " + strings.Join(r.Chain, ", then ")
	}
	return s
}

func sourceText(s lineup.Source) string {
	name := ""
	switch s.Carrier {
	case lineup.TestTape:
		name = cmp.Or(s.Tape, "a test tape of this speed, which is not on the shelf")
	case lineup.OwnTape:
		name = cmp.Or(s.Programme, "a recording of its own")
	default:
		return ""
	}
	if s.Section != "" {
		name += ", " + s.Section
	}
	return name
}

// targetText is a target with what its zero is, who says its tolerance, and what an
// instrument shows.
func targetText(t *lineup.Target) string {
	if t.Refused != "" {
		return ""
	}
	s := t.Text()
	if t.Lo < t.Hi {
		s += fmt.Sprintf(" (itself known as %s)", unit.Figure{Value: t.Value, Lo: t.Lo, Hi: t.Hi, Unit: t.Unit})
	}
	if t.Reference != "" {
		s += "; 0 is " + t.Reference
	}
	if t.ToleranceWhy != "" {
		s += "; tolerance: " + t.ToleranceWhy
	}
	if t.At != nil {
		s += fmt.Sprintf("; %s shows %s", t.At.Point, t.At.Text())
	}
	if t.Start != nil {
		s += fmt.Sprintf("; begin at %s at %s", t.Start.Text(), t.Start.Point)
	}
	if t.Means != nil {
		s += "; " + t.Means.Text()
	}
	return s
}

// capturedText is what a capture reads where that is another figure than an instrument's.
func capturedText(s *job.LineUpStep) string {
	if c := s.Captured; c != nil && (c.Unit != s.Target.Unit || c.Text() != s.Target.Text()) {
		return c.Text() + "; 0 is " + c.Reference
	}
	return ""
}

// turnText is a turn in words, with its interval.
func turnText(t *job.LineUpTurn) string {
	s := t.Text
	if t.Do == trim.DoTurn && t.Lo < t.Hi {
		s += fmt.Sprintf(" (the turn that meets the target: %s to %s, 95 %%)", travel(t.Lo, t.Unit), travel(t.Hi, t.Unit))
	}
	return s
}

func travel(x float64, u trim.TravelUnit) string {
	s := strings.Replace(fmt.Sprintf("%.3g", x), "-", unit.Minus, 1)
	if u == trim.Degrees {
		return s + "°"
	}
	return s + " " + string(u)
}

func printTurns(w io.Writer, l *job.LineUp) {
	if len(l.Turns) == 0 {
		return
	}
	fmt.Fprintln(w, "\nTurn now; read what they moved, and look again")
	for i := range l.Turns {
		t := &l.Turns[i]
		fmt.Fprintf(w, "  ▶ %s\n", turnText(t))
		for _, c := range t.Cautions {
			fmt.Fprintf(w, "      caution: %s\n", c)
		}
	}
}

var phaseNames = []struct {
	phase lineup.Phase
	name  string
}{{lineup.PhaseGates, "gates"}, {lineup.PhaseTransport, "transport"}, {lineup.PhaseReplay, "replay"}, {lineup.PhaseRecord, "record"},
	{lineup.PhaseSync, "sync"}, {lineup.PhaseLast, "last"}, {lineup.PhaseProof, "proof, case closed"}}

// printPhases counts each phase by state, and names what is stale.
func printPhases(w io.Writer, l *job.LineUp, all bool) {
	fmt.Fprintln(w, "\nStates")
	for _, p := range phaseNames {
		counts := map[lineup.State]int{}
		var show []*job.LineUpStep
		for i := range l.Steps {
			s := &l.Steps[i]
			if s.Phase != p.phase {
				continue
			}
			counts[s.Standing.State]++
			if all || s.Standing.State == lineup.StateStale || s.Standing.Signed != nil {
				show = append(show, s)
			}
		}
		var parts []string
		for _, st := range []lineup.State{lineup.StateDone, lineup.StateDue, lineup.StateStale, lineup.StateBlocked, lineup.StateNotNeeded} {
			if n := counts[st]; n > 0 {
				parts = append(parts, fmt.Sprintf("%d %s", n, stateWord(st)))
			}
		}
		if len(parts) == 0 {
			continue
		}
		fmt.Fprintf(w, "  %s: %s\n", p.name, strings.Join(parts, ", "))
		for _, s := range show {
			printStanding(w, s)
		}
	}
}

func stateWord(s lineup.State) string {
	if s == lineup.StateNotNeeded {
		return "left alone"
	}
	return string(s)
}

func printStanding(w io.Writer, s *job.LineUpStep) {
	line := fmt.Sprintf("%s: %s", stepTitle(s), stateWord(s.Standing.State))
	if s.Since != "" {
		line += " since " + s.Since
	}
	if s.Read != nil {
		line += ", read " + readText(s.Read) + " by " + s.Last
	}
	if s.Target.Refused == "" {
		line += ", target " + s.Target.Text()
	}
	if s.Standing.Why != "" {
		line += "; " + s.Standing.Why
	}
	fmt.Fprintln(w, "    "+line)
}

func printOffsets(w io.Writer, l *job.LineUp) {
	if len(l.Offsets) == 0 {
		return
	}
	fmt.Fprintln(w, "\nWhat the open case adds: read open less read closed")
	for _, o := range l.Offsets {
		f := unit.Figure{Value: o.Offset.Value, Lo: o.Offset.Lo, Hi: o.Offset.Hi, Unit: o.Offset.Unit, Difference: true}
		fmt.Fprintf(w, "  %s, %g cm/s: %s, read both ways %d times\n      %s\n", o.Figure, o.SpeedCmS, f, o.Pairs, o.Why)
		for _, s := range o.Instead {
			fmt.Fprintf(w, "      instead: %s\n", s)
		}
	}
}

func printProof(w io.Writer, l *job.LineUp, all bool) {
	p := l.Proof
	for _, s := range p.SignOffs {
		fmt.Fprintf(w, "\nsigned off: %s, %s %s\n", s.Step, s.Reason, s.By)
	}
	if p.Soak != nil && !p.Soak.Done {
		fmt.Fprintf(w, "\nSoak: next readings at %g minutes; %s\n", p.Soak.Next, p.Soak.Why)
	}
	if p.Done {
		fmt.Fprintln(w, "\nThe closing proof is done.")
		return
	}
	fmt.Fprintf(w, "\nBetween here and done: %d steps\n", len(p.Blocks))
	shown := p.Blocks
	if !all {
		shown = shown[:min(3, len(shown))]
	}
	for _, b := range shown {
		fmt.Fprintf(w, "  %s: %s\n", b.Step, b.Why)
	}
	if n := len(p.Blocks) - len(shown); n > 0 {
		fmt.Fprintf(w, "  ... %d more; headstack lineup --all names them\n", n)
	}
}

// printSheet writes the sheet for paper as text.
func printSheet(w io.Writer, s *lineup.Sheet) {
	fmt.Fprintf(w, "%s\n%s\n%s\n", s.Title, s.Machine, s.Reference)
	for _, t := range s.Tapes {
		fmt.Fprintln(w, t)
	}
	for _, h := range s.Head {
		fmt.Fprintf(w, "%s: ____________\n", h)
	}
	for _, c := range s.Cautions {
		fmt.Fprintf(w, "! %s\n", c)
	}
	for _, p := range s.Pages {
		printPage(w, p)
	}
	fmt.Fprintln(w)
	for _, x := range s.Signature {
		fmt.Fprintf(w, "%s: ____________\n", x)
	}
}

func printPage(w io.Writer, p lineup.Page) {
	fmt.Fprintf(w, "\n---- %d  %s\n", p.Number, p.Title)
	for _, h := range p.How {
		fmt.Fprintf(w, "  %s\n", h)
	}
	for i, c := range p.Cautions {
		fmt.Fprintf(w, "  !%d %s\n", i+1, c)
	}
	for _, r := range p.Rows {
		what := r.What
		if r.Track != "" && !slices.Contains(strings.Fields(what), r.Track) {
			what += ", track " + r.Track
		}
		for _, n := range r.Cautions {
			what += fmt.Sprintf(" !%d", n)
		}
		if r.Box {
			fmt.Fprintf(w, "  [ ] %s\n", what)
		} else {
			fmt.Fprintf(w, "  %s\n      before ________  after ________  target %s\n", what, r.Target)
		}
		for _, x := range []struct{ label, text string }{
			{"trim", strings.TrimSpace(r.Part + " " + r.Turn)}, {"at", r.Reach}, {"read at", r.Point}, {"plays", r.Plays}, {"shows", r.Shows}, {"begin at", r.Start},
			{"sum", strings.Join(r.Sum, "; ")}, {"first", strings.Join(r.First, "; ")}, {"if out, again", strings.Join(r.Again, "; ")}, {"note", r.Note},
		} {
			if x.text != "" {
				fmt.Fprintf(w, "      %s: %s\n", x.label, x.text)
			}
		}
	}
}
