package web

import (
	"context"
	"fmt"

	"headstack/job"
	"headstack/measure"
	"headstack/teardown"
	"headstack/trim"
)

// liningStory is a recorder whose faults are cured, in the middle of its line-up: the gates
// are seen to, some steps read, some turned again after that, one signed off.
func liningStory() (*storyBench, string) {
	b, ctx := newStoryBench(), context.Background()
	b.verdict = quietVerdict
	j := must(b.OpenJob(ctx, job.NewJob{Definition: "hexastrand", Serial: "Q-0417", Owner: "Community theatre, Ravensgill", Case: measure.CaseClosed}))
	keep := func(e job.Entry) { must(b.Record(ctx, j.ID, e)) }
	figure := func(step string, value, half float64, unit string) {
		keep(job.Entry{Figure: &job.Figure{Step: step, Value: value, Unit: unit, Half: half, Instrument: "Millivoltmeter B"}})
	}
	figure("azimuth/AZ", 4.5, 0.2, "arcmin") // as found
	for _, g := range []string{"path_clean", "demagnetised", "demagnetiser_away", "scrap_run", "noise_reduction_off", "pitch_centre", "warm"} {
		keep(job.Entry{Gate: &job.Gate{Step: g}})
	}
	figure("flutter/9.525", 0.07, 0.01, "%")
	figure("drift/9.525", 0.02, 0.02, "%/min")
	keep(job.Entry{Pass: &job.Pass{Tape: "pendle-brook-cassette"}})
	figure("speed/VR1", 0.12, 0.01, "%")
	keep(job.Entry{Opening: &job.Opening{Opening: "lid"}})
	keep(job.Entry{Turn: &job.Turn{Trim: "AZ", By: -35, Unit: trim.Degrees}})
	figure("azimuth/AZ", 0.4, 0.2, "arcmin")
	for t := 1; t <= 6; t++ {
		figure(fmt.Sprintf("level/VRa/%d", t), []float64{1.6, 1.4, 3.1, 1.5, 1.55, 0.2}[t-1], 0.1, "dB")
	}
	keep(job.Entry{SignOff: &job.SignOff{Step: "treble/VRb/4", Reason: "worn head, 1.6 dB short; the owner knows", By: "JB"}})
	keep(job.Entry{Turn: &job.Turn{Trim: "VRa", Key: "2", By: 12}})
	b.plan = storyPlan
	return b, j.ID
}

// storyPlan has two visits, a decision of each kind, parts and connectors.
func storyPlan(ctx context.Context, v *job.View) (*teardown.Plan, error) {
	p, err := teardown.New(v.Def, []teardown.Task{
		{ID: "C11-3", Text: "replace C11-3", Kind: teardown.Fix, Needs: []string{"tape-board"}, Power: teardown.Off, Minutes: 15, Parts: []string{"10 µF 25 V"}, Tools: []string{"soldering iron"}},
		{ID: "VRa-3", Text: "set play level 3", Kind: teardown.LineUp, Needs: []string{"lid"}, Power: teardown.On, Function: "play", Key: "3", Minutes: 5, Follows: []string{"C11-3"}},
		{ID: "L7-2", Text: "tune the trap of track 2", Kind: teardown.LineUp, Needs: []string{"squeeze"}, Power: teardown.On, Function: "record", Key: "2", Minutes: 8},
		{ID: "FD-3", Text: "replace fader 3", Kind: teardown.Fix, Needs: []string{"strip"}, Power: teardown.Off, Minutes: 20, Parts: []string{"fader, 10 kohm"}},
		{ID: "proof", Text: "record and play track 3", Kind: teardown.Test, Case: "closed", Power: teardown.On, Function: "record-play", Key: "3", Minutes: 3, Follows: []string{"VRa-3"}},
		{ID: "belt", Text: "new belt", Kind: teardown.Preventive, Needs: []string{"belt"}, Power: teardown.Off, Minutes: 25, Optional: true, Chance: 0.4},
		{ID: "C11-5", Text: "replace C11-5 too", Kind: teardown.Preventive, Needs: []string{"tape-board"}, Power: teardown.Off, Minutes: 5, Optional: true, Chance: 0.5},
	}, teardown.Options{Open: v.Open})
	if err != nil {
		return nil, err
	}
	return p.Plan(ctx)
}

func liningStories(root string) []story {
	return []story{
		{"line-up", root + "/line-up", 200, []string{"◱ stale", "VRa-2 (play level) was turned", "‖ blocked", "◧ signed off", "worn head, 1.6 dB short", "– not needed", "Replay of the test tape", "Closing proof", "not done:"}},
		{"line-up-step", root + "/line-up?step=level/VRa/3", 200, []string{"play level, track 3", "+1.53 ±0.5\u2009dB", "119\u2009mV at TP11", "fringing", "what the target adds up from", "lid unscrewed", "ceramic or plastic trimmer", "VRa-3 was turned", "leave it as it is"}},
		{"line-up-gate", root + "/line-up?step=demagnetised", 200, []string{"heads and guides demagnetised", "holds no longer", "more than 1.5 m away"}},
		{"read-out", root + "/line-up/read-out?step=level/VRa/3", 200, []string{"play level, track 3", "+1.57"}},
		{"line-up-sheet", root + "/line-up/sheet", 200, []string{"Line-up of Quernmoor Hexastrand", "3 of 13. Replay of the test tape, 9.525 cm/s, round 1 of 3: tracks 1, 6", "Q-0417", "first 3.4: geometry before electronics; 3.1, 3.2: a track partly off its gap is low", "What the targets add up from", "Local electrical codes"}},
		{"openings", root + "/openings", 200, []string{"■ proved Proved least", "Visit 1", "10 µF 25 V", "soldering iron", "W5", "⇄ mirrored", "○ leave it", "■ do it now", "its work now", "power on", "Photographs"}},
	}
}
