package signature

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"headstack/unit"
)

func itoa(n int) string { return strconv.Itoa(n) }

// figureText writes a parameter as a person reads it.
func figureText(p Parameter, difference bool) string {
	return unit.Figure{Value: p.Value, Lo: p.Lo, Hi: p.Hi, Unit: p.Unit, Difference: difference}.String()
}

// sizeText writes the size of a signed parameter, for "2.1 ±0.1 dB lower".
func sizeText(p Parameter) string {
	if p.Value < 0 {
		p.Value, p.Lo, p.Hi = -p.Value, -p.Hi, -p.Lo
	}
	return figureText(p, false)
}

// tracksText names tracks: "track 3", "tracks 2 and 5", "tracks 2 to 6", "all tracks".
func (r *result) tracksText(tracks []int) string {
	switch {
	case len(tracks) == len(r.d.opt.Geometry.Tracks) && len(tracks) > 1:
		return "all tracks"
	case len(tracks) == 1:
		return "track " + itoa(tracks[0])
	}
	for i := range tracks {
		if tracks[i] != tracks[0]+i || len(tracks) == 2 {
			words := make([]string, len(tracks))
			for k, t := range tracks {
				words[k] = itoa(t)
			}
			n := len(words) - 1
			return "tracks " + strings.Join(words[:n], ", ") + " and " + words[n]
		}
	}
	return fmt.Sprintf("tracks %d to %d", tracks[0], tracks[len(tracks)-1])
}

