package main

import (
	"context"
	"fmt"
	"io"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
	"headstack/web"
)

// lightDemo makes the demo's job on a bench that is served: the same invented recorder with
// the same hidden faults, tried and probed as the advice says up to where something is to
// be repaired. No tape is captured: rendering and measuring takes minutes, and a page waits.
func lightDemo(e *env, b *job.Bench) web.DemoFunc {
	return func(ctx context.Context) (string, error) {
		quiet := *e
		quiet.ctx, quiet.out, quiet.err = ctx, io.Discard, io.Discard
		d := &demonstration{env: &quiet, bench: b, taken: map[string]taken{}}
		var err error
		if d.story, err = theatreStory(4); err != nil {
			return "", err
		}
		d.sim = d.story.bench
		d.job, err = b.OpenJob(ctx, job.NewJob{Definition: d.sim.Def.ID, Serial: d.story.serial, Owner: d.story.owner + " (demo, invented)", Claim: d.story.claim, Case: measure.CaseClosed})
		if err != nil {
			return "", err
		}
		for _, f := range []string{"play", "record-play"} {
			for _, key := range d.sim.Def.ReplicaKeys("track") {
				if _, err := d.check(f, key, diagnosis.Unprovoked, ""); err != nil {
					return "", fmt.Errorf("trying %s on track %s: %w", f, key, err)
				}
			}
		}
		_, err = d.search()
		return d.job.ID, err
	}
}
