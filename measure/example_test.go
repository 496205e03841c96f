package measure_test

import (
	"context"
	"fmt"
	"io"
	"math"

	"headstack/dsp"
	"headstack/measure"
	"headstack/testtape"
)

// played is a capture made of formulas: 5 s of 315 Hz, then 5 s of 1 kHz, one track.
type played struct{ i int }

func (*played) Channels() int       { return 1 }
func (*played) SampleRate() float64 { return 16000 }
func (p *played) Read(dst [][]float64) (int, error) {
	n := min(len(dst[0]), 10*16000-p.i)
	if n == 0 {
		return 0, io.EOF
	}
	for k := range n {
		f, a := 315.0, 0.1
		if p.i >= 5*16000 {
			f, a = 1000, 0.2
		}
		dst[0][k] = a * math.Sin(2*math.Pi*f*1.002*float64(p.i)/16000)
		p.i++
	}
	return n, nil
}

func ExampleTestTape() {
	tape := &testtape.Tape{
		Format: 1, Name: "bench tape", SpeedCmS: 9.525, TrackLayout: testtape.PerTrack,
		Reference:      testtape.Reference{FluxivityNWbM: 250, ToneHz: 315, Convention: "short-circuit"},
		EqualisationUs: testtape.Equalisation{High: 70, Low: 3180},
		Sections: []testtape.Section{
			{Name: "reference", ToneHz: 315, Seconds: 5},
			{Name: "1 kHz", ToneHz: 1000, Seconds: 5},
		},
	}
	src := measure.Source{
		Name: "example", Tracks: []int{1},
		Open: func() (dsp.Stream, func() error, error) { return &played{}, nil, nil },
	}
	rep, err := measure.TestTape(context.Background(), []measure.Source{src}, measure.Options{Tape: tape})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, r := range rep.Measures {
		if r.Track != 1 || r.Section != "1 kHz" {
			continue
		}
		switch r.Name {
		case "level", "response", "speed_error":
			fmt.Printf("%s %.2f %s\n", r.Name, r.Value, r.Unit)
		}
	}
	// Output:
	// level -13.98 dBFS
	// response 6.02 dB
	// speed_error 0.20 %
}
