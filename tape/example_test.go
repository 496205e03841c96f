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
