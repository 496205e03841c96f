package teardown

import (
	"context"
	"fmt"
)

// Overstated goes along the least plan and names the first situation in which what was
// spent and the bound of the rest together exceed what the plan costs.
func (p *Problem) Overstated() string {
	m := p.model(nil, p.powered())
	got, err := m.search(context.Background(), 1e6)
	if err != nil || !got.proved {
		return "no least plan"
	}
	s := state{open: m.start}
	spent := cost{time: m.left + m.settle(&s)}
	for _, a := range got.acts {
		if b := spent.plus(m.bound(&s)); got.spent.less(b) {
			return fmt.Sprintf("before %v: %v of %v", a, b, got.spent)
		}
		next, c := m.apply(&s, a)
		s, spent = next, spent.plus(c)
	}
	if spent != got.spent {
		return fmt.Sprintf("the acts cost %v, the search says %v", spent, got.spent)
	}
	return ""
}
