// Package plot draws the pictures of the bench: frequency response per track with its
// tolerance field, courses such as speed against time and its spectrum, crosstalk,
// delay across the head, level steps, the signal path of one track with its test
// points, and a connector from the side that is probed.
//
// # From figures to a picture
//
// Every plot makes a [Drawing], a list of lines, fields and texts. It is written as
// SVG for pages and reports ([Drawing.SVG]) or as PNG ([WritePNG]) by the same list, so
// that both show the same. Its figures are a [Table] ([TableOf]), which pages, report
// and command line print alike. [Response], [Path] and [Connector] give their SVG at
// once.
//
//	what                                function         made from
//	frequency response                  [DrawResponse]   results "response"
//	any course, spectrum, staircase     [Trace]          one [headstack/measure.Trace]
//	several courses                     [Traces]         many
//	crosstalk                           [Crosstalk]      results "crosstalk"
//	delay and azimuth                   [DelayAcross]    results "delay", "azimuth_line"
//	what losses are made of             [Explain]        a [headstack/signature.Explanation]
//	wear over the jobs of a machine      [Wear]           a [Dated]
//	compression and third harmonic      [Steps]          traces "level_steps", "distortion_steps", results "mol_3pct"
//	signal path, connector              [DrawPath], [DrawConnector]
//	all that a report has               [ReportOf]       a [headstack/measure.Report]
//
// # What the SVG holds
//
// Plain text, written in order, so that the same figures give the same bytes.
// Nothing is styled from inside: no style element, no style attribute, no
// script. Everything has presentation attributes that stand alone in black on
// white, and class names by which a page's own style sheet may colour it for
// day and night. Text and lines take the page's text colour (currentColor).
//
// # How tracks are told apart
//
// By the track number at the curve's end first, by dash second and by colour
// last: a person photocopies these. Colours are the ones of Okabe and Ito, Color
// Universal Design (2008), that keep a contrast of 3:1 against the page. What
// cannot be told apart is not laid over each other: more than four courses, or
// two of many points, become small multiples; responses of more than eight tracks
// stand in panels of four. Points outside a tolerance field carry a cross; crosstalk
// grows strokes as well as tint. In the picture of losses each cause has one dash for all
// tracks, its name stands beside its line and at the head of each panel that it acts in.
//
// # Names
//
// No text runs into another at any width from 240 pixels up: names of places stand in
// rows above the panel with a line down, become letters explained below it where they
// have no room, and figures that find none are left to the table. Width is reckoned
// with the widest font in common use.
//
// # Units
//
// Frequencies in hertz on a logarithmic axis named by the preferred numbers of
// ISO 266:1997 (third octaves); levels in decibels, what 0 is said in the
// title; bars and bands are 95 % intervals, or the picture says that they are the
// least and the most within a stretch. Lengths of a drawing are CSS pixels.
//
// # Sources
//
// Masks: DIN 45500 part 4 as a stored text has it, else common practice; each says
// which. The 3 % line: DIN 45500. Azimuth line: delay = s·tan α/v, J. G. McKnight,
// "Azimuth in a Magnetic Tape Recorder". Fonts of the PNG: the Go fonts.
//
// # What it does not do
//
// It holds no judgement: it draws what it is given. A figure that was refused has
// no point; the table that stands under each plot says why. Values beyond ±1e12 are
// taken for no quantity and are gaps, as are those that are not finite. A spectrum's
// axis spans five decades at most; what lies lower stands at its edge. Letters that the
// Go fonts lack (they have Latin, Greek and Cyrillic) are empty boxes in a PNG.
package plot
