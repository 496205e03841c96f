package infer_test

import (
	"math"
	"testing"
)

// TestConflict: the measure of Jensen, Chamberlain, Nordahl and Jensen, UAI 6, 1991, on
// two published networks; the values were enumerated outside this project.
func TestConflict(t *testing.T) {
	c := loadCase(t, "04_conflict_measure.json", "conflict")
	var want []struct {
		Network  string
		Evidence map[string]bool
		Conf     float64
	}
	decode(t, c.Expected, &want)
	if len(want) == 0 {
		t.Fatal("no cases")
	}
	for _, w := range want {
		var in struct{ Network []networkNode }
		decode(t, loadCase(t, "03_bayes_networks.json", w.Network).Inputs, &in)
		n := build(in.Network)
		got, err := n.g.Conflict(n.evidence(w.Evidence))
		if err != nil || !close64(got, w.Conf, c.Tolerance) {
			t.Errorf("%s, %v: conf %.12g, %v, want %.12g", w.Network, w.Evidence, got, err, w.Conf)
		}
	}
}

// TestConflictOfOneFinding: a finding never contradicts itself, whatever the graph's
// weights sum to.
func TestConflictOfOneFinding(t *testing.T) {
	var in struct{ Network []networkNode }
	decode(t, loadCase(t, "03_bayes_networks.json", "asia").Inputs, &in)
	n := build(in.Network)
	got, err := n.g.Conflict(n.evidence(map[string]bool{"xray": true}))
	if err != nil || math.Abs(got) > 1e-12 {
		t.Errorf("conf of one finding %g, %v, want 0", got, err)
	}
}
