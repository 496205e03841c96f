package signature_test

import (
	"fmt"
	"sort"
	"testing"
	"time"

	"headstack/signature"
	"headstack/sim"
)

func TestZZ(t *testing.T) {
	var m sim.Memory
	b := benchOf(false)
	for _, c := range []signature.Cause{"", signature.Spacing, signature.LowCorner, signature.HighCorner, signature.Gain, signature.Azimuth, signature.SpacingRamp, signature.GapWear, signature.HeadOpen, signature.UnsteadyJoint} {
		s, rng := newScene(b, 7)
		s.put(c, rng)
		rep := s.capture(t, &m)
		t0 := time.Now()
		ev, err := signature.Likelihoods(rep, b.opt)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Println("=====", s.causes, time.Since(t0))
		show := func(m map[signature.Cause]float64) string {
			var ks []string
			for k, v := range m {
				ks = append(ks, fmt.Sprintf("%s %.1f", k, v))
			}
			sort.Strings(ks)
			return fmt.Sprint(ks)
		}
		fmt.Println("shared", show(ev.Shared), ev.Group)
		for i, x := range ev.Track {
			fmt.Println(i+1, show(x))
		}
		for c, g := range ev.GivenShared {
			fmt.Println("given", c, show(g[0]))
		}
	}
}
