package lineup

import (
	"fmt"
	"math"

	"headstack/tape"
	"headstack/testtape"
	"headstack/unit"
)

// tapeOf is the tape that plays for the step and its section; Refused is set without
// them.
func (g *targeter) tapeOf(hz, db float64) (*TapeAtHand, *testtape.Section) {
	at := TapeFor(g.set.Tapes, g.step.SpeedCmS)
	if at == nil {
		g.t.Refused = fmt.Sprintf("no test tape for %g cm/s is at hand; one of another speed serves for ratios of frequency, not for level or treble", g.step.SpeedCmS)
		return nil, nil
	}
	if hz == g.d.Reference.ToneHz {
		if i, ok := at.Tape.ReferenceSection(); ok && db == 0 {
			return at, &at.Tape.Sections[i]
		}
	}
	sec := nearest(at.Tape, hz, db)
	if sec == nil {
		g.t.Refused = fmt.Sprintf("%s has no section near %s", at.Tape.Name, unit.Frequency(unit.Hertz(hz)))
	}
	return at, sec
}

// level is the sum for a level at the reference tone.
func (g *targeter) level() {
	at, sec := g.tapeOf(g.d.Reference.ToneHz, 0)
	if sec == nil {
		return
	}
	g.t.Unit, g.t.ToneHz = "dB", sec.ToneHz
	g.t.Reference = fmt.Sprintf("what %g nWb/m (%s) at %s gives: %s", g.d.Reference.FluxivityNWbM, g.d.Reference.Convention, unit.Frequency(unit.Hertz(g.d.Reference.ToneHz)), g.d.Reference.Output)
	g.output()
	g.fluxivity(at)
	if sec.LevelDB != 0 {
		g.t.exact("section's stated level", sec.LevelDB, "certificate, "+sec.Name)
	}
	g.certificate(at, sec, nil)
	g.equalisation(at, sec.ToneHz, g.d.Reference.ToneHz)
	g.fringing(at, sec, nil)
	g.face(sec.ToneHz, 0)
	if g.step.Kind == Level || g.step.Kind == LevelAgain {
		if tp, ok := g.d.TestPoint(g.step.At); ok && tp.Expect.SpreadDB > 0 {
			g.t.Tolerance, g.t.ToleranceWhy = tp.Expect.SpreadDB, "the definition, test point "+tp.ID
		}
	}
}

// response is the sum for a treble tone against the reference section.
func (g *targeter) response() {
	at, ref := g.tapeOf(g.d.Reference.ToneHz, 0)
	if ref == nil {
		return
	}
	if i, ok := at.Tape.ReferenceSection(); ok {
		ref = &at.Tape.Sections[i]
	}
	hz := g.set.ToneHz
	if hz == 0 {
		hz = TrebleHz(g.step.SpeedCmS)
	}
	_, sec := g.tapeOf(hz, trebleLevelDB)
	if sec == nil {
		return
	}
	g.t.Unit, g.t.ToneHz = "dB", sec.ToneHz
	g.t.Reference = fmt.Sprintf("the same track in section %q", ref.Name)
	if g.set.ReadBy == ByInstrument {
		g.t.exact("stated levels", sec.LevelDB-ref.LevelDB, fmt.Sprintf("certificate: %q is recorded so against %q", sec.Name, ref.Name))
	} else {
		g.t.Reference += ", stated levels allowed for"
	}
	g.certificate(at, sec, ref)
	g.equalisation(at, sec.ToneHz, ref.ToneHz)
	if g.set.ReadBy == ByInstrument {
		g.fringing(at, sec, ref)
	}
	g.face(sec.ToneHz, ref.ToneHz)
}

// fluxivity refers the tape's 0 dB to the recorder's.
func (g *targeter) fluxivity(at *TapeAtHand) {
	ref, own := at.Tape.Reference, g.d.Reference
	g.t.exact("fluxivity", float64(tape.FluxivityDB(unit.NanoweberPerMetre(ref.FluxivityNWbM), unit.NanoweberPerMetre(own.FluxivityNWbM))),
		fmt.Sprintf("the tape's 0 dB is %g nWb/m, the recorder's %g", ref.FluxivityNWbM, own.FluxivityNWbM))
	from, to := tape.Convention(ref.Convention), tape.Convention(own.Convention)
	switch {
	case from == to:
		return
	case from != tape.ShortCircuit && from != tape.OpenCircuit:
		g.t.add("convention", 0, -1, 1, fmt.Sprintf("the tape's fluxivity is stated as %q: without the method it is uncertain by about 1 dB", ref.Convention))
		g.t.Warnings = append(g.t.Warnings, "The tape's method of stating fluxivity is not known; ask its maker.")
		return
	}
	// Sources disagree: 0.75, 0.83, 0.92 dB printed, 0.3 to 1 dB said.
	diff := Amount{Value: float64(tape.UsualConventionDifference)}
	lo, hi, why := 0.3, 1.0, "usual difference; sources disagree between 0.3 and 1 dB, so it is a setting of the tape"
	if at.ConventionDB != nil {
		diff = *at.ConventionDB
		lo, hi, why = diff.Value-diff.Half, diff.Value+diff.Half, said(diff.Source, "set for this tape")
	} else {
		g.t.Warnings = append(g.t.Warnings, "The usual difference of the two conventions is taken; set the tape's own where it is known.")
	}
	if from == tape.OpenCircuit {
		g.t.add("convention", -diff.Value, -hi, -lo, "the tape's open-circuit figure is larger than the short-circuit one of the same flux: "+why)
	} else {
		g.t.add("convention", diff.Value, lo, hi, "the recorder's open-circuit figure is larger than the short-circuit one of the same flux: "+why)
	}
}

