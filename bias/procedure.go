package bias

import (
	"fmt"

	"headstack/programme"
	"headstack/unit"
)

// The cautions below are common practice at the bench; they defer to local codes and to
// licensed practice.
const (
	burns  = "Caution: bias and erase points carry 20 to 60 V r.m.s. at 60 to 150 kHz, sting and burn the skin at a point; the supply holds its charge, and mains may be near. Insulated trimming tool, one hand, nothing metal on fingers or wrist. Local electrical codes and licensed practice come first."
	probes = "Caution: if bias is read at a point, set the probe with the oscillator off and use a ×10 probe or the sense resistor in the head's ground leg: a plain lead of 100 pF is 17 kΩ at 92 kHz, pulls bias down and detunes it. A meter that ends at 20 kHz reads bias of 92 kHz some 13 dB low: compare its readings with each other, never with a printed figure."
)

// TwoHead is the procedure on a machine whose record head also plays, so that bias has no
// live view: one record pass a track, replayed once. One step or caution each.
func (p *Plan) TwoHead() []string {
	w := p.Want
	start, part := p.staircase()
	out := []string{
		"Before bias: speed, play azimuth, play level and play treble set and proved, heads clean and demagnetised, noise reduction off, a blank tape of the type that the machine is to be set up for. Note where each bias trim stands, with a photograph: that is the way back.",
		burns, probes,
		fmt.Sprintf("Record treble trims in their middle. Both tones are recorded 20 dB below reference: higher, %s saturates and the curve misleads.", unit.Frequency(unit.Hertz(w.Tones.TrebleHz))),
		fmt.Sprintf("One track at a time: the trims of the others stay where they are. Each has a round of %.0f s on tape of its own; go on behind the last one.", p.Programme.Seconds()),
	}
	for _, t := range p.Tracks {
		out = append(out, fmt.Sprintf("Round %d, track %d: turn trim %s %s. Record the file of the round. From %.0f s on the tone stops for a moment every %g s: at each stop turn up to the next of %s, within %.0f s, always upwards. If you turn past one, leave it there and write down where it was; if you miss one, say which.", t.Round+1, t.Trim.Track, t.Trim.ID, t.begin(), start, part.StepSeconds, listed(t.Words), turnSeconds(part.StepSeconds)))
		if w.Third {
			out = append(out, fmt.Sprintf("The second staircase of the round is %s at 0 dB: in its first %.0f s turn %s again, then to the same positions.", unit.Frequency(unit.Hertz(w.Tones.LowHz)), programme.StaircaseBackSteps*part.StepSeconds, t.begin()))
		}
		for _, x := range t.Warnings {
			out = append(out, fmt.Sprintf("Track %d: %s.", t.Trim.Track, x))
		}
	}
	return append(out,
		"Put each trim back to where it stood. Record off on every track. Rewind, capture the replay of all rounds.",
		"Set each trim as the fitted curve says, from below. Record and replay once more at the setting: level, treble and distortion decide.",
		"Bias moves record level and record treble: set these next, then bias again if it moved by more than 0.2 dB of level.")
}

// begin says how the first position is come to, so that the trim's play is taken up.
func (t TrackPlan) begin() string {
	if t.Positions[0] < t.Trim.least()/2 {
		return "to its stop of least bias"
	}
	return fmt.Sprintf("well below %s, then up to it", t.Words[0])
}

// ThreeHead is the procedure on a machine with a play head behind the record head: live,
// through the peak, then the fall. One step or caution each.
func ThreeHead(t Trim, tones Tones, aim Aim) []string {
	tone := unit.Frequency(unit.Hertz(tones.TrebleHz))
	find := fmt.Sprintf("Turn %s until the replayed %s no longer rises, go through the peak and note its level; come back below and through again: the two readings of the peak should agree within 0.2 dB.", t.more(), tone)
	aimAt := fmt.Sprintf("Go on %s, past the peak, until %s has fallen by %.1f dB (%.1f to %.1f dB by other sources). Stop there; if you overshoot go back below the peak and come up again.", t.more(), tone, aim.FallDB, aim.LoDB, aim.HiDB)
	switch aim.Recipe {
	case LowFall:
		low := unit.Frequency(unit.Hertz(tones.LowHz))
		find = fmt.Sprintf("Turn %s until the replayed %s no longer rises, and note the level of its peak. The peak is flat: go 1 dB of level through to both sides and take the middle.", t.more(), low)
		aimAt = fmt.Sprintf("Go on %s until %s has fallen by %.1f dB.", t.more(), low, aim.FallDB)
	case Flat:
		aimAt = fmt.Sprintf("Go on %s until %s comes back as high as %s, both recorded 20 dB below reference, with record treble in its middle.", t.more(), tone, unit.Frequency(unit.Hertz(tones.LowHz)))
	}
	return []string{
		"Play side first: azimuth, level and treble proved with the test tape; then take it off. Blank tape of the type in use, noise reduction off.",
		burns, probes,
		fmt.Sprintf("Record %s 20 dB below reference on track %d, monitor switched to tape; a meter or the capture shows the replay, a moment after the turn: %s.", tone, t.Track, delayNote(tones.SpeedCmS)),
		fmt.Sprintf("Turn trim %s %s until the level falls well below its peak: that is too little bias.", t.ID, t.less()),
		find, aimAt,
		"Then record level at the reference tone, record treble, and bias once more: they move each other.",
	}
}

// delayNote says how long to wait between heads some 35 mm apart (common practice, no
// source).
func delayNote(speedCmS float64) string {
	return fmt.Sprintf("with heads 35 mm apart %.1f s", 3.5/speedCmS)
}

// listed writes "a, b and c".
func listed(words []string) string {
	s := ""
	for i, w := range words {
		switch {
		case i > 0 && i == len(words)-1:
			s += " and "
		case i > 0:
			s += ", "
		}
		s += w
	}
	return s
}
