package main

import (
	"headstack/machine"
	"headstack/sim"
	"headstack/testtape"
)

// story is an invented recorder with its hidden faults and how it is met.
type story struct {
	bench                *sim.Bench
	scenario             func(pair []int) sim.Scenario
	tape                 string // id of the test tape
	passes               [][]int
	serial, owner, claim string
	meter                string
	slipAt               int     // which of the advised readings is misread by a unit
	headStage            string  // the stage that is the head's seating,
	lined                float64 // and the azimuth, in arcminutes, once it was lined up
}

// theatreStory is a community theatre's six-track recorder: the coupling capacitor
// of one record group has dried out, so that tracks 1, 3 and 5 record weak, and
// track 4 plays dull because of dirt on its head section.
func theatreStory(seed uint64) (story, error) {
	def, _ := machine.Builtin("hexastrand")
	capacitor, err := sim.NewFault(def, "C31", "a", machine.Weak, "dried out: capacitance lost", 0.8)
	if err != nil {
		return story{}, err
	}
	dirt, err := sim.NewFault(def, "H", "4", machine.Weak, "dirt on the head face", 0.4)
	if err != nil {
		return story{}, err
	}
	bench, err := sim.NewBench(def, seed, capacitor, dirt)
	if err != nil {
		return story{}, err
	}
	const tapeID = "pendle-brook-cassette"
	t, err := testtape.Builtin(tapeID)
	if err != nil {
		return story{}, err
	}
	return story{
		bench: bench, scenario: theatreScenario(def, t, seed), tape: tapeID,
		// Six tracks in three passes: edge to edge first, which shows azimuth best.
		passes: [][]int{{1, 6}, {2, 5}, {3, 4}},
		serial: "HX-0417", owner: "a community theatre",
		claim: "records weak on some tracks and plays dull on one",
		meter: "bench millivoltmeter", slipAt: 0, headStage: "AZ", lined: 0.2,
	}, nil
}

// theatreScenario is the transport and the replay path as such a machine comes in:
// a little fast, head a little out of line, levels a few tenths apart.
func theatreScenario(def *machine.Definition, t *testtape.Tape, seed uint64) func(pair []int) sim.Scenario {
	gains := []float64{0.3, -0.4, 0.1, -0.2, 0.5, -0.3}
	return func(pair []int) sim.Scenario {
		sc := sim.Perfect(t, def.Geometry())
		sc.Channels, sc.Seed = pair, seed+uint64(pair[0])
		sc.SpeedErrorPercent, sc.AzimuthArcmin = 0.6, 4.5
		sc.AzimuthWander = sim.Wander{RMSArcmin: 0.3, LowHz: 0.1, HighHz: 1}
		// A reel, the pinch roller and the capstan, at the speed that this one runs.
		sc.Flutter = []sim.Line{{Hz: 0.92, PercentPeak: 0.03}, {Hz: 2.772, PercentPeak: 0.05, PhaseDeg: 40}, {Hz: 12.2, PercentPeak: 0.02}}
		sc.RandomFlutter = sim.RandomFlutter{RMSPercent: 0.02, LowHz: 0.5, HighHz: 60}
		for i := range sc.Tracks {
			sc.Tracks[i].GainDB = gains[i]
			sc.Tracks[i].Noise = &sim.Noise{LevelDBFS: -60, Pole: 0.2}
			sc.Tracks[i].Hum = &sim.Hum{LevelDBFS: -72, HarmonicsDB: []float64{-8, -6}}
			sc.Tracks[i].CrosstalkDB = -42
		}
		return sc
	}
}
