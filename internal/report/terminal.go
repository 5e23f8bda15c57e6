package report

import (
	"bufio"
	"strings"
	"unicode"

	"github.com/rivo/uniseg"
)

// terminal writes lines no wider than its width. Widths are of what is seen:
// one cell for most characters, two for those of East Asian scripts, none for
// combining marks and colour codes.
type terminal struct {
	w      *bufio.Writer
	width  int
	colour bool
}

// look is how a run of text is marked.
type look int

const (
	plainLook look = iota
	strong
	soft
	water  // levels
	person // what needs a person
)

// ansi starts a look: bold, faint, cyan, bold magenta (ECMA-48, SGR).
var ansi = map[look]string{strong: "\x1b[1m", soft: "\x1b[2m", water: "\x1b[36m", person: "\x1b[1;35m"}

const ansiEnd = "\x1b[0m"

// styled is a run of text in one look.
type styled struct {
	style look
	text  string
}

func plainly(text string) styled { return styled{text: text} }

// cells is the width of a text.
func cells(text string) int { return uniseg.StringWidth(text) }

// right sets a text to the right end of a width.
func right(text string, width int) string {
	return strings.Repeat(" ", max(0, width-cells(text))) + text
}

// left fills a text up to a width.
func left(text string, width int) string {
	return text + strings.Repeat(" ", max(0, width-cells(text)))
}

// printable takes out what would steer the terminal: a tank's name is not ours.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == '\u202e' || r == '\u2028' || r == '\u2029' {
			return ' '
		}
		return r
	}, text)
}

// line writes one line; a line that is too wide is wrapped.
func (t *terminal) line(runs ...styled) {
	total := 0
	for _, r := range runs {
		total += cells(printable(r.text))
	}
	if total > t.width && len(runs) > 0 {
		indent := 0
		if len(runs) > 1 {
			indent = cells(runs[0].text) + 2
		}
		var all strings.Builder
		for _, r := range runs {
			all.WriteString(printable(r.text))
		}
		text := all.String()
		lead := len(text) - len(strings.TrimLeft(text, " "))
		for i, l := range fold(text, t.width-max(indent, lead)) {
			if i == 0 {
				l = strings.Repeat(" ", lead) + l
			} else {
				l = strings.Repeat(" ", max(indent, lead)) + l
			}
			t.write(styled{runs[len(runs)-1].style, l})
			t.blank()
		}
		return
	}
	for _, r := range runs {
		t.write(r)
	}
	t.blank()
}

func (t *terminal) write(r styled) {
	text := printable(r.text)
	if t.colour && r.style != plainLook {
		text = ansi[r.style] + text + ansiEnd
	}
	_, _ = t.w.WriteString(text) // a bufio.Writer keeps its error for Flush
}

func (t *terminal) blank() { _ = t.w.WriteByte('\n') }

func (t *terminal) heading(text string) {
	t.blank()
	for _, l := range fold(text, t.width) {
		t.line(styled{strong, l})
	}
	t.line(styled{water, strings.Repeat("─", min(t.width, cells(text)))})
}

// hanging writes a mark and a text beside it.
func (t *terminal) hanging(mark styled, text string) {
	indent := cells(mark.text)
	for i, l := range fold(text, t.width-indent) {
		if i == 0 {
			t.line(mark, plainly(l))
		} else {
			t.line(plainly(strings.Repeat(" ", indent) + l))
		}
	}
}

func (t *terminal) indented(indent int, text string) {
	for _, l := range fold(text, t.width-indent) {
		t.line(plainly(strings.Repeat(" ", indent) + l))
	}
}

func (t *terminal) indentedSoft(indent int, text string) {
	for _, l := range fold(text, t.width-indent) {
		t.line(plainly(strings.Repeat(" ", indent)), styled{soft, l})
	}
}

// table writes rows of name, value and words, each wrapped in its column. Where
// the words would get less than a readable column they go below.
func (t *terminal) table(rows [][]string) {
	const widestName, widestValue, readable, gap = 38, 24, 28, 2
	names, values := 0, 0
	for _, r := range rows {
		names, values = max(names, cells(r[0])), max(values, cells(r[1]))
	}
	names, values = min(names, widestName), min(values, widestValue)
	rest := t.width - gap - names - gap - values - gap
	for _, r := range rows {
		if rest < readable {
			t.hanging(plainly("  "), r[0]+": "+r[1])
			t.indentedSoft(6, r[2])
			continue
		}
		columns := [][]string{fold(r[0], names), fold(r[1], values), fold(r[2], rest)}
		for i := range max(len(columns[0]), len(columns[1]), len(columns[2])) {
			cell := func(column int) string {
				if i < len(columns[column]) {
					return columns[column][i]
				}
				return ""
			}
			t.line(plainly("  "+left(cell(0), names+gap)), styled{strong, left(cell(1), values+gap)}, styled{soft, cell(2)})
		}
	}
}

// fold breaks a text into lines of at most width cells, between words; a word
// that is wider than a line is broken where it must be.
func fold(text string, width int) []string {
	width = max(width, 1)
	var lines []string
	line, used := "", 0
	for _, word := range strings.Fields(printable(text)) {
		w := cells(word)
		if used > 0 && used+1+w > width {
			lines = append(lines, line)
			line, used = "", 0
		}
		for w > width {
			head, tail := cut(word, width)
			lines = append(lines, head)
			word, w = tail, cells(tail)
		}
		if used > 0 {
			line, used = line+" ", used+1
		}
		line, used = line+word, used+w
	}
	if line != "" || len(lines) == 0 {
		lines = append(lines, line)
	}
	return lines
}

// cut splits a word after at most width cells, and never inside a character.
func cut(word string, width int) (head, tail string) {
	state, used := -1, 0
	rest := word
	for rest != "" {
		var cluster string
		var w int
		cluster, rest, w, state = uniseg.FirstGraphemeClusterInString(rest, state)
		if used+w > width && head != "" {
			return head, word[len(head):]
		}
		head, used = head+cluster, used+w
	}
	return head, ""
}
