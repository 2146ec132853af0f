package notebook

import (
	"encoding/binary"
	"io"
	"math"
	"os"
)

// carve reads a broken database page by page, without trusting anything in it
// but the pages that hold rows, and hands over every event and every record
// that is whole by its checksum, from the file and from its WAL. The layout is
// that of https://www.sqlite.org/fileformat2.html: b-tree pages (1.6), record
// format (2.1), WAL (4.1).
func carve(path string, event func(*row) error, record func(*Record) error) error {
	f, err := os.Open(path)
	if err != nil && !os.IsNotExist(err) {
		return err
	}
	c := &carver{size: 4096, pages: map[uint32]int64{}, event: event, record: record}
	if f != nil {
		defer f.Close()
		c.db = f
		var h [100]byte
		if n, _ := f.ReadAt(h[:], 0); n == 100 && string(h[:16]) == "SQLite format 3\x00" {
			size := int(binary.BigEndian.Uint16(h[16:]))
			if size == 1 {
				size = 65536
			}
			if size >= 512 && size&(size-1) == 0 && int(h[20]) < size/2 {
				c.size, c.reserved = size, int(h[20])
			}
		}
	}
	if w, err := os.Open(path + "-wal"); err == nil {
		defer w.Close()
		c.wal = w
		c.index()
	}
	page := make([]byte, c.size)
	if c.db != nil {
		for no := uint32(1); ; no++ {
			n, err := c.db.ReadAt(page, int64(no-1)*int64(c.size))
			if n < c.size {
				clear(page[n:])
			}
			if n > 0 {
				if err := c.leaf(page, no); err != nil {
					return err
				}
			}
			if err != nil {
				break
			}
		}
	}
	for no, at := range c.pages {
		if n, err := c.wal.ReadAt(page, at); n < c.size || (err != nil && err != io.EOF) {
			continue
		}
		if err := c.leaf(page, no); err != nil {
			return err
		}
	}
	return nil
}

type carver struct {
	db, wal        *os.File
	size, reserved int
	pages          map[uint32]int64 // newest frame of each page in the WAL
	event          func(*row) error
	record         func(*Record) error
}

// index finds the frames of the WAL that belong to its present run.
func (c *carver) index() {
	var h [32]byte
	if n, _ := c.wal.ReadAt(h[:], 0); n < 32 || binary.BigEndian.Uint32(h[:])&^1 != 0x377f0682 {
		return
	}
	if int(binary.BigEndian.Uint32(h[8:])) != c.size {
		return
	}
	var fh [24]byte
	for at := int64(32); ; at += 24 + int64(c.size) {
		if n, _ := c.wal.ReadAt(fh[:], at); n < 24 || string(fh[8:16]) != string(h[16:24]) {
			return
		}
		c.pages[binary.BigEndian.Uint32(fh[:])] = at + 24
	}
}

// leaf reads the cells of a page, if it is a leaf of a table.
func (c *carver) leaf(p []byte, no uint32) error {
	h := 0
	if no == 1 {
		h = 100
	}
	if p[h] != 0x0d {
		return nil
	}
	n := int(binary.BigEndian.Uint16(p[h+3:]))
	for i := 0; i < n && h+10+2*i <= len(p); i++ {
		at := int(binary.BigEndian.Uint16(p[h+8+2*i:]))
		if at < h+8 || at >= len(p) {
			continue
		}
		rowid, payload, ok := c.cell(p, at)
		if !ok {
			continue
		}
		if err := c.take(rowid, payload); err != nil {
			return err
		}
	}
	return nil
}

// maxPayload is the greatest row that is believed in.
const maxPayload = 64 << 20

