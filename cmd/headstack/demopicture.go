package main

import (
	"bytes"

	"headstack/job"
	"headstack/picture"
	"headstack/sim/board"
)

// pictures gives the recorder drawn boards with their points marked, so that the pages show
// where to touch. The places are those at which the parts were drawn.
func (d *demonstration) pictures() error {
	for _, b := range d.sim.Def.Boards {
		if b.ID != "Tape" && b.ID != "Collar" {
			continue
		}
		img, places := board.Draw(d.sim.Def, b.ID)
		data, err := picture.Encode(img, picture.PNG)
		if err != nil {
			return err
		}
		p, err := d.bench.AddPicture(d.ctx, job.PictureUpload{Definition: d.sim.Def.ID, Board: b.ID, Title: b.ID + ", drawn", File: b.ID + ".png", Data: bytes.NewReader(data)})
		if err != nil {
			return err
		}
		for i, at := range places {
			if i >= demoMarks {
				break
			}
			if _, err := d.bench.SetMark(d.ctx, p.Definition, job.Mark{Picture: p.ID, Part: at.Part, X: at.X, Y: at.Y}); err != nil {
				return err
			}
		}
	}
	return nil
}

// demoMarks is how many points of a board are marked: connectors and test points stand first, and
// the page has some left to mark.
const demoMarks = 40
