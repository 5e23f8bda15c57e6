package edgeio

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/agnivade/levenshtein"

	"isohaline/internal/edge/lease"
	"isohaline/internal/problem"
	"isohaline/internal/units"
)

// formatVersion is the format that this program reads.
const formatVersion = "1"

// Read reads and checks a wiring file for a site. The name is for messages only.
// The error is a problem.List: every problem found, with its place.
func Read(name string, data []byte) (*Wiring, error) {
	root, err := parse(name, data)
	if err != nil {
		return nil, err
	}
	r := &reader{file: name, taken: map[string]string{}}
	w := r.wiring(root)
	if len(r.problems) > 0 {
		slices.SortStableFunc(r.problems, func(a, b problem.Problem) int {
			return (a.Line-b.Line)*maxBytes + a.Column - b.Column
		})
		return nil, r.problems
	}
	return w, nil
}

type reader struct {
	file     string
	problems problem.List
	warnings []string
	// taken are the places that something is wired to, and what.
	taken map[string]string
}

func (r *reader) report(path string, n *node, reason, fix string) {
	r.problems = append(r.problems, problem.Problem{File: r.file, Line: n.line, Column: n.column, Field: path, Value: n.text, Why: reason, Fix: fix})
}

// group is a node's keys, all of which have to be among the valid ones.
func (r *reader) group(path string, n *node, valid ...string) group {
	g := group{r, path, n}
	if n.keys == nil {
		r.report(path, n, "is a single value, not a group of keys", "write its keys below it: "+strings.Join(valid, ", "))
		return g
	}
	for _, key := range n.keys {
		if slices.Contains(valid, key) {
			continue
		}
		fix := "valid here: " + strings.Join(valid, ", ")
		for _, v := range valid {
			if levenshtein.ComputeDistance(strings.ToLower(key), v) <= len(v)/3+1 {
				fix = fmt.Sprintf("did you mean %q?", v)
				break
			}
		}
		at := *n.values[key]
		at.text, at.column = "", at.keyColumn
		r.report(join(path, key), &at, "is not a key of this group", fix)
	}
	return g
}

