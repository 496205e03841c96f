package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
)

// This file reads rows out of the pages of an SQLite database without SQLite: what is left of
// a damaged one. It trusts no page to be what another says of it: every page is looked at, and
// each one that could be a leaf of a table gives the rows that it still has.
//
// Source: https://www.sqlite.org/fileformat2.html, sections 1.3 (header), 1.6 (b-tree pages,
// cells, overflow), 2.1 (records), 4.1 and 4.2 (write-ahead log).

// usualPage is tried when the header does not say: SQLite makes pages of 4096 bytes
// unless it is told otherwise, and nobody here tells it.
const usualPage = 4096

// mostPayload is the longest row that is read, bytes: the report of a capture is a hundredth
// of it.
const mostPayload = 64 << 20

// row is a record of a table: its rowid, and its columns as nil, int64, float64, string or []byte.
type row struct {
	id      int64
	columns []any
}

// pages is a database as its pages, those of its write-ahead log before those of the file.
type pages struct {
	db, wal *os.File // wal is nil where there is none
	size    int64    // of a page, bytes
	count   int64    // pages of the file, the last perhaps in part
	logged  map[uint32]int64
	budget  int64 // bytes of overflow that may still be read: a damaged chain leads anywhere
}

// rowsOf gives each row found in the database at path to take, some of them more than once:
// a page that was in use before is not always overwritten. The file is only read.
func rowsOf(path string, take func(row)) error {
	db, err := os.Open(path)
	if err != nil {
		return err
	}
	defer db.Close()
	wal, err := os.Open(path + "-wal")
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if err == nil {
		defer wal.Close()
	} else {
		wal = nil
	}
	size, err := sizeOf(db)
	if err != nil {
		return err
	}
	for _, page := range pageSizes(db) {
		p := &pages{db: db, wal: wal, size: page, count: (size + page - 1) / page, logged: map[uint32]int64{}}
		if err := p.readLog(); err != nil {
			return err
		}
		p.budget = 16 * (p.count + int64(len(p.logged))) * page
		if err := p.rows(take); err != nil {
			return err
		}
	}
	return nil
}

func sizeOf(f *os.File) (int64, error) {
	i, err := f.Stat()
	if err != nil {
		return 0, err
	}
	return i.Size(), nil
}

// pageSizes is the size that the header says and the usual one, where that is another: the
// header may be what is damaged.
func pageSizes(db *os.File) []int64 {
	var head [18]byte
	if _, err := db.ReadAt(head[:], 0); err != nil {
		return []int64{usualPage}
	}
	n := int64(binary.BigEndian.Uint16(head[16:]))
	if n == 1 {
		n = 65536
	}
	if n < 512 || n&(n-1) != 0 || n == usualPage {
		return []int64{usualPage}
	}
	return []int64{n, usualPage}
}

// readLog finds the newest copy of each page in the write-ahead log, up to the last commit of
// its present generation. Checksums are not asked: a page behind a damaged one may be whole.
func (p *pages) readLog() error {
	if p.wal == nil {
		return nil
	}
	size, err := sizeOf(p.wal)
	if err != nil {
		return err
	}
	const headLength, frameHead = 32, 24
	var head [headLength]byte
	if _, err := p.wal.ReadAt(head[:], 0); err != nil {
		return nil // shorter than its header: nothing was logged
	}
	salt := [8]byte(head[16:24])
	pending := map[uint32]int64{}
	for at := int64(headLength); at+frameHead+p.size <= size; at += frameHead + p.size {
		var f [frameHead]byte
		if _, err := p.wal.ReadAt(f[:], at); err != nil {
			return err
		}
		if [8]byte(f[8:16]) != salt {
			continue // of a generation before, or damaged
		}
		pending[binary.BigEndian.Uint32(f[:])] = at + frameHead
		if binary.BigEndian.Uint32(f[4:]) != 0 { // a commit
			for n, at := range pending {
				p.logged[n] = at
			}
			clear(pending)
		}
	}
	return nil
}

func (p *pages) rows(take func(row)) error {
	page := make([]byte, p.size)
	for n := int64(1); n <= p.count; n++ {
		got, err := p.db.ReadAt(page, (n-1)*p.size)
		if err != nil && !errors.Is(err, io.EOF) {
			continue // a sector that cannot be read; the others may
		}
		clear(page[got:])
		p.leaf(page, n == 1, take)
	}
	for n, at := range p.logged {
		if _, err := p.wal.ReadAt(page, at); err == nil {
			p.leaf(page, n == 1, take)
		}
	}
	return nil
}

const (
	leafOfTable = 0x0d
	leafHead    = 8
)

