package machine

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// maxPath bounds the stages met while "@" items are expanded.
const maxPath = 500

// step is one stage of an expanded path with the replica sets that the function
// it came from fixes.
type step struct {
	stage *Stage
	with  map[string]string
}

// Path returns the stages that the signal of one function passes on its way, in
// signal order, each resolved to the replica that serves key:
//
//   - a shared stage has the key "";
//   - a stage that repeats over the function's own set has the function's key;
//   - a set fixed by the function's With has that key;
//   - over "group" it is the group that contains the track;
//   - over any other set it is the replica whose key equals the function's, so
//     that strip 3 serves track 3.
//
// An item "@other" stands for the stages of the function other; what the outer
// function fixes goes before what the inner one does. A stage met twice keeps
// its later place: in record-play the head ends the record path and begins the
// play path, and stands where the signal comes off tape again.
//
// The error names the function, key or stage that does not fit; after [Load]
// every function resolves for each key of its set.
func (d *Definition) Path(function, key string) ([]Instance, error) {
	ix := d.idx()
	f, ok := ix.functions[function]
	if !ok {
		return nil, fmt.Errorf("machine %s has no function %q; %s", d.ID, function, didYouMean(function, d.functionIDs()))
	}
	keys := d.ReplicaKeys(f.Each)
	if !slices.Contains(keys, key) {
		if f.Each == "" {
			return nil, fmt.Errorf("function %s of machine %s is one for the whole recorder and takes no key, not %q", function, d.ID, key)
		}
		return nil, fmt.Errorf("function %s of machine %s has no %s %q; it has %s", function, d.ID, f.Each, key, listed(keys))
	}
	steps, err := ix.steps(f, nil, nil, new(int))
	if err != nil {
		return nil, err
	}
	var out []Instance
	for _, s := range steps {
		k, err := d.resolve(s.stage.Each, f.Each, key, s.with)
		if err != nil {
			return nil, fmt.Errorf("stage %s repeats over %s: %w", s.stage.ID, s.stage.Each, err)
		}
		in := Instance{s.stage, k}
		if i := slices.Index(out, in); i >= 0 {
			out = slices.Delete(out, i, i+1)
		}
		out = append(out, in)
	}
	return out, nil
}

// steps expands a function. outer holds what the enclosing functions fix, stack
// the functions being expanded.
func (ix *index) steps(f *Function, outer map[string]string, stack []string, n *int) ([]step, error) {
	if slices.Contains(stack, f.ID) {
		return nil, fmt.Errorf("function %s contains itself: %s", f.ID, strings.Join(append(stack, f.ID), " → "))
	}
	stack = append(stack, f.ID)
	with := map[string]string{}
	for k, v := range f.With {
		with[k] = v
	}
	for k, v := range outer {
		with[k] = v
	}
	var out []step
	for _, item := range f.Through {
		if *n++; *n > maxPath {
			return nil, fmt.Errorf("function %s passes more than %d stages", stack[0], maxPath)
		}
		if other, ok := strings.CutPrefix(item, "@"); ok {
			g, ok := ix.functions[other]
			if !ok {
				return nil, fmt.Errorf("function %s is not defined", other)
			}
			inner, err := ix.steps(g, with, stack, n)
			if err != nil {
				return nil, err
			}
			out = append(out, inner...)
			continue
		}
		s, ok := ix.stages[item]
		if !ok {
			return nil, fmt.Errorf("stage %s is not defined", item)
		}
		out = append(out, step{s, with})
	}
	return out, nil
}

// resolve finds the key of replica set "set" that serves a function that
// repeats over fEach, at key.
func (d *Definition) resolve(set, fEach, key string, with map[string]string) (string, error) {
	if set == "" {
		return "", nil
	}
	if set == fEach {
		return key, nil
	}
	if k, ok := with[set]; ok {
		return k, nil
	}
	if set == EachGroup && fEach == EachTrack {
		t, err := strconv.Atoi(key)
		if g, ok := d.GroupOf(t); err == nil && ok {
			return g.ID, nil
		}
		return "", fmt.Errorf("track %s is in no group", key)
	}
	if key != "" && slices.Contains(d.ReplicaKeys(set), key) {
		return key, nil
	}
	return "", fmt.Errorf("nothing says which %s serves %s; fix it in the function, e.g. with: {%s: %s}",
		set, strings.TrimSpace(fEach+" "+key), set, first(d.ReplicaKeys(set)))
}

// TestPointPath returns the stages that a test point's instance sees: the path
// of its function from the start up to and with the stage After. It is empty
// for a rail or logic level. A point that repeats over another set than its
// function (TP20-a on the record path of each track) sees only what all members
// of that replica share; Load refuses a definition in which it would see more.
func (d *Definition) TestPointPath(tp *TestPoint, key string) ([]Instance, error) {
	if tp.Function == "" {
		return nil, nil
	}
	f, ok := d.idx().functions[tp.Function]
	if !ok {
		return nil, fmt.Errorf("function %s is not defined", tp.Function)
	}
	keys, err := d.pointFunctionKeys(tp, f, key)
	if err != nil {
		return nil, err
	}
	var seen []Instance
	for n, k := range keys {
		path, err := d.Path(f.ID, k)
		if err != nil {
			return nil, err
		}
		i := slices.IndexFunc(path, func(in Instance) bool { return in.Stage.ID == tp.After })
		if i < 0 {
			return nil, fmt.Errorf("stage %s is not on the path of %s", tp.After, f.ID)
		}
		if n == 0 {
			seen = path[:i+1]
			continue
		}
		for j, in := range path[:i+1] {
			if in != seen[j] {
				return nil, fmt.Errorf("test point %s sees %s, which repeats over %s, and does not say which", tp.ID, in.Stage.ID, in.Stage.Each)
			}
		}
	}
	return seen, nil
}

// pointFunctionKeys are the function's keys whose signal passes a test point's
// instance.
func (d *Definition) pointFunctionKeys(tp *TestPoint, f *Function, key string) ([]string, error) {
	if !slices.Contains(d.ReplicaKeys(tp.Each), key) {
		return nil, fmt.Errorf("test point %s has no %s %q; it has %s", tp.ID, tp.Each, key, listed(d.ReplicaKeys(tp.Each)))
	}
	var out []string
	for _, k := range d.ReplicaKeys(f.Each) {
		r, err := d.resolve(tp.Each, f.Each, k, f.With)
		if err == nil && r == key {
			out = append(out, k)
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("function %s does not pass %s %s", f.ID, tp.Each, key)
	}
	return out, nil
}

func (d *Definition) functionIDs() []string {
	return ids(d.Functions, func(f *Function) string { return f.ID })
}

func ids[T any](list []T, id func(*T) string) []string {
	out := make([]string, len(list))
	for i := range list {
		out[i] = id(&list[i])
	}
	return out
}

func first(s []string) string {
	if len(s) == 0 {
		return "…"
	}
	return s[0]
}
