package machine

import "slices"

// PlayHead is the head stack that replays in a function, nil where the definition does
// not tell. It is the stack that bears the name of the head stage which the path meets
// last; else, where that is the head of the function play too, the only stack that
// plays. Sync through a record head is so told from play.
func (d *Definition) PlayHead(function string) *Head {
	stage := d.lastHead(function)
	if stage == nil {
		return nil
	}
	if i := slices.IndexFunc(d.Heads, func(h Head) bool { return h.Name == stage.Name }); i >= 0 {
		return &d.Heads[i]
	}
	if play := d.lastHead("play"); play == nil || play.ID != stage.ID {
		return nil
	}
	var only *Head
	for i, h := range d.Heads {
		if h.Use != "play" && h.Use != "record-play" {
			continue
		}
		if only != nil {
			return nil
		}
		only = &d.Heads[i]
	}
	return only
}

// lastHead is the last stage of kind head on the path of a function's first replica.
func (d *Definition) lastHead(function string) *Stage {
	f, ok := d.Function(function)
	if !ok {
		return nil
	}
	keys := d.ReplicaKeys(f.Each)
	if len(keys) == 0 {
		return nil
	}
	path, err := d.Path(function, keys[0])
	if err != nil {
		return nil
	}
	for _, in := range slices.Backward(path) {
		if in.Stage.Kind == "head" {
			return in.Stage
		}
	}
	return nil
}
