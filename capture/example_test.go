package capture_test

import (
	"fmt"
	"io"
	"log"
	"math"
	"os"
	"path/filepath"

	"headstack/capture"
)

// A second of a 1 kHz tone at half of full scale is written and its peak read
// back, track by track.
func Example() {
	dir, err := os.MkdirTemp("", "capture")
	if err != nil {
		log.Fatal(err)
	}
	defer os.RemoveAll(dir)
	f, err := os.Create(filepath.Join(dir, "tone.wav"))
	if err != nil {
		log.Fatal(err)
	}
	defer f.Close()
	w, err := capture.NewWriter(f, capture.Spec{Encoding: capture.PCM, Bits: 24, Channels: 2, SampleRate: 48000})
	if err != nil {
		log.Fatal(err)
	}
	tone := [][]float64{make([]float64, 48000), make([]float64, 48000)}
	for i := range tone[0] {
		tone[0][i] = 0.5 * math.Sin(2*math.Pi*1000*float64(i)/48000)
		tone[1][i] = tone[0][i] / 2
	}
	if err := w.Write(tone, 48000); err != nil {
		log.Fatal(err)
	}
	if err := w.Close(); err != nil {
		log.Fatal(err)
	}

	r, err := capture.Open(f.Name())
	if err != nil {
		log.Fatal(err)
	}
	defer r.Close()
	frames, known := r.Frames()
	fmt.Println(r.Info(), frames, known, r.Warnings())
	block, peak := [][]float64{make([]float64, 4096), make([]float64, 4096)}, [2]float64{}
	for {
		n, err := r.Read(block)
		if err == io.EOF {
			break
		}
		if err != nil {
			log.Fatal(err)
		}
		for c := range block {
			for _, x := range block[c][:n] {
				peak[c] = max(peak[c], x)
			}
		}
	}
	fmt.Println(peak)
	// Output:
	// WAV, PCM 24 bit, 2 channels, 48000 Hz 48000 true []
	// [0.5 0.25]
}
