package main

import (
	"fmt"
	"path/filepath"

	"headstack/export"
	"headstack/store"
)

type salvageVerb struct {
	Damaged string `arg:"" name:"folder" help:"The folder of the damaged bench; it is only read." type:"existingdir"`
	To      string `arg:"" name:"to" help:"The folder to write, not there yet." type:"path"`
}

func (salvageVerb) Help() string {
	return `Example: headstack salvage ~/bench ~/bench-salvaged

What can still be read of a bench whose database is damaged: from the database page by page, from
every copy in the folder's backups, and the kept files whose bytes are whole. An entry that two of
them say alike is taken as it was; one that stands in one place only is written and named in
LOST.txt, as is what could not be read. The result is an export: read it in a browser, or put it
into a new bench with headstack import --incomplete. Exit code 3 when anything is lost or in doubt.

Restore a backup first if there is one: it is whole. Salvage has what came after it.`
}

func (v *salvageVerb) Run(e *env) error {
	s, err := store.Salvage(e.ctx, v.Damaged)
	if err != nil {
		return err
	}
	w, err := export.ToFolder(e.ctx, s, v.To, export.Options{Tolerate: true})
	if err != nil {
		return withHint(err, "nothing was written; the damaged folder is as it was")
	}
	read, doubted := s.Count()
	for _, path := range s.Sources {
		name, err := filepath.Rel(v.Damaged, path)
		if err != nil {
			name = path
		}
		fmt.Fprintf(e.out, "read %s\n", name)
	}
	fmt.Fprintf(e.out, "%s: %d entries, %d of them in doubt; %d numbers between them have none; %s\n", v.To, read, doubted, len(s.Lost), w.Content)
	for _, l := range w.Lost {
		fmt.Fprintf(e.out, "✕ %s %s: %s\n", l.What, l.ID, l.Reason)
	}
	if len(w.Lost) > 0 || len(s.Lost) > 0 {
		return &fault{exitNotInOrder, fmt.Errorf("not all of %s could be read, or is beyond doubt", v.Damaged),
			filepath.Join(v.To, export.LostName) + " names what; a backup may have it"}
	}
	return nil
}
