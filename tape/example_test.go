package tape_test

import (
	"fmt"

	"headstack/tape"
	"headstack/unit"
)

// What half a micrometre of dirt, a worn gap and ten arcminutes of azimuth cost a
// 0.38 mm track at 10 kHz and 9.525 cm/s.
func Example() {
	const speed unit.MetrePerSecond = 0.09525
	lambda := tape.Wavelength(speed, 10000)
	fmt.Printf("wavelength %.3f µm\n", lambda*1e6)
	fmt.Printf("spacing 0.5 µm: %.2f dB\n", tape.SpacingLoss(0.5e-6, lambda))
	fmt.Printf("gap 2 µm: %.2f dB\n", tape.GapLoss(2e-6, lambda))
	fmt.Printf("azimuth 10': %.2f dB\n", tape.AzimuthLoss(0.38e-3, 10*tape.Arcminute, lambda))
	fmt.Printf("delay over 3.1 mm: %.1f µs\n", tape.AzimuthDelay(3.1e-3, 10*tape.Arcminute, speed)*1e6)
	// Output:
	// wavelength 9.525 µm
	// spacing 0.5 µm: 2.86 dB
	// gap 2 µm: 0.78 dB
	// azimuth 10': 0.19 dB
	// delay over 3.1 mm: 94.7 µs
}

// A tape recorded over its full width plays too loud at long wavelengths on a
// narrow core; relative to the reference tone that is a rise at low frequencies.
func ExampleFringingGain() {
	geometry := tape.Geometry{TapeWidth: 3.81e-3}
	for i := range 6 {
		geometry.Tracks = append(geometry.Tracks, tape.TrackPlace{
			Centre: unit.Metre(0.355e-3 + float64(i)*0.62e-3), Width: 0.38e-3,
		})
	}
	reference := tape.FringingGain(geometry, 3, tape.Wavelength(0.09525, 315))
	for _, f := range []unit.Hertz{63, 1000} {
		gain := tape.FringingGain(geometry, 3, tape.Wavelength(0.09525, f))
		fmt.Printf("%v Hz re 315 Hz: %+.2f dB\n", f, gain-reference)
	}
	// Output:
	// 63 Hz re 315 Hz: +2.06 dB
	// 1000 Hz re 315 Hz: -1.01 dB
}

// What a tape of 70 µs does on a chain set to 120 µs, levels set at 1 kHz, beside a chain
// whose treble part has failed.
func ExampleMismatchDB() {
	tape70 := tape.Equalisation{HighUs: 70, LowUs: 3180}
	chain120 := tape.Equalisation{HighUs: 120, LowUs: 3180}
	for _, f := range []unit.Hertz{315, 3150, 10000} {
		wrong := tape.MismatchDB(f, 1000, tape70, chain120)
		lost := tape.TreblePartLoss(f, tape70) - tape.TreblePartLoss(1000, tape70)
		fmt.Printf("%v Hz: wrong setting %+.2f dB, treble part lost %+.2f dB\n", f, wrong, -lost)
	}
	// Output:
	// 315 Hz: wrong setting -1.03 dB, treble part lost +0.69 dB
	// 3150 Hz: wrong setting +2.38 dB, treble part lost -3.88 dB
	// 10000 Hz: wrong setting +3.35 dB, treble part lost -12.32 dB
}

// A coupling capacitor of 1 µF into 47 kΩ that keeps 3 % of its capacitance and has
// gained 2 kΩ, and what a break with 1 pF across it leaves of the signal.
func ExampleDriedCorner() {
	sound := tape.CouplingCorner(1e-6, 47e3)
	dried := tape.DriedCorner(sound, 0.03)
	fmt.Printf("corner %.1f Hz, dried %.0f Hz; at 63 Hz %.1f dB\n", sound, dried, -tape.LowCornerLoss(63, dried))
	fmt.Printf("2 kΩ in series: %.2f dB\n", -tape.SeriesLoss(2e3, 47e3))

	head, input := tape.Winding{R: 250, L: 0.1}, tape.Input{R: 47e3, C: 150e-12}
	fmt.Printf("open lead at 1 kHz: signal %.0f dB, noise %+.0f dB\n",
		-tape.OpenLeadLoss(1000, head, input, 1e-12), tape.OpenLeadNoise(1000, head, input, 1e-12))
	// Output:
	// corner 3.4 Hz, dried 113 Hz; at 63 Hz -6.2 dB
	// 2 kΩ in series: -0.36 dB
	// open lead at 1 kHz: signal -71 dB, noise +23 dB
}