type group struct {
	r    *reader
	path string
	n    *node
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

func (g group) has(key string) bool { return g.n.values[key] != nil }

// missing reports a key that has to be there.
func (g group) missing(key, what string) {
	g.r.report(join(g.path, key), &node{line: g.n.line, column: g.n.column}, "is missing", "add "+what)
}

// text is a single value; or is what its absence means, "" that it has to be
// there.
func (g group) text(key, or, what string) string {
	v := g.n.values[key]
	switch {
	case v == nil && or == "":
		g.missing(key, fmt.Sprintf("%q, %s", key+":", what))
	case v == nil:
		return or
	case v.keys != nil, v.text == "":
		g.wrong(key, "is not a single value", "write "+what)
	default:
		return v.text
	}
	return ""
}

// word is one of a few.
func (g group) word(key, or string, words ...string) string {
	what := strings.Join(words, " or ")
	t := g.text(key, or, what)
	if t != "" && t != or && !slices.Contains(words, t) {
		g.wrong(key, "is not valid here", "write "+what)
	}
	return t
}

func (g group) number(key string, lo, hi uint64, or string) uint64 {
	what := fmt.Sprintf("a whole number from %d to %d", lo, hi)
	t := g.text(key, or, what)
	if t == "" {
		return lo
	}
	n, err := strconv.ParseUint(t, 10, 64)
	if err != nil || n < lo || n > hi {
		g.wrong(key, "is not "+what, "write "+what)
		return lo
	}
	return n
}

// quantity is a value with a unit, in SI.
func (g group) quantity(key string, k *units.Kind, or, lo, hi float64) float64 {
	v := g.n.values[key]
	if v == nil {
		return or
	}
	x, err := k.Parse(v.text)
	if err != nil {
		reason, fix := "is not "+k.Name(), fmt.Sprintf("write it like %q", k.Example())
		if e, ok := err.(*problem.Problem); ok {
			reason, fix = e.Why, e.Fix
		}
		g.wrong(key, reason, fix)
		return or
	}
	if x < lo || x > hi {
		g.wrong(key, fmt.Sprintf("is outside %s to %s", k.Exact(lo), k.Exact(hi)), "give "+k.Name()+" in that range")
		return or
	}
	return x
}

func (g group) duration(key string, or, lo, hi time.Duration) time.Duration {
	return time.Duration(math.Round(g.quantity(key, units.Duration, or.Seconds(), lo.Seconds(), hi.Seconds()) * float64(time.Second)))
}

// level is the scale of a level; its keys are levelKeys.
func (g group) level() scale {
	const far = 100.0 // m
	return scale{g.quantity("scale", units.Length, 1.0/mmPerM, 1e-7, 1) * mmPerM, g.quantity("offset", units.Length, 0, -far, far) * mmPerM}
}

var levelKeys = []string{"scale", "offset"}

const mmPerM = 1000

// payloads are the two texts by which a thing says its two states.
func (g group) payloads(on, off string) (saysOn, saysOff string) {
	const what = "the payload that means so"
	saysOn, saysOff = g.text(on, "", what), g.text(off, "", what)
	if saysOn != "" && saysOn == saysOff {
		g.wrong(off, "is the same as "+on, "give the two their own payloads")
	}
	return saysOn, saysOff
}

// wrong reports the value of a key that is there.
func (g group) wrong(key, reason, fix string) {
	g.r.report(join(g.path, key), g.n.values[key], reason, fix)
}

func (r *reader) wiring(root *node) *Wiring {
	w := &Wiring{Inputs: map[Input]bool{}, Outputs: map[Output]bool{}}
	top := []string{"isohaline edge", "lease"}
	byName := map[string]driver{}
	for _, d := range drivers {
		byName[d.name] = d.begin()
		w.drivers = append(w.drivers, byName[d.name])
		if d.grouped {
			top = append(top, d.name)
		}
	}
	g := r.group("", root, append(top, "inputs", "outputs")...)
	if v := g.text("isohaline edge", "", "the version of the file's format, "+formatVersion); v != "" && v != formatVersion {
		g.wrong("isohaline edge", "is not a format this program reads", "write the format's version, "+formatVersion)
	}
	w.Lease = g.duration("lease", lease.Usual, lease.Shortest, lease.Longest)
	for _, d := range drivers {
		if d.grouped && g.has(d.name) {
			byName[d.name].section(r, d.name, root.values[d.name])
		}
	}
	for _, part := range []string{"inputs", "outputs"} {
		if !g.has(part) {
			g.missing(part, fmt.Sprintf("the group %q", part+":"))
			return w
		}
	}
	in := r.group("inputs", root.values["inputs"], wordsOf(inputs)...)
	for _, i := range inputs {
		if in.has(string(i)) {
			w.Inputs[i] = true
			r.wired(in, string(i), byName, func(d driver) []string { return d.inputKeys(i) }, func(d driver, g group) string { return d.input(g, i) })
		}
	}
	out := r.group("outputs", root.values["outputs"], wordsOf(outputs)...)
	for _, o := range outputs {
		if out.has(string(o)) {
			w.Outputs[o] = true
			r.wired(out, string(o), byName, driver.outputKeys, func(d driver, g group) string { return d.output(g, o) })
		}
	}
	if !w.Inputs[Watch] && in.n.keys != nil {
		in.missing("watch", "the watch sensor's wiring")
	}
	if !w.Outputs[Pump] && out.n.keys != nil {
		out.missing("pump", "the pump's wiring")
	}
	w.Warnings = r.warnings
	return w
}

// wired reads the wiring of one input or output by the driver that it names.
func (r *reader) wired(part group, name string, byName map[string]driver, keys func(driver) []string, read func(driver, group) string) {
	n, path := part.n.values[name], join(part.path, name)
	var valid, ways []string
	for _, d := range drivers {
		if k := keys(byName[d.name]); len(k) > 0 {
			valid, ways = union(valid, k), append(ways, d.name)
		}
	}
	g := r.group(path, n, valid...)
	found := slices.DeleteFunc(slices.Clone(ways), func(way string) bool { return !g.has(way) })
	if len(found) != 1 {
		r.report(path, &node{line: n.line, column: n.column}, fmt.Sprintf("has %d ways of wiring", len(found)), "give exactly one of "+strings.Join(ways, ", "))
		return
	}
	place := read(byName[found[0]], g)
	if place == "" {
		return
	}
	place = found[0] + " " + place
	if first, ok := r.taken[place]; ok {
		r.report(path, n, "is wired to "+place+", like "+first, "give each its own")
		return
	}
	r.taken[place] = path
}

func wordsOf[W ~string](list []W) []string {
	words := make([]string, len(list))
	for i, w := range list {
		words[i] = string(w)
	}
	return words
}