func upper(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// listText writes parameters of one name: "0.21 to 0.64 µm" over the tracks, or one
// figure.
func listText(list []Parameter) string {
	if len(list) == 1 {
		return figureText(list[0], false)
	}
	lo, hi := list[0], list[0]
	for _, p := range list {
		if p.Value < lo.Value {
			lo = p
		}
		if p.Value > hi.Value {
			hi = p
		}
	}
	return figureText(lo, false) + " to " + figureText(hi, false)
}

// sentence says a finding in plain words.
func (r *result) sentence(g group, f Finding) string {
	if r.d.change {
		return r.changeSentence(g, f)
	}
	who := upper(r.tracksText(f.Tracks))
	has := " has"
	if len(f.Tracks) > 1 {
		has = " have"
	}
	ps := f.Parameters
	if len(ps) == 0 && f.Cause != Height {
		return who + ": " + f.Cause.Words() + "."
	}
	switch f.Cause {
	case Gain, GroupGain:
		way := "lower"
		if ps[0].Value > 0 {
			way = "higher"
		}
		if f.Cause == GroupGain {
			return fmt.Sprintf("%s%s play %s %s than the others at all tones: look at what this group shares, not at single channels or the tape path.",
				who, r.groupName(g), listSizes(ps), way)
		}
		if math.Abs(ps[0].Value) > 30 {
			return fmt.Sprintf("%s plays next to nothing (%s %s than the others) and does not hiss: dead in the electronics or a shorted head lead, not an open one.", who, sizeText(ps[0]), way)
		}
		return fmt.Sprintf("%s plays %s %s than the other tracks at all tones alike: level trim, contact or gain in the electronics, not tape contact.", who, sizeText(ps[0]), way)
	case Spacing:
		return fmt.Sprintf("%s%s lost treble as by %s of air between tape and head: dirt or contact, not electronics.", who, has, listText(ps))
	case SpacingRamp:
		first, last := ps[0], ps[len(ps)-1]
		if first.Value > last.Value {
			return fmt.Sprintf("%s: spacing of %s at track %d, falling to %s at track %d: contact across the head (zenith, guides, pad or uneven wear), not electronics.", who, figureText(first, false), first.Track, figureText(last, false), last.Track)
		}
		return fmt.Sprintf("%s: spacing of %s at track %d, rising to %s at track %d: contact across the head (zenith, guides, pad or uneven wear), not electronics.", who, figureText(first, false), first.Track, figureText(last, false), last.Track)
	case Azimuth:
		later := "higher"
		if ps[0].Value < 0 {
			later = "lower"
		}
		hz, db := r.azimuthCost(ps[0].Value)
		return fmt.Sprintf("The head's azimuth stands %s off the recording (%s tracks play later): a single track loses only %.1f dB at %s by it, outer tracks added together much more.", figureText(ps[0], true), later, db, hertz(hz))
	case GapWear:
		return fmt.Sprintf("%s%s lost treble as by a gap of %s: a gap opened by wear or damage; tape contact would take more of the middle tones.", who, has, figureText(ps[0], false))
	case Height:
		return fmt.Sprintf("%s plays low at all tones, and lowest in the bass, as a core does that stands partly beyond the edge of the tape: head height or tape guides.", who)
	case Equalisation:
		e := r.replayOf(g)
		return fmt.Sprintf("%s have the response of a replay curve of %s instead of the tape's %s: tape-type or equalisation switch, or this tape is of another standard.", who, e, curve(r.d.opt.Tape.EqualisationUs.High, r.d.opt.Tape.EqualisationUs.Low))
	case LowCorner:
		return fmt.Sprintf("%s%s lost bass below %s as by a capacitor grown small, and lead%s the others in the bass accordingly: coupling capacitor or a joint, not the tape path.", who, has, figureText(ps[0], false), plural(f.Tracks))
	case HighCorner:
		return fmt.Sprintf("%s%s lost treble above %s as by a part of the electronics, and lag%s the others accordingly: treble part or load of the head, not tape contact.", who, has, figureText(ps[0], false), plural(f.Tracks))
	case HeadOpen:
		return fmt.Sprintf("%s has next to no signal but more noise than the others: open head winding or head lead.", who)
	case UnsteadyContact:
		return fmt.Sprintf("%s: the treble flickers and the bass stands: unsteady contact of tape and head (pad, pressure, tape edge), not a joint.", who)
	case UnsteadyJoint:
		return fmt.Sprintf("%s: all frequencies flicker alike: a joint, connector or switch, not tape contact.", who)
	}
	return who + ": " + f.Cause.Words() + "."
}

// plural is the ending of a verb.
func plural(tracks []int) string {
	if len(tracks) == 1 {
		return "s"
	}
	return ""
}

// listSizes writes what a group shares.
func listSizes(ps []Parameter) string {
	mean := ps[0]
	mean.Value, mean.Lo, mean.Hi = 0, 0, 0
	for _, p := range ps {
		n := float64(len(ps))
		mean.Value, mean.Lo, mean.Hi = mean.Value+p.Value/n, mean.Lo+p.Lo/n, mean.Hi+p.Hi/n
	}
	return sizeText(mean)
}

// groupName is the definition's name of a group, in brackets.
func (r *result) groupName(g group) string {
	if g.best.group > 0 {
		if name := r.d.opt.Groups[g.best.group-1].Name; name != "" {
			return " (" + name + ")"
		}
	}
	return ""
}

// replayOf is the replay curve of an equalisation.
func (r *result) replayOf(g group) string {
	e := g.best.params[0].replay
	return curve(e.HighUs, e.LowUs)
}

// curve writes time constants.
func curve(high, low float64) string {
	if low == 0 {
		return fmt.Sprintf("%g µs", high)
	}
	return fmt.Sprintf("%g + %g µs", high, low)
}

// hertz writes a frequency.
func hertz(f float64) string {
	if f >= 1000 {
		return fmt.Sprintf("%g kHz", math.Round(f/10)/100)
	}
	return fmt.Sprintf("%g Hz", f)
}

// azimuthCost is the loss of an outer track at the highest tone.
func (r *result) azimuthCost(arcmin float64) (hz, db float64) {
	p := &param{fam: byAzimuth, on: []int{0}}
	for i, row := range r.d.rows {
		if row.kind == rowLevel && row.hz > hz {
			hz, db = row.hz, -r.d.levelLaw(p, arcmin, arcmin, 0, i)
		}
	}
	return hz, db
}

// soundSentence says that nothing is wrong.
func (r *result) soundSentence() string {
	s := "No loss beyond what sound machines show."
	if r.d.change {
		s = upper(r.d.between) + " changed nothing beyond what two captures of one machine differ by."
	}
	if len(r.d.tracks) > 1 && len(r.estimate) > 0 {
		n := []number{r.estimate[0].azimuth()}
		p := Parameter{Unit: "arcmin"}
		p.Value, p.Lo, p.Hi = mixed(n)
		if r.d.change {
			s += " Azimuth: change"
		} else {
			s += " Azimuth:"
		}
		s += " " + figureText(p, true) + "."
	}
	return s
}

// asideSentences name the figures that fit nothing and were not used.
func (r *result) asideSentences() []string {
	out := []string{}
	best := r.estimate[0]
	for _, s := range best.list {
		if s.cause != "" {
			continue
		}
		row := r.d.rows[s.aside-1]
		x := best.q[best.place(s.params[0])]
		if len(s.tracks) == 1 {
			out = append(out, fmt.Sprintf("%s on track %d reads %+.1f dB beside all else: a drop-out or a wrong figure", hertz(row.hz), r.d.tracks[s.tracks[0]], x))
			continue
		}
		why := "the tape's tone is wrong or worn"
		if float64(row.lambda) > poleFace/2 {
			why = "a bump of the head at long waves, or the tape's tone is wrong"
		}
		out = append(out, fmt.Sprintf("section %q reads %+.1f dB on all tracks: %s", row.section, x, why))
	}
	return out
}
