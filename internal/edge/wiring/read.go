package wiring

import (
	"fmt"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/agnivade/levenshtein"

	"isohaline/internal/edge/lease"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
)

// formatVersion is the format that this program reads.
const formatVersion = "1"

// Usual values of a wiring. All are judgement.
const (
	usualTimeout = 300 * time.Millisecond
	usualSilence = time.Minute
	usualBaud    = 9600
	usualClient  = "isohaline-edge"
	// longestSilence: an input that may be silent for longer is none.
	longestSilence = time.Hour
	longestTimeout = time.Second
)

// Read reads and checks a wiring file for a site. The name is for messages only.
// The error is a tankfile.Problems: every problem found, with its place.
func Read(name string, data []byte) (*Wiring, error) {
	root, err := parse(name, data)
	if err != nil {
		return nil, err
	}
	r := &reader{file: name}
	w := r.wiring(root)
	if len(r.problems) > 0 {
		slices.SortStableFunc(r.problems, func(a, b tankfile.Problem) int {
			return (a.Line-b.Line)*maxBytes + a.Column - b.Column
		})
		return nil, tankfile.Problems(r.problems)
	}
	return w, nil
}

type reader struct {
	file     string
	problems []tankfile.Problem
}

func (r *reader) report(path string, n *node, reason, fix string) {
	r.problems = append(r.problems, tankfile.Problem{File: r.file, Line: n.line, Column: n.column, Field: path, Value: n.text, Reason: reason, Fix: fix})
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
		g.r.report(join(g.path, key), v, "is not a single value", "write "+what)
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
		g.r.report(join(g.path, key), g.n.values[key], "is not valid here", "write "+what)
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
		g.r.report(join(g.path, key), g.n.values[key], "is not "+what, "write "+what)
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
		if e, ok := err.(*units.Error); ok {
			reason, fix = e.Reason, e.Fix
		}
		g.r.report(join(g.path, key), v, reason, fix)
		return or
	}
	if x < lo || x > hi {
		g.r.report(join(g.path, key), v, fmt.Sprintf("is outside %s to %s", k.Exact(lo), k.Exact(hi)), "give "+k.Name()+" in that range")
		return or
	}
	return x
}

func (g group) duration(key string, or, lo, hi time.Duration) time.Duration {
	return time.Duration(math.Round(g.quantity(key, units.Duration, or.Seconds(), lo.Seconds(), hi.Seconds()) * float64(time.Second)))
}

func (r *reader) wiring(root *node) *Wiring {
	g := r.group("", root, "isohaline edge", "lease", "mqtt", "modbus", "inputs", "outputs")
	w := &Wiring{Devices: map[string]Device{}, Inputs: map[Input]Source{}, Outputs: map[Output]Sink{}}
	if v := g.text("isohaline edge", "", "the version of the file's format, "+formatVersion); v != "" && v != formatVersion {
		r.report("isohaline edge", root.values["isohaline edge"], "is not a format this program reads", "write the format's version, "+formatVersion)
	}
	w.Lease = g.duration("lease", lease.Usual, lease.Shortest, lease.Longest)
	if g.has("mqtt") {
		w.Broker = r.broker(root.values["mqtt"])
	}
	if n := root.values["modbus"]; n != nil {
		for _, name := range n.keys {
			w.Devices[name] = r.device(join("modbus", name), n.values[name])
		}
	}
	for _, part := range []string{"inputs", "outputs"} {
		if !g.has(part) {
			g.missing(part, fmt.Sprintf("the group %q", part+":"))
			return w
		}
	}
	inputs := r.group("inputs", root.values["inputs"], wordsOf(Inputs)...)
	for _, i := range Inputs {
		if inputs.has(string(i)) {
			w.Inputs[i] = r.source(w, i, join("inputs", string(i)), inputs.n.values[string(i)])
		}
	}
	outputs := r.group("outputs", root.values["outputs"], wordsOf(Outputs)...)
	for _, o := range Outputs {
		if outputs.has(string(o)) {
			w.Outputs[o] = r.sink(w, join("outputs", string(o)), outputs.n.values[string(o)])
		}
	}
	if _, ok := w.Inputs[Watch]; !ok && inputs.n.keys != nil {
		inputs.missing("watch", "the watch sensor's wiring")
	}
	if _, ok := w.Outputs[Pump]; !ok && outputs.n.keys != nil {
		outputs.missing("pump", "the pump's wiring")
	}
	r.once(w, root)
	return w
}

