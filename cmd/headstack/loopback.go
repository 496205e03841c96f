package main

import (
	"fmt"
	"os"
	"path/filepath"
	"text/tabwriter"

	"headstack/job"
	"headstack/measure"
	"headstack/unit"
)

type loopbackVerb struct {
	Keep loopbackKeepVerb `cmd:"" help:"Measure a capture interface from a loop-back capture and keep its response, with the date."`
	List loopbackListVerb `cmd:"" help:"List the interfaces that were looped back."`
	Show loopbackShowVerb `cmd:"" help:"Show the response of an interface."`
}

type loopbackKeepVerb struct {
	benchFlag
	Interface string `required:"" placeholder:"NAME" help:"What you call the interface; a later loop-back of the same name takes the place of this one."`
	Programme string `required:"" placeholder:"FILE" help:"Record programme that was played into it: a YAML file, or the id of one the bench knows."`
	JSON      bool   `help:"The loop-back as one JSON object."`
	File      string `arg:"" help:"WAV, RF64, BW64 or FLAC file: round 1 of the programme, played from the interface's outputs straight into its inputs."`
}

func (loopbackKeepVerb) Help() string {
	return `Example: headstack loopback keep --interface bench --programme my-programme.yaml loop.wav

Cable output n to input n, play round-1.wav of headstack programme sound, and capture it at the gain used for captures.`
}

func (v *loopbackKeepVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		id, err := programmeID(e, b, v.Programme)
		if err != nil {
			return err
		}
		f, err := os.Open(v.File)
		if err != nil {
			return err
		}
		defer f.Close()
		info, l, err := b.AddLoopback(e.ctx, job.LoopbackUpload{Interface: v.Interface, File: filepath.Base(v.File), Data: f, Programme: id})
		if err != nil {
			return err
		}
		fmt.Fprintf(e.err, "kept the loop-back of %s as %s\n", info.Name, info.ID)
		return printLoopback(e, l, v.JSON)
	})
}

// programmeID is the id by which the bench knows a programme; a file is kept first.
func programmeID(e *env, b *job.Bench, name string) (string, error) {
	data, isFile, err := fileOrID(name)
	if err != nil || !isFile {
		return name, err
	}
	info, err := b.AddProgramme(e.ctx, name, data)
	return info.SHA, err
}

type loopbackListVerb struct {
	benchFlag
	JSON bool `help:"A JSON array."`
}

func (v *loopbackListVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		list, err := b.Interfaces(e.ctx)
		if err != nil {
			return err
		}
		if v.JSON {
			type row struct {
				ID    string `json:"id"`
				Name  string `json:"name"`
				SHA   string `json:"sha256"`
				Added string `json:"looped_back"`
			}
			rows := []row{}
			for _, i := range list {
				rows = append(rows, row{i.ID, i.Name, i.SHA, i.Added.UTC().Format("2006-01-02T15:04:05Z")})
			}
			return printJSON(e.out, rows)
		}
		if len(list) == 0 {
			fmt.Fprintln(e.out, "no interface was looped back yet: headstack loopback keep does it")
			return nil
		}
		w := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "id\tinterface\tlooped back")
		for _, i := range list {
			fmt.Fprintf(w, "%s\t%s\t%s\n", i.ID, i.Name, i.Added.Format("2 January 2006"))
		}
		return w.Flush()
	})
}

type loopbackShowVerb struct {
	benchFlag
	JSON      bool   `help:"One JSON object, as headstack measure --interface reads it."`
	Interface string `arg:"" help:"Id, as headstack loopback list gives it."`
}

func (v *loopbackShowVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		l, err := b.Loopback(e.ctx, v.Interface)
		if err != nil {
			return err
		}
		return printLoopback(e, l, v.JSON)
	})
}

func printLoopback(e *env, l job.Loopback, asJSON bool) error {
	if asJSON {
		return printJSON(e.out, l)
	}
	fmt.Fprintf(e.out, "Interface %s, looped back on %s (%s)\nresponse, dB ±95 %%, re its gain at the programme's reference tone\n", l.Response.Name, l.Response.When.Format("2 January 2006"), l.File)
	w := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
	fmt.Fprint(w, "tone")
	var tones []float64
	for _, c := range l.Response.Channels {
		fmt.Fprintf(w, "\tinput %d", c.Channel)
		if len(c.Points) > len(tones) {
			tones = tones[:0]
			for _, p := range c.Points {
				tones = append(tones, p.X)
			}
		}
	}
	fmt.Fprintln(w)
	for _, hz := range tones {
		fmt.Fprint(w, unit.Frequency(unit.Hertz(hz)))
		for _, c := range l.Response.Channels {
			fmt.Fprint(w, "\t", loopbackCell(c, hz))
		}
		fmt.Fprintln(w)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	for _, c := range l.Response.Channels {
		if c.Refused != "" {
			fmt.Fprintf(e.out, "input %d: not measured: %s\n", c.Channel, c.Refused)
		}
	}
	for _, d := range l.Response.Warnings {
		fmt.Fprintln(e.out, "doubt:", d)
	}
	return nil
}

func loopbackCell(c measure.InterfaceChannel, hz float64) string {
	for _, p := range c.Points {
		if p.X == hz {
			f := unit.Figure{Value: p.Y, Lo: p.Lo, Hi: p.Hi, Unit: "dB", Difference: true}
			return f.Number() + " " + f.Spread()
		}
	}
	return ""
}
