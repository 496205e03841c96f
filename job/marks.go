package job

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"headstack/machine"
)

// Mark says where on a picture a designator of the definition is found. A stage, a trim and a test
// point of one designator are one thing on the board and have one mark.
type Mark struct {
	Picture string // [Picture].ID
	Part    string // designator: "C31-a", "TP21-a", "VRa-3", "W5"
	// X and Y are fractions of width and height, 0…1, from the upper left corner.
	X, Y  float64
	Label string // short, beside the mark; empty: the designator
}

// MarkChange is a mark as it was set or removed.
type MarkChange struct {
	Mark
	Removed bool
	At      time.Time
}

// Target is something of a definition that can be marked.
type Target struct {
	Part  string // designator
	Name  string
	Kind  string   // "stage", "test point", "trim" or "connector"; the first of these that it is
	Board []string // board ids: two of a connector
}

// maxLabel bounds the label of a mark, in characters: it stands in the picture.
const maxLabel = 24

// markDocument is a mark as it is listed.
type markDocument struct {
	Format     int     `json:"mark"` // of this form: 1
	Definition string  `json:"definition"`
	Picture    string  `json:"picture"`
	SHA256     string  `json:"sha256"` // of the picture: on another one under its title the mark means nothing
	Part       string  `json:"part"`
	X          float64 `json:"x"`
	Y          float64 `json:"y"`
	Label      string  `json:"label,omitempty"`
	Removed    bool    `json:"removed,omitempty"`
}

// Targets lists what can be marked on a picture of a board, once for each replica; an empty
// board gives those of all. Test points stand first, then trims, connectors and stages, each
// in the order of the definition.
func Targets(def *machine.Definition, board string) []Target {
	var out []Target
	have := map[string]int{}
	add := func(kind, part, name string, boards ...string) {
		if i, ok := have[part]; ok {
			for _, b := range boards {
				if !slices.Contains(out[i].Board, b) {
					out[i].Board = append(out[i].Board, b)
				}
			}
			return
		}
		have[part] = len(out)
		out = append(out, Target{part, name, kind, boards})
	}
	for _, t := range def.TestPoints {
		for _, k := range def.ReplicaKeys(t.Each) {
			add("test point", def.Designator(t.Part, t.Each, k), t.Name, t.Board)
		}
	}
	for _, t := range def.Trims {
		for _, k := range def.ReplicaKeys(t.Each) {
			add("trim", def.Designator(t.Part, t.Each, k), t.Name, t.Board)
		}
	}
	for _, c := range def.Connectors {
		for _, k := range def.ReplicaKeys(c.Each) {
			add("connector", connectorPart(&c, k), cmp.Or(c.Kind, "connector"), c.A.Board, c.B.Board)
		}
	}
	for _, in := range def.Instances() {
		add("stage", in.Part(), in.Stage.Name, in.Stage.Board)
	}
	if board == "" {
		return out
	}
	return slices.DeleteFunc(out, func(t Target) bool { return !slices.Contains(t.Board, board) })
}

// connectorPart is the designator of a connector: its id, and the key where it repeats.
func connectorPart(c *machine.Connector, key string) string {
	if c.Each == "" {
		return c.ID
	}
	return c.ID + "-" + key
}

// ParseTarget finds a designator of a definition; case does not matter. One part of several
// that form a stage stands for the stage. The error is an [InvalidError] with the nearest.
func ParseTarget(def *machine.Definition, s string) (Target, error) {
	s = strings.TrimSpace(s)
	all := Targets(def, "")
	var parts []string
	for _, t := range all {
		if strings.EqualFold(t.Part, s) {
			return t, nil
		}
		parts = append(parts, t.Part)
	}
	for _, t := range all {
		for _, one := range strings.Split(t.Part, "/") {
			if strings.EqualFold(one, s) {
				return t, nil
			}
		}
	}
	return Target{}, &InvalidError{Field: "part", Value: shorten(s), Problem: "is no test point, trim, connector or stage of the definition", Nearest: nearest(s, parts)}
}