func wordsOf[W ~string](list []W) []string {
	words := make([]string, len(list))
	for i, w := range list {
		words[i] = string(w)
	}
	return words
}

func (r *reader) broker(n *node) *Broker {
	g := r.group("mqtt", n, "broker", "user", "password", "client")
	b := &Broker{URL: g.text("broker", "", `the broker's address, like "tcp://127.0.0.1:1883"`),
		ClientID: g.text("client", usualClient, "a client id")}
	if g.has("user") {
		b.User = g.text("user", "", "a name")
	}
	if g.has("password") {
		b.Password = g.text("password", "", "a password")
	}
	if u, err := url.Parse(b.URL); b.URL != "" && (err != nil || u.Host == "" || u.Scheme != "tcp" && u.Scheme != "ssl") {
		r.report("mqtt.broker", n.values["broker"], "is not a broker's address", `write it like "tcp://127.0.0.1:1883" or "ssl://broker.lan:8883"`)
	}
	return b
}

func (r *reader) device(path string, n *node) Device {
	g := r.group(path, n, "url", "unit", "baud", "timeout", "watchdog register", "watchdog value")
	d := Device{URL: g.text("url", "", `its address, like "tcp://192.168.1.20:502" or "rtu:///dev/ttyUSB0"`),
		Unit: uint8(g.number("unit", 0, 247, "1")), Baud: uint(g.number("baud", 1200, 115200, strconv.Itoa(usualBaud))),
		Timeout: g.duration("timeout", usualTimeout, 20*time.Millisecond, longestTimeout)}
	if u, err := url.Parse(d.URL); d.URL != "" && (err != nil || u.Scheme != "tcp" && u.Scheme != "rtu" || u.Host+u.Path == "") {
		r.report(join(path, "url"), n.values["url"], "is not a Modbus address", `write it like "tcp://192.168.1.20:502" or "rtu:///dev/ttyUSB0"`)
	}
	if g.has("watchdog register") || g.has("watchdog value") {
		d.Watchdog = &Register{Address: uint16(g.number("watchdog register", 0, math.MaxUint16, "")), Value: uint16(g.number("watchdog value", 0, math.MaxUint16, ""))}
	}
	return d
}

// ways are the keys that say by which way a thing is wired.
var ways = []string{"gpio", "modbus", "mqtt"}

// way is the one of a group; false after a problem.
func (r *reader) way(g group) (string, bool) {
	var found []string
	for _, w := range ways {
		if g.has(w) {
			found = append(found, w)
		}
	}
	if len(found) != 1 {
		at := node{line: g.n.line, column: g.n.column}
		r.report(g.path, &at, fmt.Sprintf("has %d ways of wiring", len(found)), "give exactly one of gpio, modbus and mqtt")
		return "", false
	}
	return found[0], true
}

func (r *reader) source(w *Wiring, i Input, path string, n *node) (s Source) {
	on := "wet when"
	if i == ReturnPump {
		on = "running when"
	}
	keys := []string{"gpio", "pull", on, "modbus", "discrete", "coil", "register", "holding", "mqtt", "wet", "dry", "silent after"}
	switch i {
	case Level:
		keys = []string{"modbus", "register", "holding", "mqtt", "scale", "offset", "silent after"}
	case ReturnPump:
		keys = []string{"gpio", "pull", on, "modbus", "discrete", "coil", "register", "holding", "mqtt", "running", "stopped", "silent after"}
	}
	g := r.group(path, n, keys...)
	way, ok := r.way(g)
	if !ok {
		return s
	}
	const far = 100.0 // m
	scale, offset := 1.0, 0.0
	if i == Level {
		scale = g.quantity("scale", units.Length, 0.001, 1e-7, 1) * 1000
		offset = g.quantity("offset", units.Length, 0, -far, far) * 1000
	}
	switch way {
	case "gpio":
		s.Pin = r.pin(g, on)
		s.Pin.Pull = g.word("pull", "none", "up", "down")
		if s.Pin.Pull == "none" {
			s.Pin.Pull = ""
		}
	case "modbus":
		tables := []Table{Discrete, Coil, InputReg, Holding}
		if i == Level {
			tables = []Table{InputReg, Holding}
		}
		s.Point = r.point(w, g, tables)
		if i != Level {
			s.Point.ActiveLow = g.word(on, "on", "on", "off") == "off"
		}
		s.Point.ScaleMM, s.Point.OffsetMM = scale, offset
	case "mqtt":
		s.Topic = r.topic(w, g)
		s.Topic.SilentAfter = g.duration("silent after", usualSilence, time.Second, longestSilence)
		s.Topic.ScaleMM, s.Topic.OffsetMM = scale, offset
		switch i {
		case Level:
		case ReturnPump:
			r.payloads(g, s.Topic, "running", "stopped")
		default:
			r.payloads(g, s.Topic, "wet", "dry")
		}
	}
	return s
}

