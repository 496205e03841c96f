package job

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"headstack/machine"
	"headstack/programme"
	"headstack/testtape"
)

// maxDocument bounds a definition or test tape, in bytes. The larger built-in
// definition is under a twentieth of it.
const maxDocument = 2 << 20

// DefinitionInfo lists one recorder type that a job can be opened for.
type DefinitionInfo struct {
	ID      string // machine.Definition id
	Name    string // make and name
	SHA     string // of the YAML
	Builtin bool   // comes with the program; false: added to this bench
}

// TapeInfo lists one test tape that a capture can be measured against.
type TapeInfo struct {
	ID      string // the name as lower-case words with hyphens
	Name    string
	SHA     string
	Builtin bool
}

// Definitions lists the definitions in force, by name: what was added to this
// bench, and what comes with the program where nothing of the same id was added.
func (b *Bench) Definitions(ctx context.Context) ([]DefinitionInfo, error) {
	shelf, err := b.shelf(ctx, DefinitionDocument)
	if err != nil {
		return nil, err
	}
	out := make([]DefinitionInfo, len(shelf))
	for i, s := range shelf {
		out[i] = DefinitionInfo(s.info())
	}
	return out, nil
}

// Tapes lists the test tapes in force, by name, as [Bench.Definitions] does.
func (b *Bench) Tapes(ctx context.Context) ([]TapeInfo, error) {
	shelf, err := b.shelf(ctx, TapeDocument)
	if err != nil {
		return nil, err
	}
	out := make([]TapeInfo, len(shelf))
	for i, s := range shelf {
		out[i] = s.info()
	}
	return out, nil
}

// AddDefinition checks a definition and keeps it. name is the file's name for
// error messages, which carry line and column. A later version of the same id
// takes the place of the earlier for new jobs; open jobs keep theirs.
func (b *Bench) AddDefinition(ctx context.Context, name string, yaml []byte) (DefinitionInfo, error) {
	if err := checkDocument(name, yaml); err != nil {
		return DefinitionInfo{}, err
	}
	d, err := machine.Load(name, yaml)
	if err != nil {
		return DefinitionInfo{}, err
	}
	i, err := b.add(ctx, DefinitionDocument, item{id: d.ID, name: definitionName(d), yaml: yaml})
	return DefinitionInfo(i.info()), err
}

// AddTape checks a test-tape definition and keeps it, as [Bench.AddDefinition]
// does.
func (b *Bench) AddTape(ctx context.Context, name string, yaml []byte) (TapeInfo, error) {
	if err := checkDocument(name, yaml); err != nil {
		return TapeInfo{}, err
	}
	t, err := testtape.Load(name, yaml)
	if err != nil {
		return TapeInfo{}, err
	}
	id := slug(t.Name)
	if id == "" {
		return TapeInfo{}, &InvalidError{Field: "test tape name", Value: t.Name, Problem: "has no letter or figure to call it by"}
	}
	i, err := b.add(ctx, TapeDocument, item{id: id, name: t.Name, yaml: yaml})
	return i.info(), err
}

// DefinitionYAML returns the YAML of a definition by id or SHA-256.
func (b *Bench) DefinitionYAML(ctx context.Context, id string) ([]byte, DefinitionInfo, error) {
	info, yaml, err := b.findDefinition(ctx, id)
	return yaml, info, err
}

// ProgrammeInfo lists one record programme.
type ProgrammeInfo struct {
	ID   string // the name as lower-case words with hyphens
	Name string
	SHA  string
}

// Programmes lists the record programmes of this bench, by name.
func (b *Bench) Programmes(ctx context.Context) ([]ProgrammeInfo, error) {
	shelf, err := b.shelf(ctx, ProgrammeDocument)
	if err != nil {
		return nil, err
	}
	out := make([]ProgrammeInfo, len(shelf))
	for i, s := range shelf {
		out[i] = ProgrammeInfo{s.id, s.name, s.sha}
	}
	return out, nil
}

// AddProgramme checks a record programme and keeps it, as [Bench.AddDefinition] does.
func (b *Bench) AddProgramme(ctx context.Context, name string, yaml []byte) (ProgrammeInfo, error) {
	if err := checkDocument(name, yaml); err != nil {
		return ProgrammeInfo{}, err
	}
	p, err := programme.Load(name, yaml)
	if err != nil {
		return ProgrammeInfo{}, err
	}
	id := slug(p.Name)
	if id == "" {
		return ProgrammeInfo{}, &InvalidError{Field: "record programme name", Value: p.Name, Problem: "has no letter or figure to call it by"}
	}
	i, err := b.add(ctx, ProgrammeDocument, item{id: id, name: p.Name, yaml: yaml})
	return ProgrammeInfo{i.id, i.name, i.sha}, err
}

// ProgrammeYAML returns the YAML of a record programme by id or SHA-256.
func (b *Bench) ProgrammeYAML(ctx context.Context, id string) ([]byte, ProgrammeInfo, error) {
	i, err := b.find(ctx, ProgrammeDocument, id)
	return i.yaml, ProgrammeInfo{i.id, i.name, i.sha}, err
}

// TapeYAML returns the YAML of a test tape by id or SHA-256.
func (b *Bench) TapeYAML(ctx context.Context, id string) ([]byte, TapeInfo, error) {
	i, err := b.find(ctx, TapeDocument, id)
	return i.yaml, i.info(), err
}

// item is a document on the shelf.
type item struct {
	id, name, sha string
	builtin       bool
	yaml          []byte // nil for those that lie in the record
}

