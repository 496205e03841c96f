// Package picture takes pictures from outside, circuit diagrams and photographs, and makes
// of them what can be shown: upright, without what else the file carries, bounded in size.
//
// # What is taken
//
// PNG and JPEG, known by their first bytes and never by name. [Inspect] reads the header
// only and refuses, before a pixel is decoded, what has more than [MaxBytes] or [MaxPixels]
// or would take more than [MaxMemory] to decode: a small file can claim a large picture. A PNG
// whose header promises more than deflate can hold in the file (1032:1, the zlib
// technical notes) and a JPEG of very many scans are refused too. Other formats are named in the error with what to do.
//
// # What is made
//
// [Copy] decodes, turns the picture as its EXIF orientation says (CIPA DC-008, tag 0x0112),
// and encodes it anew: place, time, camera and thumbnails stay behind. It is the only
// form that is sent to a browser or put into a report; its type is image/png or image/jpeg,
// never one with active content. The bytes that were given are for the caller to keep.
//
// [Cut] is a part of a picture with a point marked by a ring, black in white in black, that shows
// on any ground and in print. Positions are fractions of width and height from the upper
// left corner, so that they hold at any size.
package picture
