package measure

import (
	"context"

	"headstack/dsp"
	"headstack/testtape"
)

// testtapeFind is the locator of [TestTape].
func testtapeFind(ctx context.Context, s dsp.Stream, t *testtape.Tape) (finding, error) {
	f, err := testtape.Find(ctx, s, t)
	if err != nil {
		return finding{}, err
	}
	out := finding{ratio: f.SpeedRatio, warnings: f.Warnings}
	for _, l := range f.Sections {
		out.places = append(out.places, place{
			index: l.Index, found: l.Found, partial: l.Partial, startS: l.StartS, endS: l.EndS, reason: l.Reason,
		})
	}
	return out, nil
}