func (i item) info() TapeInfo {
	return TapeInfo{ID: i.id, Name: i.name, SHA: i.sha, Builtin: i.builtin}
}

// builtins are what comes with the program.
func builtins(kind DocumentKind) ([]item, error) {
	var out []item
	if kind == DefinitionDocument {
		for _, id := range machine.BuiltinNames() {
			d, _ := machine.Builtin(id)
			yaml, ok := machine.BuiltinSource(id)
			if !ok || d == nil {
				return nil, fmt.Errorf("the built-in definition %s is missing", id)
			}
			out = append(out, item{id: d.ID, name: definitionName(d), sha: hashOf(yaml), builtin: true, yaml: yaml})
		}
		return out, nil
	}
	if kind != TapeDocument {
		return nil, nil
	}
	for _, id := range testtape.BuiltinNames() {
		yaml, err := testtape.BuiltinSource(id)
		if err != nil {
			return nil, err
		}
		t, err := testtape.Load(id+".yaml", yaml)
		if err != nil {
			return nil, err
		}
		out = append(out, item{id: id, name: t.Name, sha: hashOf(yaml), builtin: true, yaml: yaml})
	}
	return out, nil
}

// shelf lists what is in force, by name.
func (b *Bench) shelf(ctx context.Context, kind DocumentKind) ([]item, error) {
	own, err := builtins(kind)
	if err != nil {
		return nil, err
	}
	added, err := b.rec.Listings(ctx, kind)
	if err != nil {
		return nil, err
	}
	inForce := make(map[string]item)
	for _, i := range own {
		inForce[i.id] = i
	}
	for _, l := range added {
		inForce[l.ID] = item{id: l.ID, name: l.Name, sha: l.SHA256}
	}
	out := make([]item, 0, len(inForce))
	for _, i := range inForce {
		out = append(out, i)
	}
	slices.SortFunc(out, func(x, y item) int {
		return cmp.Or(cmp.Compare(x.name, y.name), cmp.Compare(x.id, y.id))
	})
	return out, nil
}

// add lists i unless the same bytes are in force already.
func (b *Bench) add(ctx context.Context, kind DocumentKind, i item) (item, error) {
	i.sha = hashOf(i.yaml)
	shelf, err := b.shelf(ctx, kind)
	if err != nil {
		return item{}, err
	}
	for _, old := range shelf {
		if old.sha == i.sha {
			return old, nil
		}
	}
	if _, err := b.rec.PutDocument(ctx, i.yaml); err != nil {
		return item{}, err
	}
	l := Listing{Kind: kind, ID: i.id, Name: i.name, SHA256: i.sha, Added: b.opt.Now()}
	return i, b.rec.AppendListing(ctx, l)
}

// find returns what is in force under an id, or any version by its SHA-256,
// with its YAML.
func (b *Bench) find(ctx context.Context, kind DocumentKind, id string) (item, error) {
	shelf, err := b.shelf(ctx, kind)
	if err != nil {
		return item{}, err
	}
	ids := make([]string, len(shelf))
	for k, i := range shelf {
		ids[k] = i.id
		if i.id == id || i.sha == id {
			return b.withYAML(ctx, i)
		}
	}
	earlier, err := b.rec.Listings(ctx, kind)
	if err != nil {
		return item{}, err
	}
	for _, l := range earlier {
		if l.SHA256 == id {
			return b.withYAML(ctx, item{id: l.ID, name: l.Name, sha: l.SHA256})
		}
	}
	return item{}, &NotFoundError{What: string(kind), ID: id, Nearest: nearest(id, ids)}
}

func (b *Bench) withYAML(ctx context.Context, i item) (item, error) {
	var err error
	if i.yaml == nil {
		i.yaml, err = b.rec.Document(ctx, i.sha)
	}
	return i, err
}

func (b *Bench) findDefinition(ctx context.Context, id string) (DefinitionInfo, []byte, error) {
	i, err := b.find(ctx, DefinitionDocument, id)
	return DefinitionInfo(i.info()), i.yaml, err
}

// definition loads the definition that a job was opened with. It is shared and
// not to be changed.
func (b *Bench) definition(ctx context.Context, j Job) (*machine.Definition, error) {
	b.mu.Lock()
	d := b.defs[j.DefinitionSHA]
	b.mu.Unlock()
	if d != nil {
		return d, nil
	}
	yaml, err := b.rec.Document(ctx, j.DefinitionSHA)
	if err != nil {
		return nil, fmt.Errorf("the definition that %s was opened with: %w", j.ID, err)
	}
	if d, err = machine.Load(j.Definition+".yaml", yaml); err != nil {
		return nil, fmt.Errorf("the definition that %s was opened with: %w", j.ID, err)
	}
	b.mu.Lock()
	b.defs[j.DefinitionSHA] = d
	b.mu.Unlock()
	return d, nil
}

func definitionName(d *machine.Definition) string {
	return strings.TrimSpace(d.Make + " " + d.Name)
}

func checkDocument(name string, data []byte) error {
	if len(data) > maxDocument {
		return &InvalidError{Field: "file", Value: name, Problem: fmt.Sprintf("has %d bytes; a document of the bench has at most %d", len(data), maxDocument)}
	}
	return nil
}

func hashOf(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// slug turns a name into an id: "Fen 12, 320 nWb/m" becomes "fen-12-320-nwb-m".
func slug(name string) string {
	var out strings.Builder
	gap := false
	for _, r := range strings.ToLower(name) {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) {
			gap = true
			continue
		}
		if gap && out.Len() > 0 {
			out.WriteByte('-')
		}
		gap = false
		out.WriteRune(r)
	}
	return out.String()
}
