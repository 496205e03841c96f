package measure

import (
	"context"
	"fmt"
	"slices"
	"time"

	"headstack/programme"
)

// Loopback measures the response of a capture interface from a capture of the
// programme played from its outputs straight into its inputs. Channel c of the source
// is input c+1. Tone parts and combs
// give the curve; a tone in both is taken from the part of its own. A channel on
// which nothing was found is refused in the result, not an error.
func Loopback(ctx context.Context, src Source, p *programme.Programme, name string, when time.Time) (Interface, error) {
	return loopback(ctx, src, p, name, when, locateProgramme(p))
}

// loopback is Loopback with the finding of the parts given.
func loopback(ctx context.Context, src Source, p *programme.Programme, name string, when time.Time, locate locateRound) (Interface, error) {
	if p == nil {
		return Interface{}, ErrNoProgramme
	}
	rep, err := recording(ctx, []Source{src}, p, Options{}, locate)
	if err != nil {
		return Interface{}, err
	}
	f := Interface{Name: name, When: when}
	for c := range src.Tracks {
		f.Channels = append(f.Channels, interfaceChannel(rep, c+1))
	}
	if err := f.moved(rep); err != "" {
		f.Warnings = append(f.Warnings, err)
	}
	return f, nil
}

// interfaceChannel collects one input's curve.
func interfaceChannel(rep Report, channel int) InterfaceChannel {
	out := InterfaceChannel{Channel: channel}
	why := "the programme was not found in the loop-back capture"
	seen := map[float64]bool{}
	for _, r := range rep.Measures {
		if r.Name != "response" || r.Conditions.Channel != channel {
			continue
		}
		if r.Refused != "" {
			why = r.Refused
			continue
		}
		if r.ToneHz > 0 && !seen[r.ToneHz] {
			seen[r.ToneHz] = true
			out.Points = append(out.Points, Point{X: r.ToneHz, Y: r.Value, Lo: r.Lo, Hi: r.Hi})
		}
	}
	slices.SortFunc(out.Points, func(a, b Point) int {
		if a.X < b.X {
			return -1
		}
		return 1
	})
	if len(out.Points) < 2 {
		out.Points, out.Refused = nil, why
	}
	return out
}

// moved says when the capture cannot be a loop of cable: a tape moves the pitch.
func (f *Interface) moved(rep Report) string {
	for _, r := range rep.Measures {
		if r.Name == "speed_error" && r.Track == 0 && r.Refused == "" && (r.Value > loopbackSpeed || r.Value < -loopbackSpeed) {
			return fmt.Sprintf("the pitch is off by %.3f %%: this does not look like a loop of cable, and a tape in it would be taken off every later capture", r.Value)
		}
	}
	return ""
}

// loopbackSpeed in percent is more than two clocks differ by (100 parts in a million)
// and less than any tape. Common practice, no source.
const loopbackSpeed = 0.02
