package testtape_test

import (
	"context"
	"fmt"
	"io"
	"math"

	"headstack/dsp"
	"headstack/testtape"
)

// memory is a stream over one channel of samples.
type memory struct {
	rate float64
	x    []float64
}

func (m *memory) Channels() int       { return 1 }
func (m *memory) SampleRate() float64 { return m.rate }
func (m *memory) Read(dst [][]float64) (int, error) {
	if len(m.x) == 0 {
		return 0, io.EOF
	}
	n := copy(dst[0], m.x)
	m.x = m.x[n:]
	return n, nil
}

var _ dsp.Stream = (*memory)(nil)

func ExampleFind() {
	tape, err := testtape.Load("bench.yaml", []byte(`
testtape: 1
name: bench tape
speed_cm_s: 9.525
reference: {fluxivity_nwb_m: 250, tone_hz: 315, convention: short-circuit}
equalisation_us: {high: 70, low: 3180}
track_layout: per-track
sections:
  - {name: level, tone_hz: 315, level_db: 0, seconds: 4}
  - {name: treble, tone_hz: 6300, level_db: -10, seconds: 4}
`))
	if err != nil {
		fmt.Println(err)
		return
	}
	// One second of nothing, then the level tone, 1 % fast; the capture ends there.
	x := make([]float64, 5*48000)
	for i := 48000; i < len(x); i++ {
		x[i] = 0.25 * math.Sin(2*math.Pi*315*1.01*float64(i)/48000)
	}
	f, err := testtape.Find(context.Background(), &memory{rate: 48000, x: x}, tape)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range f.Sections {
		if s.Found {
			fmt.Printf("%s: %.1f s to %.1f s\n", tape.Sections[s.Index].Name, s.StartS, s.EndS)
		} else {
			fmt.Printf("%s: not found, %s\n", tape.Sections[s.Index].Name, s.Reason)
		}
	}
	fmt.Printf("speed ratio %.3f\n", f.SpeedRatio)
	// Output:
	// level: 1.0 s to 5.0 s
	// treble: not found, tone 6.3 kHz has no room: after section "level" (5.0 s to the end at 5.0 s)
	// speed ratio 1.010
}
