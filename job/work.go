package job

import (
	"fmt"
	"slices"
	"strings"

	"headstack/diagnosis"
	"headstack/machine"
)

var workKinds = []diagnosis.WorkKind{diagnosis.WorkRepair, diagnosis.WorkClean, diagnosis.WorkReseat, diagnosis.WorkReflow, diagnosis.WorkSwap}

// WorkKinds are the kinds of work that can be recorded.
func WorkKinds() []diagnosis.WorkKind { return slices.Clone(workKinds) }

// ParseStage finds a stage and its replica key. s is a designator as printed ("C31-a",
// or one part of several that form a stage), id and key with a slash ("C31/a"), or an id
// with key beside it; case does not matter. Errors: [InvalidError] with the nearest
// designators.
func ParseStage(def *machine.Definition, s, key string) (id, k string, err error) {
	s, key = strings.TrimSpace(s), strings.TrimSpace(key)
	var designators []string
	for _, in := range def.Instances() {
		part := in.Part()
		designators = append(designators, part)
		// "R21-3/C14-3" is one stage of two parts.
		for _, name := range append([]string{part}, strings.Split(part, "/")...) {
			if strings.EqualFold(name, s) && (key == "" || strings.EqualFold(key, in.Key)) {
				return in.Stage.ID, in.Key, nil
			}
		}
	}
	if before, after, ok := strings.Cut(s, "/"); ok && key == "" {
		s, key = before, after
	}
	for i := range def.Stages {
		if st := &def.Stages[i]; strings.EqualFold(st.ID, s) {
			k, err := stageKey(def, st, key)
			return st.ID, k, err
		}
	}
	return "", "", &InvalidError{Field: "part", Value: shorten(s), Problem: "is no stage of the definition", Nearest: nearest(s, designators)}
}

func stageKey(def *machine.Definition, st *machine.Stage, key string) (string, error) {
	keys := def.ReplicaKeys(st.Each)
	for _, k := range keys {
		if strings.EqualFold(k, key) {
			return k, nil
		}
	}
	if st.Each == "" {
		return "", &InvalidError{Field: "key", Value: shorten(key), Problem: fmt.Sprintf("does not go with %s, of which there is one only", st.ID)}
	}
	return "", &InvalidError{Field: st.Each, Value: shorten(key), Problem: "is none of those at which there is a " + st.ID, Nearest: keys}
}

// checkWork completes stage and keys. With may be a replica key or a designator.
func checkWork(def *machine.Definition, w *Work) error {
	if !slices.Contains(workKinds, w.Kind) {
		return &InvalidError{Field: "work", Value: shorten(string(w.Kind)), Problem: "is of no kind that is known", Nearest: names(workKinds)}
	}
	var err error
	if w.Stage, w.Key, err = ParseStage(def, w.Stage, w.Key); err != nil {
		return err
	}
	if w.Kind == diagnosis.WorkSwap {
		return checkSwap(def, w)
	}
	if w.With != "" || w.Back {
		return &InvalidError{Field: "work", Value: string(w.Kind), Problem: "is no swap: it has no sibling and is not undone"}
	}
	return nil
}

func checkSwap(def *machine.Definition, w *Work) error {
	st, _ := def.Stage(w.Stage)
	part := def.Designator(st.Part, st.Each, w.Key)
	if st.Each == "" {
		return &InvalidError{Field: "part", Value: part, Problem: "has no sibling to be exchanged with"}
	}
	others := slices.DeleteFunc(def.ReplicaKeys(st.Each), func(k string) bool { return k == w.Key })
	if id, key, err := ParseStage(def, w.With, ""); err == nil && id == w.Stage {
		w.With = key
	}
	for _, k := range others {
		if strings.EqualFold(k, strings.TrimSpace(w.With)) {
			w.With = k
			return nil
		}
	}
	return &InvalidError{Field: "with", Value: shorten(w.With), Problem: "is no sibling of " + part, Nearest: others}
}

// same tells whether two swaps exchange the same two parts.
func (w Work) same(o Work) bool {
	return w.Stage == o.Stage && (w.Key == o.Key && w.With == o.With || w.Key == o.With && w.With == o.Key)
}

// Part names what was worked on: "C31-a", "K1-3 with K1-5".
func (w Work) Part(def *machine.Definition) string {
	st, ok := def.Stage(w.Stage)
	if !ok {
		return w.Stage + "/" + w.Key
	}
	s := def.Designator(st.Part, st.Each, w.Key)
	if w.With != "" {
		s += " with " + def.Designator(st.Part, st.Each, w.With)
	}
	return s
}

// Text says in a few words what was done: "repaired C31-a".
func (w Work) Text(def *machine.Definition) string {
	did := map[diagnosis.WorkKind]string{diagnosis.WorkRepair: "repaired", diagnosis.WorkClean: "cleaned",
		diagnosis.WorkReseat: "reseated", diagnosis.WorkReflow: "resoldered", diagnosis.WorkSwap: "exchanged"}[w.Kind]
	if w.Back {
		did = "exchanged back"
	}
	return did + " " + w.Part(def)
}
