package picture

import (
	"bytes"
	"encoding/binary"
)

// Markers of a JPEG file (ITU-T T.81, table B.1).
const (
	markSOS  = 0xda
	markAPP1 = 0xe1
	markEOI  = 0xd9
)

// jpegHeader is what the segments before the first scan tell.
type jpegHeader struct {
	progressive bool
	perPixel    float64 // samples of all components for each pixel: 1.5 at 4:2:0, 3 at 4:4:4
	exif        []byte  // a TIFF structure; nil: none
}

// readJPEG walks over the segments up to the first scan. What it cannot follow it leaves
// to the decoder, which has read the same header before.
func readJPEG(data []byte) jpegHeader {
	h := jpegHeader{perPixel: 3}
	for p := 2; p+4 <= len(data); {
		if data[p] != 0xff {
			return h
		}
		mark := data[p+1]
		if mark == 0xff { // fill bytes
			p++
			continue
		}
		if mark == markSOS || mark == markEOI {
			return h
		}
		n := int(binary.BigEndian.Uint16(data[p+2:]))
		if n < 2 || p+2+n > len(data) {
			return h
		}
		body := data[p+4 : p+2+n]
		switch {
		case mark == markAPP1 && h.exif == nil:
			if tiff, ok := bytes.CutPrefix(body, []byte("Exif\x00\x00")); ok {
				h.exif = tiff
			}
		case mark >= 0xc0 && mark <= 0xc2:
			h.progressive = mark == 0xc2
			h.perPixel = samplesPerPixel(body)
		}
		p += 2 + n
	}
	return h
}

// samplesPerPixel adds up the sampling of the components of a frame header (T.81, B.2.2).
func samplesPerPixel(frame []byte) float64 {
	if len(frame) < 6 {
		return 3
	}
	sum, h0, v0 := 0.0, 1.0, 1.0
	for i := range int(frame[5]) {
		at := 6 + 3*i + 1
		if at >= len(frame) {
			break
		}
		h, v := float64(frame[at]>>4), float64(frame[at]&15)
		h0, v0 = max(h0, h), max(v0, v)
		sum += h * v
	}
	return max(1, sum/(h0*v0))
}

// orientationOf reads tag 0x0112 of the first directory of a TIFF structure (TIFF 6.0,
// section 2; CIPA DC-008-2019, 4.6.4): 1 to 8, and 1 for what is missing or cannot be read.
func orientationOf(tiff []byte) int {
	if len(tiff) < 8 {
		return 1
	}
	var order binary.ByteOrder = binary.LittleEndian
	switch string(tiff[:4]) {
	case "II*\x00":
	case "MM\x00*":
		order = binary.BigEndian
	default:
		return 1
	}
	at := int64(order.Uint32(tiff[4:]))
	if at+2 > int64(len(tiff)) {
		return 1
	}
	entries := int64(order.Uint16(tiff[at:]))
	for i := range entries {
		e := at + 2 + 12*i
		if e+12 > int64(len(tiff)) {
			return 1
		}
		const tag, short = 0x0112, 3
		if order.Uint16(tiff[e:]) != tag || order.Uint16(tiff[e+2:]) != short {
			continue
		}
		if v := int(order.Uint16(tiff[e+8:])); v >= 1 && v <= 8 {
			return v
		}
		return 1
	}
	return 1
}
