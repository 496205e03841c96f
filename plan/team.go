package plan

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// team are scouts that look the same way side by side. What an action costs does not
// depend on who looked, so neither does the ranking on how many there are.
type team []*scout

// team is k with as many others like it as there are processors, at most n.
func (k *scout) team(n int) team {
	out := team{k}
	for len(out) < min(runtime.GOMAXPROCS(0), n) {
		x := newScout(k.ctx, k.m, k.o)
		x.crew.done, x.crew.tail = k.crew.done, k.crew.tail
		x.among, x.small, x.rare, x.known = k.among, k.small, k.rare, map[string]straightOn{}
		out = append(out, x)
	}
	return out
}

// each does all of 0 to n-1, whoever is free the next one, and returns when all are done
// or the context is.
func (t team) each(n int, do func(k *scout, i int)) {
	var next atomic.Int64
	work := func(k *scout) {
		for k.ctx.Err() == nil {
			i := int(next.Add(1)) - 1
			if i >= n {
				return
			}
			do(k, i)
		}
	}
	var all sync.WaitGroup
	for _, k := range t[1:] {
		all.Go(func() { work(k) })
	}
	work(t[0])
	all.Wait()
}
