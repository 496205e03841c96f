package diagnosis

import (
	"math"
	"slices"
)

// below is what is likeliest in the scopes below a cell while the cell itself is
// sound, beside which its own faults are judged before they are summed.
type below struct {
	all   []int32 // per observation: its effect when all of them are as is likeliest
	parts []part
}

// part is a scope below that is likelier at fault than not. Most of what would be
// learned of a fault above is whether this one is still needed beside it.
type part struct {
	lo, hi int     // what it sees, as places in sub of the scope that is judged
	odds   float64 // log of the odds of sound to at fault
	// what the observations lo to hi meet while it is at fault, and else; what is
	// likelier than not further down goes with each.
	ill, sound           []int32
	whileIll, whileSound []part
}

// below looks at what the sums of a sound cell hold.
func (t *net) below(c *cell) *below {
	none := c.branches[0]
	x := &below{all: append([]int32(nil), none.all...)}
	x.parts = t.parts(none, len(c.n.own))
	for _, p := range x.parts {
		p.set(c.n, x.all, p.ill)
	}
	return x
}

// set makes the effects at the observations of a part those given.
func (p *part) set(n *node, all, ids []int32) {
	for k, id := range ids {
		all[n.sub[p.lo+k]] = id
	}
}

// parts lists the scopes below a branch that are likelier at fault than not; at is the
// place of the first child's observations.
func (t *net) parts(b *branch, at int) []part {
	var out []part
	for _, c := range b.kids {
		p := part{lo: at, hi: at + len(c.n.sub)}
		at = p.hi
		if !c.n.net.inner {
			if 2*c.tot[0] >= c.sum || !(c.sum > 0) {
				continue
			}
			top := 1
			for i, v := range c.tot {
				if i > 0 && v > c.tot[top] {
					top = i
				}
			}
			sig := t.s.sigOf(c.n, c.form.rows[c.active[top]])
			for k, o := range c.n.own {
				p.sound = append(p.sound, c.all[o])
				p.ill = append(p.ill, t.s.m.obs[o].space.merge(c.all[o], sig[k]))
			}
			p.odds = math.Log(c.tot[0] / (c.sum - c.tot[0]))
			out = append(out, p)
			continue
		}
		first := p.lo + len(c.n.own)
		share := math.Exp(c.branches[0].logZ - c.logZ)
		if share >= 0.5 || len(c.branches) < 2 {
			out = append(out, t.parts(c.branches[0], first)...)
			continue
		}
		top := c.branches[1]
		for _, b := range c.branches[1:] {
			if b.logZ > top.logZ {
				top = b
			}
		}
		p.whileIll, p.whileSound = t.parts(top, first), t.parts(c.branches[0], first)
		p.ill = t.meets(c.n, top.all, p.lo, p.whileIll)
		p.sound = t.meets(c.n, c.branches[0].all, p.lo, p.whileSound)
		p.odds = math.Log(share / (1 - share))
		out = append(out, p)
	}
	return out
}

// meets is the effects at the observations of a scope, from place at on, with parts
// further down at fault.
func (t *net) meets(n *node, all []int32, at int, parts []part) []int32 {
	out := make([]int32, len(n.sub))
	for k, o := range n.sub {
		out[k] = all[o]
	}
	for _, p := range parts {
		copy(out[p.lo-at:], p.ill)
	}
	return out
}

// quick is about the log of the ratio of the likelihoods with and without the effects of
// a signature, whatever is at fault below: of each part that the signature touches, at
// fault and sound, the likelier is kept for the next and the other added to it.
func (t *net) quick(k *known, sig []int32) float64 {
	t.on = append(t.on[:0], k.below.all...)
	v, _ := t.besides(k.n, k.below.parts, t.on, sig, 0)
	return v
}

// besides leaves on as the likelier states of the parts make it. Of what it returns, w is
// the log of all but the likelihood ratio on top of that, from the w that it was given.
func (t *net) besides(n *node, parts []part, on, sig []int32, w float64) (v, _ float64) {
	v = w + t.quickOn(n, on, sig)
	for i := range parts {
		p := &parts[i]
		if slices.ContainsFunc(sig[p.lo:p.hi], func(id int32) bool { return id != 0 }) {
			v, w = t.either(n, p, on, sig, v, w)
		}
	}
	return v, w
}

// either weighs both states of a part that on has at fault.
func (t *net) either(n *node, p *part, on, sig []int32, v, w float64) (_, _ float64) {
	ill, sound := -softplus(p.odds), -softplus(-p.odds)
	a, wa := v+ill, w+ill
	if len(p.whileIll) > 0 {
		a, wa = t.besides(n, p.whileIll, on, sig, wa)
	}
	was := make([]int32, p.hi-p.lo)
	for k := range was {
		was[k] = on[n.sub[p.lo+k]]
	}
	p.set(n, on, p.sound)
	b, wb := t.besides(n, p.whileSound, on, sig, w+sound)
	if a > b {
		p.set(n, on, was)
		a, b, wb = b, a, wa
	}
	if math.IsInf(b, -1) {
		return b, wb
	}
	more := math.Log1p(math.Exp(a - b))
	return b + more, wb + more
}

// softplus is log(1 + exp(x)).
func softplus(x float64) float64 {
	return math.Max(x, 0) + math.Log1p(math.Exp(-math.Abs(x)))
}

// quickOn is the log of the ratio of the likelihoods with and without the effects of a
// signature, on top of given effects.
func (t *net) quickOn(n *node, on []int32, sig []int32) float64 {
	s := t.s
	all := t.all
	copy(all, on)
	touched := t.touched
	clear(touched)
	v := 0.0
	for k, o := range n.sub {
		if sig[k] == 0 {
			continue
		}
		all[o] = s.m.obs[o].space.merge(all[o], sig[k])
		if f := s.shared[o]; f >= 0 {
			touched[f] = true
		} else {
			v += math.Log(s.likelihood(o, all[o], 0)) - math.Log(s.likelihood(o, on[o], 0))
		}
	}
	for f, yes := range touched {
		if yes {
			v += t.alone(f, all) - t.alone(f, on)
		}
	}
	if math.IsNaN(v) {
		return 0
	}
	return v
}
