package diagnosis

import (
	"math"

	"headstack/infer"
)

// conflict is how badly the observations fit together, in bits: the measure of
// infer.Conflict. Above 0 they are less likely together than by chance: one is wrong, or
// a rare fault is there.
func (p *posterior) conflict() (float64, error) {
	m := p.s.m
	each := make([]float64, len(m.obs))
	for o, ob := range m.obs {
		one := *m
		one.obs = []*observation{ob}
		alone, err := solve(&one)
		if err != nil {
			return math.Inf(1), err
		}
		each[o] = alone.logEvidence()
	}
	return infer.Conflict(p.logEvidence(), each), nil
}
