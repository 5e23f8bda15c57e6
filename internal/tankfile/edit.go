package tankfile

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"isohaline/internal/problem"
)

// Action is what an Edit does.
type Action string

const (
	// Set gives a field a value; a group that it needs is added.
	Set Action = "set"
	// Add adds an optional group, or an item to a list of groups.
	Add Action = "add"
	// Remove takes out whatever is at the path, with the comments in it.
	Remove Action = "remove"
)

// Edit is one change of a tank file, at the path of a field, a group or an item.
type Edit struct {
	Do   Action
	Path string
	// Value is for Set: as a person writes it, unit and all; the values of a
	// list one to a line.
	Value string
}

// Apply makes edits in the text of a tank file, one after the other. Everything else
// stays as it was written: order, comments, blank lines, units, quotes, unknown keys.
// Values are not checked, so that a person may type; Read says what is wrong with the
// result.
//
// The error is a problem.List, and the text returned is then the old one: the text is
// not YAML, the place does not exist, or it is written in a way that cannot be edited.
func Apply(text string, edits []Edit) (string, error) {
	const byteOrderMark, windows = "\ufeff", "\r\n"
	plain, marked := strings.CutPrefix(text, byteOrderMark)
	fromWindows := strings.Contains(plain, windows) && strings.Count(plain, windows) == strings.Count(plain, "\n")
	if fromWindows {
		plain = strings.ReplaceAll(plain, windows, "\n")
	}
	s := splicer{text: plain}
	if err := s.parse(); err != nil {
		return text, err
	}
	for _, e := range edits {
		if err := s.apply(e); err != nil {
			return text, err
		}
	}
	if fromWindows {
		s.text = strings.ReplaceAll(s.text, "\n", windows)
	}
	if marked {
		s.text = byteOrderMark + s.text
	}
	return s.text, nil
}

func (s *splicer) apply(e Edit) error {
	steps, ok := parsePath(e.Path)
	if !ok {
		return refuse(e, "is no path of a tank file", "use one that the form has, like display.height")
	}
	if e.Do == Remove {
		at, ok := s.find(steps)
		if !ok {
			return refuse(e, "is not in the file", "leave it")
		}
		return s.commit(e, s.remove(at))
	}
	r, ok := rowAt(steps)
	if !ok {
		return refuse(e, "is no field or group of a tank file", "use a path that the form has, like display.height")
	}
	switch {
	case e.Do == Add && r.kind == "":
		return s.add(e, steps, r)
	case e.Do == Set && r.kind == SeveralLines:
		return s.setLines(e, steps, r)
	case e.Do == Set && r.kind != "":
		return s.setOne(e, steps, e.Value)
	}
	return refuse(e, fmt.Sprintf("cannot be done (%q)", e.Do), "set a field, add a group or an item, or remove either")
}

// add adds a group or an item of a list of groups.
func (s *splicer) add(e Edit, steps []step, r row) error {
	at, there := s.find(steps)
	switch {
	case r.max == 0 && there:
		return refuse(e, "is there already", "set its fields")
	case r.max == 0:
		return s.ensure(e, steps)
	case !there:
		if err := s.ensure(e, steps); err != nil {
			return err
		}
		at, _ = s.find(steps)
	case len(at.n.items) >= r.max:
		return refuse(e, fmt.Sprintf("has %d items", len(at.n.items)), "remove one first")
	}
	return s.commit(e, s.append(at, &node{kind: mapping}, "{}"))
}

// ensure makes sure that a group is there. The items of a list are not made.
func (s *splicer) ensure(e Edit, steps []step) error {
	if _, there := s.find(steps); there {
		return nil
	}
	last := steps[len(steps)-1]
	if last.item > 0 {
		return refuse(e, "is an item that is not there", "add it first")
	}
	if err := s.ensure(e, steps[:len(steps)-1]); err != nil {
		return err
	}
	at, _ := s.find(steps[:len(steps)-1])
	return s.commit(e, s.insert(at, last.key, order(steps[:len(steps)-1]), &node{kind: mapping}, "{}"))
}