func (c *carver) cell(p []byte, at int) (rowid int64, payload []byte, ok bool) {
	size, n := varint(p[at:])
	if n == 0 || size > maxPayload {
		return 0, nil, false
	}
	at += n
	id, n := varint(p[at:])
	if n == 0 {
		return 0, nil, false
	}
	at += n
	usable := c.size - c.reserved
	whole, local := int(size), int(size)
	if whole > usable-35 {
		m := (usable-12)*32/255 - 23
		local = m + (whole-m)%(usable-4)
		if local > usable-35 {
			local = m
		}
	}
	if at+local > len(p) {
		return 0, nil, false
	}
	payload = append(payload, p[at:at+local]...)
	if local == whole {
		return int64(id), payload, true
	}
	if at+local+4 > len(p) {
		return 0, nil, false
	}
	next := binary.BigEndian.Uint32(p[at+local:])
	buf := make([]byte, c.size)
	for len(payload) < whole {
		if next == 0 || !c.page(next, buf) {
			return 0, nil, false
		}
		next = binary.BigEndian.Uint32(buf)
		payload = append(payload, buf[4:min(usable, 4+whole-len(payload))]...)
	}
	return int64(id), payload, true
}

// page reads the newest copy of a page.
func (c *carver) page(no uint32, buf []byte) bool {
	if at, ok := c.pages[no]; ok {
		if n, _ := c.wal.ReadAt(buf, at); n == len(buf) {
			return true
		}
	}
	if c.db == nil {
		return false
	}
	n, _ := c.db.ReadAt(buf, int64(no-1)*int64(c.size))
	return n == len(buf)
}

// take hands over the payload if it is a whole row of event or sheet.
func (c *carver) take(rowid int64, payload []byte) error {
	v, ok := values(payload)
	if !ok {
		return nil
	}
	str := func(i int) string { s, _ := v[i].(string); return s }
	switch len(v) {
	case 7: // event
		sum, _ := v[6].(int64)
		if r, ok := whole(str(1), str(2), str(5), uint32(sum)); ok {
			r.seq = rowid
			return c.event(r)
		}
	case 21: // sheet
		sum, _ := v[19].(int64)
		if body := str(20); body != "" && rowSum(str(1), str(2), body) == uint32(sum) {
			if r, err := decodeRecord(body); err == nil {
				return c.record(&r)
			}
		}
	}
	return nil
}

// values takes a record apart: nil, int64, float64, string or []byte each.
func values(p []byte) ([]any, bool) {
	hs, n := varint(p)
	if n == 0 || hs > uint64(len(p)) || hs > 1000 {
		return nil, false
	}
	head, body := p[n:max(int(hs), n)], p[hs:]
	var out []any
	for len(head) > 0 {
		t, n := varint(head)
		if n == 0 {
			return nil, false
		}
		head = head[n:]
		var l uint64
		switch {
		case t <= 4:
			l = t
		case t == 5:
			l = 6
		case t == 6 || t == 7:
			l = 8
		case t == 8 || t == 9:
		case t >= 12:
			l = (t - 12) / 2
		default:
			return nil, false
		}
		if l > uint64(len(body)) {
			return nil, false
		}
		d := body[:l]
		body = body[l:]
		switch {
		case t == 0:
			out = append(out, nil)
		case t == 7:
			out = append(out, math.Float64frombits(binary.BigEndian.Uint64(d)))
		case t <= 6:
			x := int64(int8(d[0]))
			for _, b := range d[1:] {
				x = x<<8 | int64(b)
			}
			out = append(out, x)
		case t == 8 || t == 9:
			out = append(out, int64(t-8))
		case t%2 == 1:
			out = append(out, string(d))
		default:
			out = append(out, append([]byte(nil), d...))
		}
	}
	return out, true
}

// varint reads SQLite's big-endian integer of 1 to 9 bytes; n is 0 when p is too short.
func varint(p []byte) (v uint64, n int) {
	for i := 0; i < 8; i++ {
		if i >= len(p) {
			return 0, 0
		}
		v = v<<7 | uint64(p[i]&0x7f)
		if p[i] < 0x80 {
			return v, i + 1
		}
	}
	if len(p) < 9 {
		return 0, 0
	}
	return v<<8 | uint64(p[8]), 9
}
