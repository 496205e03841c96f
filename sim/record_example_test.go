package sim_test

import (
	"fmt"

	"headstack/programme"
	"headstack/sim"
)

// A two-track recorder with a tape that has 3 % third harmonic at +5 dB, one track of
// which leaks into the other. By hand: 3 % is at a·A² = 0.1101, so a = 0.0293; the
// reference plays 20·log10(1 - 3a/4) = 0.19 dB low, by which the 3 % level counts higher
// and the leak, which adds 0.05 dB to the other reference, lower.
func ExampleRecording() {
	p, err := programme.New(programme.Options{Tracks: 2, SpeedCmS: 19.05})
	if err != nil {
		fmt.Println(err)
		return
	}
	r := sim.PerfectRecording(p)
	r.Tracks[0].MOLDB = new(5.0)
	r.Leaks = []sim.Leak{{From: 1, To: 2, DB: -45}}
	_, truth, err := r.Play()
	if err != nil {
		fmt.Println(err)
		return
	}
	show := func(name string, track, trackB int, section, unit string) {
		v, _ := truth.Find(name, track, trackB, section, 0)
		fmt.Printf("%s %.2f %s\n", name, v, unit)
	}
	show("harmonic_3", 1, 0, "level step 0 dB", "%")
	show("mol_3pct", 1, 0, "", "dB re the replayed reference")
	show("crosstalk", 1, 2, "track 1 alone", "dB")
	show("erase_depth", 1, 0, "erase", "dB")
	// Output:
	// harmonic_3 0.75 %
	// mol_3pct 5.19 dB re the replayed reference
	// crosstalk -45.24 dB
	// erase_depth 70.00 dB
}