// setOne gives a place a single value.
func (s *splicer) setOne(e Edit, steps []step, value string) error {
	last := steps[len(steps)-1]
	at, there := s.find(steps)
	if there {
		return s.commit(e, s.replace(at, &node{kind: scalar, text: value}, encode(value, at.flow)))
	}
	group := steps[:len(steps)-1]
	if err := s.ensure(e, group); err != nil {
		return err
	}
	at, _ = s.find(group)
	return s.commit(e, s.insert(at, last.key, order(group), &node{kind: scalar, text: value}, encode(value, s.bracketed(at))))
}

// setLines gives a list its values, item by item, so that the comments at those
// that stay are kept.
func (s *splicer) setLines(e Edit, steps []step, r row) error {
	var values []string
	for line := range strings.SplitSeq(e.Value, "\n") {
		if line = strings.TrimSpace(line); line != "" {
			values = append(values, line)
		}
	}
	if len(values) > r.max {
		return refuse(e, fmt.Sprintf("has %d values", len(values)), fmt.Sprintf("give at most %d", r.max))
	}
	at, there := s.find(steps)
	if !there || at.n.kind != sequence {
		texts, list := make([]string, len(values)), &node{kind: sequence}
		for i, v := range values {
			texts[i] = encode(v, true)
			list.items = append(list.items, &node{kind: scalar, text: v})
		}
		raw := "[" + strings.Join(texts, ", ") + "]"
		if there {
			return s.commit(e, s.replace(at, list, raw))
		}
		group := steps[:len(steps)-1]
		if err := s.ensure(e, group); err != nil {
			return err
		}
		at, _ = s.find(group)
		return s.commit(e, s.insert(at, r.key, order(group), list, raw))
	}
	for len(at.n.items) > len(values) {
		if err := s.commit(e, s.remove(s.below(at, len(at.n.items)-1))); err != nil {
			return err
		}
		at, _ = s.find(steps)
	}
	for i, v := range values {
		var err error
		switch {
		case i >= len(at.n.items):
			err = s.commit(e, s.append(at, &node{kind: scalar, text: v}, encode(v, s.bracketed(at))))
		case at.n.items[i].kind != scalar || at.n.items[i].text != v:
			item := s.below(at, i)
			err = s.commit(e, s.replace(item, &node{kind: scalar, text: v}, encode(v, item.flow)))
		}
		if err != nil {
			return err
		}
		at, _ = s.find(steps)
	}
	return nil
}

// refuse is why an edit is not made.
func refuse(e Edit, reason, fix string) error {
	return problem.List{{Field: e.Path, Value: problem.Shown(e.Value), Why: reason, Fix: fix}}
}

// step is one part of a path: a key, or an item of the list at the key before.
type step struct {
	key  string
	item int // from 1; 0: a key
}

// parsePath reads a path, like "room.seasons[2].air". The empty path is none.
func parsePath(path string) ([]step, bool) {
	const mostSteps = 2 * maxDepth
	var steps []step
	for part := range strings.SplitSeq(path, ".") {
		key, rest, indexed := strings.Cut(part, "[")
		if key == "" || len(steps) > mostSteps {
			return nil, false
		}
		steps = append(steps, step{key: key})
		if !indexed {
			continue
		}
		n, err := strconv.Atoi(strings.TrimSuffix(rest, "]"))
		if err != nil || n < 1 || !strings.HasSuffix(rest, "]") {
			return nil, false
		}
		steps = append(steps, step{item: n})
	}
	return steps, true
}

// rowAt is the field or group of the format that a path names.
func rowAt(steps []step) (row, bool) {
	r := row{below: tankFields(new(Tank))}
	list := false
	for _, st := range steps {
		if st.item > 0 {
			if !list {
				return row{}, false
			}
			list, r.max = false, 0
			continue
		}
		i := slices.Index(keysOf(r.below), st.key)
		if i < 0 || list {
			return row{}, false
		}
		r = r.below[i].describe()
		list = r.kind == "" && r.max > 0
	}
	return r, true
}

// order is the keys of a group in the order in which they are usually written.
func order(group []step) []string {
	r := row{below: tankFields(new(Tank))}
	if len(group) > 0 {
		r, _ = rowAt(group)
	}
	return keysOf(r.below)
}
