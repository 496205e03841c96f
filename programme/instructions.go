package programme

import (
	"fmt"
	"strings"
)

// Instructions says in bench words how a round, from 0, is recorded and replayed: one
// step or caution each, in order. It panics when there is no such round.
func (p *Programme) Instructions(round int) []string {
	if round < 0 || round >= len(p.Rounds) {
		panic(fmt.Sprintf("programme: round %d of %d", round+1, len(p.Rounds)))
	}
	var out []string
	say := func(format string, a ...any) { out = append(out, fmt.Sprintf(format, a...)) }
	tracks := trackWords(p.Rounds[round])
	if round == 0 {
		p.prepare(say)
	}
	p.levels(say, round, tracks)
	if i := p.first(Staircase); i >= 0 {
		p.turnTrim(say, i)
	}
	p.record(say, round, tracks)
	if i := p.first(Erase); i >= 0 {
		p.eraseHalf(say, i, tracks)
	}
	p.replay(say, round)
	return out
}

// prepare is said once, before the first round.
func (p *Programme) prepare(say func(string, ...any)) {
	say("Caution: this records over whatever is on the tape. Take the test tape and the owner's tapes off the machine and put them away; load a blank tape of the type that the machine is to be set up for, with at least %s to run.", clock(float64(len(p.Rounds))*(p.Seconds()+20)))
	say("Caution: the programme goes up to 10 dB above reference level, in treble up to 6 dB. Turn loudspeakers off and take headphones off before it plays: it can hurt ears and burn out tweeters.")
	say("Warm the machine up. Clean the tape path, and demagnetise it with the machine switched off: every tape more than 1.5 m away, demagnetiser switched on and off at arm's length from the heads, and put away before a tape comes near.")
	say("Noise reduction off on every track. Speed %g cm/s, pitch control at its centre or off, tone controls flat, tape type switch as for the tape.", p.SpeedCmS)
}

// levels sets what 0 dB is.
func (p *Programme) levels(say func(string, ...any), round int, tracks string) {
	from := []string{}
	for k, t := range p.Rounds[round] {
		from = append(from, fmt.Sprintf("%d to the input of track %d", k+1, t))
	}
	if len(p.Rounds) > 1 {
		say("Round %d of %d: %s. The file has %d channels: output %s.", round+1, len(p.Rounds), tracks, len(p.Rounds[round]), strings.Join(from, ", "))
	} else {
		say("The file has %d channels: output %s.", len(p.Rounds[round]), strings.Join(from, ", "))
	}
	i, _ := p.ReferencePart()
	from0 := p.Start(i)
	say("Tape standing, %s in record-ready: play the file from %s to %s over and over (%s, %g dBFS in the file) and set output and input level so that each track's own meter reads reference level, 0. Do not touch level again in this round.", tracks, clock(from0), clock(from0+p.Parts[i].Seconds), hertz(p.ReferenceHz), p.ReferenceDBFS)
}

func (p *Programme) record(say func(string, ...any), round int, tracks string) {
	if round == 0 {
		say("Arm %s and no other. Rewind to the beginning of the blank tape, set the counter to nought, start recording, and let it run for 5 s.", tracks)
	} else {
		say("Disarm the tracks of the round before. Arm %s and no other. Go on from where the round before ended, 10 s farther: do not rewind, each round has its own place on the tape. Note the counter, start recording, and let it run for 5 s.", tracks)
	}
	say("Play the file from its beginning to its end, %s, without stopping. Let the tape run for 5 s more, then stop.", clock(p.Seconds()))
}

// turnTrim says what is done during the staircase, before the recording that has it.
func (p *Programme) turnTrim(say func(string, ...any), i int) {
	part := p.Parts[i]
	say("Caution: with the case open, bias and erase points carry 20 to 60 V at high frequency and burn at a touch; the supply holds its charge, and mains may be near. Use an insulated trimming tool, one hand, nothing metal on fingers or wrist. Local electrical codes and licensed practice come first.")
	say("Staircase, from %s: set the bias trim to its lowest wanted position before. At every gap in the %s tone, each %g s, turn it up by the same step within %.0f s, of %d in all. Write down the position of each. One track at a time: the trims of the others stay, and the programme is recorded again for each.", clock(p.Start(i)), hertz(part.All[0].Hz), part.StepSeconds, TurnShare*part.StepSeconds, part.Steps())
	if k := i + 1; k < len(p.Parts) && p.Parts[k].Kind == Staircase {
		say("A second staircase follows at %s, of %s at 0 dB: in its first %d steps turn back well below the first position and up to it, then the same positions again.", clock(p.Start(k)), hertz(p.leadHz(k)), StaircaseBackSteps)
	}
}

// eraseHalf is the second pass.
func (p *Programme) eraseHalf(say func(string, ...any), i int, tracks string) {
	start, half := p.Start(i), p.Parts[i].Seconds/2
	before := "the part before it"
	if i > 0 {
		before = fmt.Sprintf("%q", p.Parts[i-1].Name)
		if lead, ok := p.Parts[i-1].Lead(); ok {
			before += " (" + hertz(lead.Hz) + ")"
		}
	}
	say("Caution for the second pass: whatever is punched in too early is lost, so better a second late. Only the last part of the round may be recorded over.")
	say("Second pass, for erasure: rewind to about %s of this round, short of its end. Nothing plays from the file now, or the silence written for this pass; leave the inputs connected and the levels as they are.", clock(max(0, start-10)))
	say("Play. After %s the erase tone begins (%s, %s). Count %.0f s into it, then punch in record on %s and on no other, and let it run until %.0f s later or more. Stop, disarm everything.", before, hertz(p.leadHz(i)), clock(start), half, tracks, half)
}

func (p *Programme) replay(say func(string, ...any), round int) {
	if round+1 < len(p.Rounds) {
		say("Go to the end of this round for the next: %s.", trackWords(p.Rounds[round+1]))
		return
	}
	say("Switch record off on every track. Rewind, start the capture on all the outputs that you have, play from before the first round to after the last, stop. One capture may hold all rounds, or there may be one for each.")
	say("Play it a second time from another start: flutter of recording and replay adds in one pass and cancels in another.")
}

// first is the index of the first part of a kind, -1 without.
func (p *Programme) first(k Kind) int {
	for i, part := range p.Parts {
		if part.Kind == k {
			return i
		}
	}
	return -1
}

func (p *Programme) leadHz(i int) float64 {
	s, _ := p.Parts[i].Lead()
	return s.Hz
}

// trackWords writes "track 3" or "tracks 1 and 2".
func trackWords(list []int) string {
	if len(list) == 1 {
		return "track " + numbers(list)
	}
	return "tracks " + numbers(list)
}

// numbers writes 1, 2, 5 as "1, 2 and 5", and a run of three or more as "1 to 4".
func numbers(list []int) string {
	n := len(list)
	run := n > 2
	for i := 1; i < n; i++ {
		run = run && list[i] == list[i-1]+1
	}
	if run {
		return fmt.Sprintf("%d to %d", list[0], list[n-1])
	}
	var b strings.Builder
	for i, t := range list {
		switch {
		case i > 0 && i == n-1:
			b.WriteString(" and ")
		case i > 0:
			b.WriteString(", ")
		}
		fmt.Fprint(&b, t)
	}
	return b.String()
}
