package job

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"headstack/machine"
)

// Draft is a definition that is being written. It need not load: it is kept as it stands
// after each change, so that what was typed outlives the page and the program.
type Draft struct {
	ID         string // "draft-1": the bench's own number; it is never given twice
	Name       string // of the recorder as far as it is described; empty: nothing says it yet
	Definition string // machine.Definition id that it is a new version of; empty: a new recorder
	Text       string // YAML, or what is to become it
	SHA        string // of what is kept: [Bench.KeepDraft] compares it
	Kept       time.Time
}

// draftDocument is a draft as it is listed. Thrown away it is listed once more, without a
// text: the version before it can be taken back.
type draftDocument struct {
	Format     int
	ID         string
	Definition string `json:",omitempty"`
	Text       string `json:",omitempty"`
	Removed    bool   `json:",omitempty"`
}

// Drafts lists the drafts that were neither thrown away nor saved, the latest first.
func (b *Bench) Drafts(ctx context.Context) ([]Draft, error) {
	all, err := b.rec.Listings(ctx, DraftDocument)
	if err != nil {
		return nil, err
	}
	var out []Draft
	seen := map[string]bool{}
	for _, l := range slices.Backward(all) {
		if seen[l.ID] {
			continue
		}
		seen[l.ID] = true
		d, removed, err := b.draftOf(ctx, l)
		if err != nil {
			return nil, err
		}
		if !removed {
			out = append(out, d)
		}
	}
	return out, nil
}

func (b *Bench) draftOf(ctx context.Context, l Listing) (d Draft, removed bool, err error) {
	data, err := b.rec.Document(ctx, l.SHA256)
	if err != nil {
		return Draft{}, false, fmt.Errorf("the draft %s: %w", l.ID, err)
	}
	var doc draftDocument
	if err := json.Unmarshal(data, &doc); err != nil {
		return Draft{}, false, fmt.Errorf("the draft %s: %w", l.ID, err)
	}
	return Draft{ID: l.ID, Name: l.Name, Definition: doc.Definition, Text: doc.Text, SHA: l.SHA256, Kept: l.Added}, doc.Removed, nil
}

// Draft returns one draft; the error is a [NotFoundError] with those that there are.
func (b *Bench) Draft(ctx context.Context, id string) (Draft, error) {
	list, err := b.Drafts(ctx)
	if err != nil {
		return Draft{}, err
	}
	ids := make([]string, len(list))
	for i, d := range list {
		if d.ID == id {
			return d, nil
		}
		ids[i] = d.ID
	}
	return Draft{}, &NotFoundError{What: "draft", ID: id, Nearest: nearest(id, ids)}
}

// KeepDraft keeps the text of d and returns it as kept. d.SHA is that of the draft that the
// change was made in: where another window has changed, saved or thrown it away since, and
// where d.ID is empty, d becomes a draft of its own under the next number, and nothing of
// the other is lost. The error is an [InvalidError] where it is too long.
func (b *Bench) KeepDraft(ctx context.Context, d Draft) (Draft, error) {
	if err := checkDocument("draft", []byte(d.Text)); err != nil {
		return d, err
	}
	d.Name = draftName(d.Text)
	b.drafting.Lock()
	defer b.drafting.Unlock()
	all, err := b.rec.Listings(ctx, DraftDocument)
	if err != nil {
		return d, err
	}
	var last Listing
	highest := 0
	for _, l := range all {
		if n, err := strconv.Atoi(strings.TrimPrefix(l.ID, draftPrefix)); err == nil {
			highest = max(highest, n)
		}
		if l.ID == d.ID {
			last = l
		}
	}
	if d.ID == "" || last.SHA256 != d.SHA {
		d.ID = draftPrefix + strconv.Itoa(highest+1)
	}
	return b.listDraft(ctx, d, false)
}

const draftPrefix = "draft-"

func (b *Bench) listDraft(ctx context.Context, d Draft, removed bool) (Draft, error) {
	doc := draftDocument{Format: 1, ID: d.ID, Definition: d.Definition, Text: d.Text, Removed: removed}
	if removed {
		doc.Text = ""
	}
	data, err := json.Marshal(doc)
	if err != nil {
		return d, err
	}
	d.SHA, d.Kept = hashOf(data), b.opt.Now()
	if _, err := b.rec.PutDocument(ctx, data); err != nil {
		return d, err
	}
	return d, b.rec.AppendListing(ctx, Listing{Kind: DraftDocument, ID: d.ID, Name: d.Name, SHA256: d.SHA, Added: d.Kept})
}

// DropDraft takes a draft off the list: thrown away, or saved as a definition.
func (b *Bench) DropDraft(ctx context.Context, id string) (Draft, error) {
	b.drafting.Lock()
	defer b.drafting.Unlock()
	d, err := b.Draft(ctx, id)
	if err != nil {
		return d, err
	}
	return b.listDraft(ctx, d, true)
}

// ReturnDraft puts a draft that was thrown away back on the list, as it last stood. One
// that stands is left as it is.
func (b *Bench) ReturnDraft(ctx context.Context, id string) (Draft, error) {
	b.drafting.Lock()
	defer b.drafting.Unlock()
	all, err := b.rec.Listings(ctx, DraftDocument)
	if err != nil {
		return Draft{}, err
	}
	dropped := false
	for _, l := range slices.Backward(all) {
		if l.ID != id {
			continue
		}
		d, removed, err := b.draftOf(ctx, l)
		switch {
		case err != nil:
			return d, err
		case removed:
			dropped = true
		case dropped:
			return b.listDraft(ctx, d, false)
		default:
			return d, nil
		}
	}
	return Draft{}, &NotFoundError{What: "draft", ID: id}
}

// draftName is what a draft calls its recorder, as far as that can be read.
func draftName(text string) string {
	d := machine.Sketch([]byte(text))
	if d == nil {
		return ""
	}
	name := []rune(cmp.Or(definitionName(d), d.ID))
	return string(name[:min(len(name), maxLine)])
}
