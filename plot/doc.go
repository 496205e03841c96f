// Package plot draws the pictures of the bench as SVG: frequency response per
// track, and the signal path of one track with its test points.
//
// # What it draws with
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
// Universal Design (2008), that keep a contrast of 3:1 against the page.
//
// # Units
//
// Frequencies in hertz on a logarithmic axis named by the preferred numbers of
// ISO 266:1997 (third octaves); levels in decibels, what 0 dB is said in the
// title; bars are 95 % intervals.
//
// # What it does not do
//
// It holds no judgement: it draws what it is given. A figure that was refused has
// no point; the table that stands under each plot says why.
package plot
