package sim_test

import (
	"context"
	"fmt"
	"testing"

	"headstack/sim"
)

// discard is a file that keeps nothing.
type discard struct{ at int64 }

func (d *discard) Write(p []byte) (int, error) {
	d.at += int64(len(p))
	return len(p), nil
}
func (d *discard) Seek(o int64, whence int) (int64, error) {
	if whence == 1 {
		o += d.at
	}
	d.at = o
	return o, nil
}

func BenchmarkRender(b *testing.B) {
	sc := sim.Perfect(testTape(10), geometry())
	sc.AzimuthArcmin = 4
	sc.Flutter = []sim.Line{{Hz: 2.5, PercentPeak: 0.05}, {Hz: 9, PercentPeak: 0.03}}
	sc.RandomFlutter = sim.RandomFlutter{RMSPercent: 0.05, LowHz: 1, HighHz: 60}
	sc.AzimuthWander = sim.Wander{RMSArcmin: 0.5, LowHz: 0.2, HighHz: 2}
	for i := range sc.Tracks {
		sc.Tracks[i].Noise = &sim.Noise{LevelDBFS: -60, Pole: 0.3}
		sc.Tracks[i].Hum = &sim.Hum{LevelDBFS: -70, HarmonicsDB: []float64{-6, -10}}
		sc.Tracks[i].CrosstalkDB = -45
	}
	sc.Tracks[4].Flicker = sim.Flicker{DepthDB: 3, RateHz: 2, TrebleOnly: true}
	seconds := 0.0
	for b.Loop() {
		truth, err := sim.Render(context.Background(), &discard{}, sc)
		if err != nil {
			b.Fatal(err)
		}
		seconds += float64(truth.Frames) / 48000
	}
	b.ReportMetric(seconds/b.Elapsed().Seconds(), "x-realtime")
}

// A test tape played 0.4 % fast by a six-track recorder with a dirty track 5.
func ExampleRender() {
	sc := sim.Perfect(testTape(1), geometry())
	sc.SpeedErrorPercent = 0.4
	sc.AzimuthArcmin = 3
	sc.Tracks[4].SpacingUm = 0.5
	truth, err := sim.Render(context.Background(), &discard{}, sc) // a file, at a bench
	if err != nil {
		fmt.Println(err)
		return
	}
	response, _ := truth.Find("response", 5, 0, "treble")
	delay, _ := truth.Find("delay", 1, 6, "")
	fmt.Printf("track 5 at 10 kHz %.2f dB, track 6 after track 1 by %.1f µs\n", response, delay)
	// Output:
	// track 5 at 10 kHz -2.76 dB, track 6 after track 1 by 28.3 µs
}
