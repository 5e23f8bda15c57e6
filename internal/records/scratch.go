package records

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"slices"
)

// run is so many readings of the scratch file, in order, from a byte on.
type run struct{ from, n int64 }

// packedBytes is how long a reading is in the scratch file.
const packedBytes = 8 + 8 + 4 + 1 + 1

func (p *packed) append(b []byte) []byte {
	b = binary.LittleEndian.AppendUint64(b, uint64(p.atMicros))
	b = binary.LittleEndian.AppendUint64(b, math.Float64bits(p.value))
	b = binary.LittleEndian.AppendUint32(b, uint32(p.row))
	return append(b, p.column, p.channel)
}

func (p *packed) read(b []byte) {
	p.atMicros = int64(binary.LittleEndian.Uint64(b))
	p.value = math.Float64frombits(binary.LittleEndian.Uint64(b[8:]))
	p.row = int32(binary.LittleEndian.Uint32(b[16:]))
	p.column, p.channel = b[20], b[21]
}

// putAway writes the readings that are held to the scratch file, as one more run.
func (rs *Readings) putAway() {
	if rs.err == nil && len(rs.packed) > 0 {
		r := run{n: int64(len(rs.packed))}
		if last := len(rs.runs) - 1; last >= 0 {
			r.from = rs.runs[last].from + rs.runs[last].n*packedBytes
		}
		slices.SortFunc(rs.packed, rs.compare)
		w := bufio.NewWriter(io.NewOffsetWriter(rs.scratch, r.from))
		var b []byte
		for i := range rs.packed {
			b = rs.packed[i].append(b[:0])
			_, _ = w.Write(b) // Flush says it
		}
		if err := w.Flush(); err != nil {
			rs.err = fmt.Errorf("putting readings into a scratch file: %w", err)
		}
		rs.runs = append(rs.runs, r)
	}
	rs.packed = rs.packed[:0]
}

// merged are the readings of all runs, in order.
func (rs *Readings) merged(yield func(packed) bool) {
	type head struct {
		packed
		rest *bufio.Reader
		left int64
	}
	var b [packedBytes]byte
	next := func(h *head) bool {
		if h.left--; h.left < 0 {
			return false
		}
		if _, err := io.ReadFull(h.rest, b[:]); err != nil {
			rs.err = fmt.Errorf("reading readings back from a scratch file: %w", err)
			return false
		}
		h.read(b[:])
		return true
	}
	var heads []*head
	for _, r := range rs.runs {
		h := &head{rest: bufio.NewReader(io.NewSectionReader(rs.scratch, r.from, r.n*packedBytes)), left: r.n}
		if next(h) {
			heads = append(heads, h)
		}
	}
	for len(heads) > 0 && rs.err == nil {
		least := 0
		for i := range heads {
			if rs.compare(heads[i].packed, heads[least].packed) < 0 {
				least = i
			}
		}
		if !yield(heads[least].packed) {
			return
		}
		if !next(heads[least]) {
			heads = slices.Delete(heads, least, least+1)
		}
	}
}
