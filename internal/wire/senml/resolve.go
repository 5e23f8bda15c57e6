package senml

import (
	"fmt"
	"math"
	"time"

	"isohaline/internal/problem"
)

// maxNameLen bounds a resolved name. RFC 8428 sets no limit; we do, because a
// base name of a megabyte would be repeated in every Record.
const maxNameLen = 256

// earliestS and latestS bound a resolved time, in seconds since 1970: the years
// 1 to 9999, which every calendar and database behind us can hold.
const (
	earliestS = -62_135_596_800
	latestS   = 253_402_300_799
)

// base is the state of the base fields between two Records.
type base struct {
	name, unit           string
	time, value, sum     float64
	hasValue, hasSum     bool
	version              int
	versionFrom, current int // record numbers
}

// Resolve applies the base fields of a Pack (section 4.6). Relative times count
// from now. The Records stay in the order of the Pack.
func Resolve(p Pack, now time.Time) ([]Resolved, error) {
	if len(p) == 0 {
		return nil, &problem.Problem{Field: "pack", Why: "is empty", Fix: "send at least one record"}
	}
	if len(p) > MaxRecords {
		return nil, ErrTooMany
	}
	out := make([]Resolved, 0, len(p))
	b := base{version: Version}
	for i := range p {
		b.current = i + 1
		if err := b.take(&p[i]); err != nil {
			return nil, err
		}
		if p[i].bare() {
			continue
		}
		r, err := b.resolve(&p[i], now)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

// take applies the base fields that a Record carries.
func (b *base) take(r *Record) error {
	if r.BaseVersion != nil {
		switch v := *r.BaseVersion; {
		case v < 1 || v > Version:
			return b.refuse("bver", fmt.Sprint(v), "is a version not understood here", fmt.Sprintf("send version %d, or leave it out", Version))
		case b.versionFrom > 0 && v != b.version:
			return b.refuse("bver", fmt.Sprint(v), fmt.Sprintf("contradicts version %d of record %d", b.version, b.versionFrom), "give all records of a pack one version")
		default:
			b.version = v
			if b.versionFrom == 0 {
				b.versionFrom = b.current
			}
		}
	}
	if r.BaseName != nil {
		b.name = *r.BaseName
	}
	if r.BaseUnit != nil {
		b.unit = *r.BaseUnit
	}
	for _, f := range []struct {
		label string
		from  *float64
		to    *float64
	}{{"bt", r.BaseTime, &b.time}, {"bv", r.BaseValue, &b.value}, {"bs", r.BaseSum, &b.sum}} {
		if f.from == nil {
			continue
		}
		if !finite(*f.from) {
			return b.refuse(f.label, number(*f.from), "is no number", "send a finite number")
		}
		*f.to = *f.from
	}
	b.hasValue = b.hasValue || r.BaseValue != nil
	b.hasSum = b.hasSum || r.BaseSum != nil
	return nil
}

func (b *base) resolve(r *Record, now time.Time) (Resolved, error) {
	out := Resolved{
		Record: b.current,
		Name:   b.name + r.Name, Unit: r.Unit, UpdateTime: r.UpdateTime,
		StringValue: r.StringValue, BoolValue: r.BoolValue, DataValue: r.DataValue,
	}
	if out.Unit == "" {
		out.Unit = b.unit
	}
	if why := nameFault(out.Name); why != "" {
		return out, b.refuse("n", out.Name, why, "name it with A-Z a-z 0-9 - : . / _, beginning with a letter or a digit")
	}
	if err := b.resolveValue(r, &out); err != nil {
		return out, err
	}
	if !finite(r.UpdateTime) || r.UpdateTime < 0 {
		return out, b.refuse("ut", number(r.UpdateTime), "is no time to wait", "send seconds, 0 or more")
	}
	var ok bool
	out.Time, out.Relative, ok = instant(b.time+r.Time, now)
	if !ok {
		return out, b.refuse("t", number(b.time+r.Time), "is no time between the years 1 and 9999", "send seconds since 1970, or before now")
	}
	return out, nil
}

// resolveValue adds base value and base sum. Where only the base is given the
// missing part is zero (section 4.5.4).
func (b *base) resolveValue(r *Record, out *Resolved) error {
	if n := r.values(); n > 1 {
		return b.refuse("v", "", fmt.Sprintf("stands beside another value: there are %d of v, vs, vb, vd", n), "send one value in a record")
	}
	numeric := r.Value != nil || (r.values() == 0 && b.hasValue)
	if numeric {
		out.Value = sum(b.value, r.Value)
		if !finite(*out.Value) {
			return b.refuse("v", number(*out.Value), "is no number", "send a finite number")
		}
	}
	if r.Sum != nil || b.hasSum {
		out.Sum = sum(b.sum, r.Sum)
		if !finite(*out.Sum) {
			return b.refuse("s", number(*out.Sum), "is no number", "send a finite number")
		}
	}
	if r.values() == 0 && !numeric && out.Sum == nil {
		return b.refuse("v", "", "is missing", "send one of v, vs, vb, vd, or a sum s")
	}
	return nil
}

func (b *base) refuse(field, value, reason, fix string) error {
	return &problem.Problem{Record: b.current, Field: field, Value: value, Why: reason, Fix: fix}
}

// instant turns seconds into a time; ok is false where no calendar has it. Both
// the wish to be exact and the microsecond come from float64: near the year 2026
// its steps are a quarter of a microsecond.
func instant(seconds float64, now time.Time) (at time.Time, relative, ok bool) {
	if !finite(seconds) || seconds > latestS || seconds < earliestS {
		return now, false, false
	}
	whole, frac := math.Modf(seconds)
	micros := time.Duration(math.Round(frac*1e6)) * time.Microsecond
	if seconds < absoluteFrom {
		if math.Abs(seconds) > absoluteFrom { // a time.Duration holds this, and no device means it
			return now, true, false
		}
		return now.Add(time.Duration(whole)*time.Second + micros), true, true
	}
	return time.Unix(int64(whole), 0).Add(micros).UTC(), false, true
}

// nameFault says what is wrong with a resolved name (section 4.5.1).
func nameFault(name string) string {
	switch {
	case name == "":
		return "is missing"
	case len(name) > maxNameLen:
		return fmt.Sprintf("is longer than %d characters", maxNameLen)
	case !alphanumeric(name[0]):
		return "does not begin with a letter or a digit"
	}
	for i := range len(name) {
		switch c := name[i]; {
		case alphanumeric(c), c == '-', c == ':', c == '.', c == '/', c == '_':
		default:
			return fmt.Sprintf("has the character %q in it", []rune(name[i:])[0])
		}
	}
	return ""
}

func alphanumeric(c byte) bool {
	return 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' || '0' <= c && c <= '9'
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func sum(base float64, own *float64) *float64 {
	if own != nil {
		base += *own
	}
	return &base
}
