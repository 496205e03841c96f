package signature_test

import (
	"fmt"

	"headstack/measure"
	"headstack/signature"
	"headstack/tape"
	"headstack/testtape"
	"headstack/unit"
)

// Two tracks of a cassette recorder: the second loses treble as 1 µm of air does.
func ExampleExplain() {
	t := &testtape.Tape{Name: "bench tape", SpeedCmS: 9.525, TrackLayout: testtape.PerTrack, EqualisationUs: testtape.Equalisation{High: 70, Low: 3180}}
	var rep measure.Report
	for _, hz := range []float64{125, 250, 315, 500, 1000, 2000, 4000, 6300, 8000, 10000, 12500} {
		name := fmt.Sprintf("%g Hz", hz)
		t.Sections = append(t.Sections, testtape.Section{Name: name, ToneHz: hz, LevelDB: -20, Seconds: 10})
		for track := 1; track <= 2; track++ {
			level := -32 - float64(track-1)*float64(tape.SpacingLoss(1e-6, tape.Wavelength(0.09525, unit.Hertz(hz))))
			rep.Measures = append(rep.Measures, measure.Result{Name: "level", Track: track, Section: name, ToneHz: hz, Value: level, Lo: level - 0.02, Hi: level + 0.02})
		}
	}
	e, err := signature.Explain(rep, signature.Options{Tape: t, Geometry: tape.Geometry{TapeWidth: 3.81e-3,
		Tracks: []tape.TrackPlace{{Centre: 0.9e-3, Width: 0.6e-3}, {Centre: 1.8e-3, Width: 0.6e-3}}}})
	if err != nil {
		fmt.Println(err)
		return
	}
	f := e.Findings[0]
	fmt.Printf("%s on track %d, %s: about %.1f µm\n", f.Cause, f.Tracks[0], f.Nature, f.Parameters[0].Value)
	// Output: spacing on track 2, mechanical: about 1.0 µm
}