func (r *reader) sink(w *Wiring, path string, n *node) (s Sink) {
	g := r.group(path, n, "gpio", "on when", "modbus", "coil", "mqtt", "on", "off")
	way, ok := r.way(g)
	if !ok {
		return s
	}
	switch way {
	case "gpio":
		s.Pin = r.pin(g, "on when")
	case "modbus":
		s.Point = r.point(w, g, []Table{Coil})
		s.Point.ActiveLow = g.word("on when", "on", "on", "off") == "off"
	case "mqtt":
		s.Topic = r.topic(w, g)
		r.payloads(g, s.Topic, "on", "off")
	}
	return s
}

// pin is "chip/line". Which level means wet or on is never guessed.
func (r *reader) pin(g group, on string) *Pin {
	text := g.text("gpio", "", `"chip/line" by the kernel's names`)
	chip, line, ok := strings.Cut(text, "/")
	if text != "" && (!ok || chip == "" || line == "") {
		r.report(join(g.path, "gpio"), g.n.values["gpio"], "is not a chip and a line", `write it like "gpiochip0/GPIO17"; the kernel's gpioinfo lists them`)
	}
	return &Pin{Chip: chip, Line: line, ActiveLow: g.word(on, "", "high", "low") == "low"}
}

func (r *reader) point(w *Wiring, g group, tables []Table) *Point {
	p := &Point{Device: g.text("modbus", "", "the name of a device under modbus")}
	if _, ok := w.Devices[p.Device]; !ok && p.Device != "" {
		r.report(join(g.path, "modbus"), g.n.values["modbus"], "is not a device of this file", "describe it under modbus")
	}
	for _, t := range tables {
		if !g.has(string(t)) {
			continue
		}
		if p.Table != "" {
			r.report(join(g.path, string(t)), g.n.values[string(t)], "is a second point", "give one of "+strings.Join(wordsOf(tables), ", "))
		}
		p.Table, p.Address = t, uint16(g.number(string(t), 0, math.MaxUint16, ""))
	}
	if p.Table == "" {
		g.missing(string(tables[0]), "the point's address: one of "+strings.Join(wordsOf(tables), ", "))
	}
	return p
}

func (r *reader) topic(w *Wiring, g group) *Topic {
	t := &Topic{Name: g.text("mqtt", "", "a topic")}
	if strings.ContainsAny(t.Name, "#+\x00") {
		r.report(join(g.path, "mqtt"), g.n.values["mqtt"], "has a wildcard", "name one topic")
	}
	if w.Broker == nil {
		r.report(join(g.path, "mqtt"), g.n.values["mqtt"], "needs a broker", `describe it: "mqtt: {broker: tcp://127.0.0.1:1883}"`)
	}
	return t
}

func (r *reader) payloads(g group, t *Topic, on, off string) {
	t.On, t.Off = g.text(on, "", "the payload that means so"), g.text(off, "", "the payload that means so")
	if t.On != "" && t.On == t.Off {
		r.report(join(g.path, off), g.n.values[off], "is the same as "+on, "give the two their own payloads")
	}
}

// once finds two things wired to one place.
func (r *reader) once(w *Wiring, root *node) {
	taken := map[string]string{}
	take := func(part, name string, pin *Pin, point *Point, topic *Topic) {
		place := ""
		switch {
		case pin != nil:
			place = "gpio " + pin.Chip + "/" + pin.Line
		case point != nil:
			place = fmt.Sprintf("modbus %s %s %d", point.Device, point.Table, point.Address)
		case topic != nil:
			place = "mqtt " + topic.Name
		default:
			return
		}
		if first, ok := taken[place]; ok {
			r.report(join(part, name), root.values[part].values[name], "is wired to "+place+", like "+first, "give each its own")
			return
		}
		taken[place] = join(part, name)
	}
	for _, i := range Inputs {
		s := w.Inputs[i]
		take("inputs", string(i), s.Pin, s.Point, s.Topic)
	}
	for _, o := range Outputs {
		s := w.Outputs[o]
		take("outputs", string(o), s.Pin, s.Point, s.Topic)
	}
}
