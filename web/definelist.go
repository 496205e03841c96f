package web

import (
	"fmt"
	"strings"

	"headstack/machine"
)

// A step works on a list of the draft. The other sets are fields with lists in the file;
// here each is an item with a name and its members. A step without a list works on the
// fields at the top as its one item.

func (st *defineStep) items(d *machine.Draft) []machine.Fields {
	switch st.List {
	case "":
		return []machine.Fields{d.Fields()}
	case "replicas":
		sets, _ := d.Fields().Get("replicas").(machine.Fields)
		out := make([]machine.Fields, len(sets))
		for i, s := range sets {
			out[i] = machine.Fields{{Key: "name", Value: machine.Text(s.Key)}, {Key: "keys", Value: s.Value}}
		}
		return out
	}
	return d.Items(st.List)
}

func (st *defineStep) put(d *machine.Draft, i int, item machine.Fields) (*machine.Draft, error) {
	switch st.List {
	case "":
		return st.putTop(d, item)
	case "replicas":
		items := st.items(d)
		name := shownValue(item.Get("name"), fieldText)
		if name == "" {
			return nil, fmt.Errorf("the set has no name")
		}
		for k, other := range items {
			if k != i && shownValue(other.Get("name"), fieldText) == name {
				return nil, fmt.Errorf("there is a set %s already", name)
			}
		}
		if i == len(items) {
			items = append(items, nil)
		}
		items[i] = item
		return setSets(d, items)
	}
	return d.Put(st.List, i, item)
}

// putTop writes the fields at the top that the step shows.
func (st *defineStep) putTop(d *machine.Draft, item machine.Fields) (*machine.Draft, error) {
	var err error
	done := map[string]bool{}
	for _, f := range st.Fields {
		head, _, _ := strings.Cut(f.Key, ".")
		if done[head] {
			continue
		}
		done[head] = true
		if d, err = d.Set(head, item.Get(head)); err != nil {
			return nil, err
		}
	}
	return d, nil
}

func setSets(d *machine.Draft, items []machine.Fields) (*machine.Draft, error) {
	if len(items) == 0 {
		return d.Set("replicas", nil)
	}
	sets := machine.Fields{}
	for _, it := range items {
		keys, ok := it.Get("keys").(machine.List)
		if !ok {
			keys = machine.List{}
		}
		sets = append(sets, machine.Field{Key: shownValue(it.Get("name"), fieldText), Value: keys})
	}
	return d.Set("replicas", sets)
}

func (st *defineStep) remove(d *machine.Draft, i int) (*machine.Draft, error) {
	if st.List != "replicas" {
		return d.Remove(st.List, i)
	}
	items := st.items(d)
	if i < 0 || i >= len(items) {
		return nil, fmt.Errorf("there are %d sets, and no set %d", len(items), i+1)
	}
	return setSets(d, append(items[:i:i], items[i+1:]...))
}

func (st *defineStep) move(d *machine.Draft, i, by int) (*machine.Draft, error) {
	if st.List == "replicas" {
		return d, nil
	}
	return d.Move(st.List, i, by)
}

// makes says for which tracks an item stands, and what the parts are called there.
func makes(d *machine.Definition, st *defineStep, item machine.Fields) string {
	set := shownValue(item.Get("each"), fieldText)
	if d == nil || set == "" {
		return ""
	}
	keys := d.ReplicaKeys(set)
	if len(keys) == 0 {
		return ""
	}
	what := set
	if len(keys) > 1 {
		what += "s"
	}
	s := fmt.Sprintf(" This makes %ss for %s %s", st.One, what, keySpan(keys))
	pattern := shownValue(item.Get("part"), fieldText)
	if pattern == "" {
		pattern = shownValue(item.Get("name"), fieldText)
	}
	if strings.Contains(pattern, "{"+set+"}") {
		var parts []string
		for i, k := range keys {
			if i == 4 && len(keys) > 5 {
				parts = append(parts, "…", d.Designator(pattern, set, keys[len(keys)-1]))
				break
			}
			parts = append(parts, d.Designator(pattern, set, k))
		}
		s += ": " + strings.Join(parts, ", ")
	}
	return s + "."
}