// certificate adds the tape's own errors, that of a reference section taken off.
func (g *targeter) certificate(at *TapeAtHand, sec, ref *testtape.Section) {
	if a, ok := at.CertificateDB[sec.Name]; ok {
		g.t.amount("the tape's own error", a, fmt.Sprintf("section %q is this much stronger than stated", sec.Name))
	}
	if ref == nil || ref.Name == sec.Name {
		return
	}
	if a, ok := at.CertificateDB[ref.Name]; ok {
		a.Value = -a.Value
		g.t.amount("the reference section's own error", a, fmt.Sprintf("section %q is this much weaker than stated", ref.Name))
	}
}

// equalisation adds what the tape's curve differs from the recorder's between two tones:
//
//	E = [N_tape(f) − N_tape(f_tape)] − [N_recorder(f) − N_recorder(f_set)]
//
// f_tape is the tone at which the tape's fluxivity is stated, f_set the one at which the
// recorder's level is, or both the reference section's for a response.
func (g *targeter) equalisation(at *TapeAtHand, hz, setHz float64) {
	recorded := tape.Equalisation{HighUs: at.Tape.EqualisationUs.High, LowUs: at.Tape.EqualisationUs.Low}
	sp, _ := g.d.Speed(g.step.SpeedCmS)
	own := tape.Equalisation{HighUs: sp.HighUs, LowUs: sp.LowUs}
	from := unit.Hertz(at.Tape.Reference.ToneHz)
	f, set := unit.Hertz(hz), unit.Hertz(setHz)
	e := float64((recorded.FluxDB(f) - recorded.FluxDB(from)) - (own.FluxDB(f) - own.FluxDB(set)))
	if e == 0 && recorded == own {
		return
	}
	g.t.exact("equalisation", e, fmt.Sprintf("tape %s, recorder %s, at %s", curve(recorded), curve(own), unit.Frequency(f)))
	if recorded != own {
		g.t.Warnings = append(g.t.Warnings, fmt.Sprintf("The tape's equalisation is not the recorder's: %s against %s.", curve(recorded), curve(own)))
	}
}

func curve(e tape.Equalisation) string {
	if e.LowUs == 0 {
		return fmt.Sprintf("%g µs", e.HighUs)
	}
	return fmt.Sprintf("%g and %g µs", e.HighUs, e.LowUs)
}

// thinSheet is the side gain of a core that is a thin pole sheet over that of a block
// with square side walls: a = 0.5 against 0.7698 in e = a/k (the boundary-value problem
// of package tape). Heads lie between.
const thinSheet = 0.5 / 0.7698003589195010

// fringing adds the rise of a full-width tape on a narrow track, less that of a
// reference section where there is one.
func (g *targeter) fringing(at *TapeAtHand, sec, ref *testtape.Section) {
	if at.Tape.TrackLayout != testtape.FullWidth || g.t.Track == 0 {
		return
	}
	if own, ok := at.FringingDB[sec.Name]; ok {
		if ref != nil {
			r := at.FringingDB[ref.Name]
			own.Value, own.Half = own.Value-r.Value, math.Hypot(own.Half, r.Half)
		}
		g.t.amount("fringing", own, "measured on this head")
		return
	}
	if at.Tape.FringingCompensated {
		return
	}
	model, least, most := g.rise(at.Tape, sec.ToneHz)
	if ref != nil {
		m, lo, hi := g.rise(at.Tape, ref.ToneHz)
		model, least, most = model-m, least-lo, most-hi
	}
	if math.IsNaN(model) {
		g.t.Warnings = append(g.t.Warnings, "Fringing left out: the track's place on the tape does not allow it to be computed.")
		return
	}
	g.t.add("fringing", model, min(model, least, most), max(model, least, most),
		fmt.Sprintf("a tape recorded over its full width plays louder on a track %g mm wide, the more the lower the tone; computed, less on a head of thin pole sheets; measure it where you can", g.d.Tracks.WidthMm))
}

// rise is the computed fringing gain at a tone, that of a thin pole sheet, and the most
// there can be, with tape without end on both sides; in dB.
func (g *targeter) rise(tp *testtape.Tape, hz float64) (model, least, most float64) {
	geo, lambda := g.d.Geometry(), tape.Wavelength(unit.MetrePerSecond(tp.SpeedCmS/100), unit.Hertz(hz))
	model = float64(tape.FringingGain(geo, g.t.Track, lambda))
	extra := math.Pow(10, model/20) - 1
	w := float64(geo.Tracks[g.t.Track-1].Width)
	return model, 20 * math.Log10(1+thinSheet*extra), 20 * math.Log10(1+2*float64(tape.SideTapeEnds(unit.Metre(math.Inf(1)), lambda))/w)
}

// face adds the interface's response where it was not taken off, less that at a
// reference tone (0: its own).
func (g *targeter) face(hz, refHz float64) {
	if g.set.ReadBy != ByCapture || g.set.Interface == nil {
		return
	}
	e, ok := g.set.Interface.GainDB(g.set.Channel, hz)
	value, half := e.Value, e.Half()
	if ok && refHz != 0 && refHz != hz {
		r, known := g.set.Interface.GainDB(g.set.Channel, refHz)
		value, half, ok = value-r.Value, math.Hypot(half, r.Half()), known
	}
	if !ok {
		g.t.Warnings = append(g.t.Warnings, fmt.Sprintf("The interface's response at %s is not known and left out.", unit.Frequency(unit.Hertz(hz))))
		return
	}
	g.t.amount("interface response", Amount{value, half, g.set.Interface.Name}, "loop-back, not taken off the reading")
}
