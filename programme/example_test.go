package programme_test

import (
	"context"
	"fmt"

	"headstack/programme"
)

// A six-track machine that records two tracks at once takes its programme in three
// rounds.
func Example() {
	p, err := programme.New(programme.Options{Tracks: 6, SpeedCmS: 9.525, TracksPerRound: 2})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(p.Name)
	fmt.Printf("%d parts, %.0f s for each of %v\n", len(p.Parts), p.Seconds(), p.Rounds)
	signal, err := p.Signal(1, 48000)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(signal.Channels(), "channels")

	// Played straight back, its parts are where they were put.
	found, err := p.Locate(context.Background(), signal, []int{3, 4}, 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, part := range found.Parts[:4] {
		fmt.Printf("%s: %.1f s to %.1f s\n", p.Parts[part.Index].Name, part.StartS, part.EndS)
	}
	// Output:
	// 6 tracks, 9.525 cm/s, reference 315 Hz, 3 rounds
	// 59 parts, 227 s for each of [[1 2] [3 4] [5 6]]
	// 2 channels
	// start mark: 0.0 s to 3.0 s
	// reference: 3.0 s to 11.0 s
	// 125 Hz: 11.0 s to 15.0 s
	// 63 Hz: 15.0 s to 19.0 s
}