// Marks lists the marks of a definition's pictures, by picture and designator.
func (b *Bench) Marks(ctx context.Context, definition string) ([]Mark, error) {
	info, _, err := b.findDefinition(ctx, definition)
	if err != nil {
		return nil, err
	}
	return b.marksOf(ctx, info.ID)
}

func (b *Bench) marksOf(ctx context.Context, definition string) ([]Mark, error) {
	pictures, err := b.picturesOf(ctx, definition)
	if err != nil || len(pictures) == 0 {
		return nil, err
	}
	sha := map[string]string{}
	for _, p := range pictures {
		sha[p.ID] = p.SHA256
	}
	var out []Mark
	err = b.inForce(ctx, MarkDocument, definition, func(_ Listing, data []byte) error {
		var d markDocument
		if err := json.Unmarshal(data, &d); err != nil {
			return err
		}
		if !d.Removed && sha[d.Picture] == d.SHA256 {
			out = append(out, Mark{d.Picture, d.Part, d.X, d.Y, d.Label})
		}
		return nil
	})
	slices.SortStableFunc(out, func(x, y Mark) int { return cmp.Compare(x.Picture, y.Picture) })
	return out, err
}

// Unmarked lists what could be marked on a picture and is not, of its board where it shows
// one: see [Targets].
func (b *Bench) Unmarked(ctx context.Context, definition, id string) ([]Target, error) {
	def, err := b.definitionOf(ctx, definition)
	if err != nil {
		return nil, err
	}
	p, err := b.Picture(ctx, def.ID, id)
	if err != nil {
		return nil, err
	}
	marks, err := b.marksOf(ctx, def.ID)
	have := map[string]bool{}
	for _, m := range marks {
		have[m.Part] = have[m.Part] || m.Picture == p.ID
	}
	return slices.DeleteFunc(Targets(def, p.Board), func(t Target) bool { return have[t.Part] }), err
}

// MarkHistory lists all that was ever marked on a picture, the oldest first.
func (b *Bench) MarkHistory(ctx context.Context, definition, id string) ([]MarkChange, error) {
	p, err := b.Picture(ctx, definition, id)
	if err != nil {
		return nil, err
	}
	all, err := b.rec.Listings(ctx, MarkDocument)
	if err != nil {
		return nil, err
	}
	var out []MarkChange
	for _, l := range all {
		if !strings.HasPrefix(l.ID, p.Definition+"/"+p.ID+"/") {
			continue
		}
		data, err := b.pictures.document(ctx, b.rec, l.SHA256)
		if err != nil {
			return nil, err
		}
		var d markDocument
		if err := json.Unmarshal(data, &d); err != nil {
			return nil, fmt.Errorf("the mark %s: %w", l.ID, err)
		}
		if d.SHA256 != p.SHA256 {
			continue
		}
		out = append(out, MarkChange{Mark{d.Picture, d.Part, d.X, d.Y, d.Label}, d.Removed, l.Added})
	}
	return out, nil
}

// SetMark marks a designator on a picture, or moves its mark there. Earlier places stay
// in the record. Errors: [NotFoundError], [InvalidError]; nothing was kept then.
func (b *Bench) SetMark(ctx context.Context, definition string, m Mark) (Mark, error) {
	def, err := b.definitionOf(ctx, definition)
	if err != nil {
		return m, err
	}
	p, err := b.Picture(ctx, def.ID, m.Picture)
	if err != nil {
		return m, err
	}
	m.Picture = p.ID
	t, err := ParseTarget(def, m.Part)
	if err == nil {
		err = firstError(cleanText("label", &m.Label, maxLabel, oneLine), checkFraction("across", m.X), checkFraction("down", m.Y))
	}
	if err != nil {
		return m, err
	}
	if p.Board != "" && !slices.Contains(t.Board, p.Board) {
		return m, &InvalidError{Field: "part", Value: t.Part, Problem: "is not on " + p.Board + ", which this picture shows, but on " + strings.Join(t.Board, " and ")}
	}
	// Six decimals are a hundredth of a pixel of the widest copy.
	m.Part, m.X, m.Y = t.Part, round6(m.X), round6(m.Y)
	if m.Label == m.Part {
		m.Label = ""
	}
	marks, err := b.marksOf(ctx, def.ID)
	if err != nil || slices.Contains(marks, m) { // as it is already
		return m, err
	}
	return m, b.listMark(ctx, p, m, false)
}