// leaf gives the rows of a page that could be a leaf of a table.
func (p *pages) leaf(page []byte, first bool, take func(row)) {
	head := 0
	if first {
		head = 100
	}
	if page[head] != leafOfTable {
		return
	}
	n := int(binary.BigEndian.Uint16(page[head+3:]))
	for i := range n {
		at := head + leafHead + 2*i
		if at+2 > len(page) {
			return
		}
		if r, err := p.cell(page, int(binary.BigEndian.Uint16(page[at:]))); err == nil {
			take(r)
		}
	}
}

var errBroken = errors.New("not a row")

func (p *pages) cell(page []byte, at int) (row, error) {
	if at >= len(page) {
		return row{}, errBroken
	}
	length, rest, ok := varint(page[at:])
	if !ok || length < 0 || length > mostPayload {
		return row{}, errBroken
	}
	id, rest, ok := varint(rest)
	if !ok {
		return row{}, errBroken
	}
	local := localPart(length, p.size)
	if int64(len(rest)) < local || local < length && int64(len(rest)) < local+4 {
		return row{}, errBroken
	}
	payload := append([]byte(nil), rest[:local]...)
	if local < length {
		var err error
		if payload, err = p.overflow(payload, length, binary.BigEndian.Uint32(rest[local:])); err != nil {
			return row{}, err
		}
	}
	columns, err := record(payload)
	return row{id, columns}, err
}

// localPart is how much of a row of a table lies in its leaf: section 1.6.
func localPart(length, usable int64) int64 {
	most := usable - 35
	if length <= most {
		return length
	}
	least := (usable-12)*32/255 - 23
	if k := least + (length-least)%(usable-4); k <= most {
		return k
	}
	return least
}

func (p *pages) overflow(payload []byte, length int64, next uint32) ([]byte, error) {
	page := make([]byte, p.size)
	for int64(len(payload)) < length {
		if next == 0 || p.budget < p.size {
			return nil, errBroken
		}
		p.budget -= p.size
		if err := p.read(next, page); err != nil {
			return nil, err
		}
		next = binary.BigEndian.Uint32(page)
		payload = append(payload, page[4:min(p.size, 4+length-int64(len(payload)))]...)
	}
	return payload, nil
}

func (p *pages) read(n uint32, page []byte) error {
	if at, ok := p.logged[n]; ok {
		_, err := p.wal.ReadAt(page, at)
		return err
	}
	if int64(n) > p.count {
		return errBroken
	}
	_, err := p.db.ReadAt(page, (int64(n)-1)*p.size)
	return err
}

// varint reads a number of 1 to 9 bytes.
func varint(b []byte) (v int64, rest []byte, ok bool) {
	for i := range min(9, len(b)) {
		if i == 8 {
			return v<<8 | int64(b[i]), b[9:], true
		}
		v = v<<7 | int64(b[i]&0x7f)
		if b[i] < 0x80 {
			return v, b[i+1:], true
		}
	}
	return 0, nil, false
}

// record reads the columns of a row, whose lengths must come out even.
func record(b []byte) ([]any, error) {
	headLength, head, ok := varint(b)
	if !ok || headLength > int64(len(b)) || headLength < int64(len(b)-len(head)) {
		return nil, errBroken
	}
	body := b[headLength:]
	head = b[len(b)-len(head) : headLength]
	var out []any
	for len(head) > 0 {
		var kind int64
		if kind, head, ok = varint(head); !ok || kind < 0 {
			return nil, errBroken
		}
		v, n, err := column(kind, body)
		if err != nil {
			return nil, err
		}
		out, body = append(out, v), body[n:]
	}
	if len(body) > 0 {
		return nil, fmt.Errorf("%d bytes behind its columns: %w", len(body), errBroken)
	}
	return out, nil
}

// column reads one column of a serial type: section 2.1.
func column(kind int64, b []byte) (v any, n int64, err error) {
	switch {
	case kind == 0:
		return nil, 0, nil
	case kind == 8 || kind == 9:
		return kind - 8, 0, nil
	case kind >= 12:
		n = (kind - 12) / 2
	case kind <= 7:
		n = []int64{0, 1, 2, 3, 4, 6, 8, 8}[kind]
	default:
		return nil, 0, errBroken
	}
	if n > int64(len(b)) {
		return nil, 0, errBroken
	}
	b = b[:n]
	switch {
	case kind == 7:
		return math.Float64frombits(binary.BigEndian.Uint64(b)), n, nil
	case kind >= 12 && kind%2 == 0:
		return append([]byte(nil), b...), n, nil
	case kind >= 13:
		return string(b), n, nil
	}
	x := int64(int8(b[0]))
	for _, c := range b[1:] {
		x = x<<8 | int64(c)
	}
	return x, n, nil
}
