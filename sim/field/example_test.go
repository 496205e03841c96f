package field_test

import (
	"fmt"
	"math"
	"math/cmplx"

	"headstack/sim/field"
)

// A six-track cassette head with dirt that lifts the tape by 0.5 µm off track 3.
func ExamplePlayer_Response() {
	var centres, widths []float64
	for i := range 6 {
		centres, widths = append(centres, 0.355e-3+float64(i)*0.62e-3), append(widths, 0.38e-3)
	}
	player, err := field.NewPlayer(field.Cassette.Head(centres, widths), field.Tape{
		SpeedMS: 0.09525, CoatingM: field.Cassette.CoatingM(), WidthM: 3.81e-3,
		CentresM: centres, WidthsM: widths, Curve: field.Curve{HighUs: 70, LowUs: 3180},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, hz := range []float64{315, 3150, 10000} {
		r := player.Response(3, field.Fault{}.Evenly(0.5e-6), hz, 0)
		fmt.Printf("%g Hz: %.2f dB\n", hz, 20*math.Log10(cmplx.Abs(r)))
	}
	// Output:
	// 315 Hz: -0.09 dB
	// 3150 Hz: -0.90 dB
	// 10000 Hz: -2.86 dB
}