func (b *Bench) listMark(ctx context.Context, p Picture, m Mark, removed bool) error {
	data, err := json.Marshal(markDocument{1, p.Definition, p.ID, p.SHA256, m.Part, m.X, m.Y, m.Label, removed})
	if err != nil {
		return err
	}
	return b.list(ctx, MarkDocument, p.Definition+"/"+p.ID+"/"+m.Part, m.Part, data)
}

func checkFraction(field string, v float64) error {
	if v >= 0 && v <= 1 {
		return nil
	}
	return &InvalidError{Field: field, Value: fmt.Sprint(v), Problem: "is not a fraction of the picture between 0 and 1"}
}

func round6(v float64) float64 { return math.Round(v*1e6) / 1e6 }

// RemoveMark takes a mark off a picture. Where it was stays in the record.
func (b *Bench) RemoveMark(ctx context.Context, definition, id, part string) error {
	p, err := b.Picture(ctx, definition, id)
	if err != nil {
		return err
	}
	marks, err := b.marksOf(ctx, p.Definition)
	if err != nil {
		return err
	}
	var parts []string
	for _, m := range marks {
		if m.Picture != p.ID {
			continue
		}
		if strings.EqualFold(m.Part, strings.TrimSpace(part)) {
			return b.listMark(ctx, p, m, true)
		}
		parts = append(parts, m.Part)
	}
	return &NotFoundError{What: "mark", ID: part, Nearest: nearest(part, parts)}
}

// Spot is a mark with the picture that it is on.
type Spot struct {
	Mark
	On Picture
	// Of is the designator that was asked for where it has no mark of its own: then the mark
	// is that of the connector that carries it.
	Of string
}

// Spots finds where the designators of a definition are on its pictures.
type Spots struct {
	def *machine.Definition
	by  map[string][]Spot
}

// Spots returns where things are on the pictures of a definition, as def has it: the
// definition of a job may be an earlier version.
func (b *Bench) Spots(ctx context.Context, def *machine.Definition) (*Spots, error) {
	s := &Spots{def: def, by: map[string][]Spot{}}
	list, err := b.picturesOf(ctx, def.ID)
	if err != nil || len(list) == 0 {
		return s, err
	}
	marks, err := b.marksOf(ctx, def.ID)
	for _, p := range list { // boards before diagrams
		for _, m := range marks {
			if m.Picture == p.ID {
				s.by[m.Part] = append(s.by[m.Part], Spot{Mark: m, On: p, Of: m.Part})
			}
		}
	}
	return s, err
}

// At returns where a designator is, boards before diagrams. For a pin of a connector ("W4-H3")
// without a mark of its own it is the connector.
func (s *Spots) At(part string) []Spot {
	if found := s.by[part]; len(found) > 0 || part == "" {
		return found
	}
	for _, one := range strings.Split(part, "/") {
		if found := s.by[one]; len(found) > 0 {
			return found
		}
	}
	if before, _, ok := strings.Cut(part, "-"); ok {
		if _, is := s.def.Connector(before); is {
			return s.instead(part, before)
		}
	}
	return nil
}

// Point returns where a test point is: its own mark, else that of its connector.
func (s *Spots) Point(tp *machine.TestPoint, key string) []Spot {
	part := s.def.Designator(tp.Part, tp.Each, key)
	if found := s.At(part); len(found) > 0 || tp.Connector == "" {
		return found
	}
	c, ok := s.def.Connector(tp.Connector)
	if !ok {
		return nil
	}
	if c.Each != tp.Each {
		key = ""
	}
	return s.instead(part, connectorPart(c, key))
}

func (s *Spots) instead(part, connector string) []Spot {
	found := slices.Clone(s.by[connector])
	for i := range found {
		found[i].Of = part
	}
	return found
}
