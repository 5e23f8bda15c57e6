package chart

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Classes is how many harm classes there are; NeedsPerson is the first that a
// person has to do something about before the design is good.
const (
	Classes     = 5
	NeedsPerson = 3
)

// Matrix is what every fault does alone and every pair together, by harm class.
//
// It is drawn like the distance tables in a pilot book: a triangle with the
// names along its edge. A fault alone stands beside its name; two together
// stand where the row of the one meets the column of the other. The classes
// are printed like soundings on a tint, and a line like a depth contour
// encloses what a person has to look at.
type Matrix struct {
	Title  string
	Faults []MatrixFault
	Pairs  []MatrixPair
	// Words are the names of the classes.
	Words [Classes]string
}

// MatrixFault is a fault and its class alone.
type MatrixFault struct {
	Name  string
	Class int
}

// MatrixPair is the class of two faults together: A and B index Faults. Pairs
// that cannot happen together are left out.
type MatrixPair struct{ A, B, Class int }

// Sizes of the triangle.
const (
	matrixCell  = 15.0
	matrixType  = 10.5
	noPair      = -1
	narrowMost  = 14 // faults that fit a phone
	mostFaults  = 200
	matrixInset = 10.0
)

// SVG draws the matrix. Narrow shows only the faults that do most harm.
func (m *Matrix) SVG(f Format) ([]byte, error) {
	t, err := m.draw(f)
	if err != nil {
		return nil, err
	}
	return t.document(m.Title, m.describe()), nil
}

// triangle is a matrix in its drawing order: cell[i][j] for j <= i.
type triangle struct {
	*canvas
	m     *Matrix
	names []string
	cell  [][]int
	total int // faults before any were left out
}

func (m *Matrix) draw(f Format) (*triangle, error) {
	t, err := m.triangle()
	if err != nil {
		return nil, err
	}
	if f == Narrow && len(t.names) > narrowMost {
		t.names, t.cell = t.names[:narrowMost], t.cell[:narrowMost]
	}
	n := float64(len(t.names))
	names := 0.0
	for i, name := range t.names {
		names = max(names, float64(i+1)*matrixCell+measure(name, sans, matrixType))
	}
	t.w = max(2*matrixInset+names+12, narrowW)
	top := t.legend()
	t.h = top + n*matrixCell + 2*matrixInset
	t.tints(top)
	t.contours(top)
	t.soundings(top)
	return t, nil
}

// triangle puts the faults in order, the worst first, so that what belongs
// together lies together.
func (m *Matrix) triangle() (*triangle, error) {
	n := len(m.Faults)
	if n == 0 || n > mostFaults {
		return nil, fmt.Errorf("chart: Matrix.Faults has %d entries: give 1 to %d", n, mostFaults)
	}
	class := make([][]int, n)
	weight := make([]int, n)
	for i, f := range m.Faults {
		if f.Class < 0 || f.Class >= Classes {
			return nil, fmt.Errorf("chart: Matrix.Faults[%d].Class is %d: give 0 to %d", i, f.Class, Classes-1)
		}
		class[i] = slices.Repeat([]int{noPair}, n)
		class[i][i] = f.Class
	}
	for i, p := range m.Pairs {
		if p.A < 0 || p.A >= n || p.B < 0 || p.B >= n || p.A == p.B || p.Class < 0 || p.Class >= Classes {
			return nil, fmt.Errorf("chart: Matrix.Pairs[%d] is %+v: give two different faults below %d and a class from 0 to %d", i, p, n, Classes-1)
		}
		class[p.A][p.B], class[p.B][p.A] = p.Class, p.Class
		weight[p.A] += p.Class
		weight[p.B] += p.Class
	}
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(m.Faults[b].Class, m.Faults[a].Class), cmp.Compare(weight[b], weight[a]),
			cmp.Compare(m.Faults[a].Name, m.Faults[b].Name))
	})
	t := &triangle{canvas: &canvas{}, m: m, total: n}
	for i, a := range order {
		t.names = append(t.names, m.Faults[a].Name)
		row := make([]int, i+1)
		for j := range row {
			row[j] = class[a][order[j]]
		}
		t.cell = append(t.cell, row)
	}
	return t, nil
}

// at is the class of a cell, noPair outside the triangle.
func (t *triangle) at(row, column int) int {
	if row < 0 || row >= len(t.cell) || column < 0 || column > row {
		return noPair
	}
	return t.cell[row][column]
}

func (t *triangle) box(top float64, row, column int) box {
	x, y := matrixInset+float64(column)*matrixCell, top+float64(row)*matrixCell
	return box{x, y, x + matrixCell, y + matrixCell}
}

// tintOf is the fill of a class; the blues are depth tints.
func tintOf(class int) string {
	return [Classes]string{"panel", "w1", "w3", "pink", "person"}[class]
}

// tints fills the cells, one path a class, and hatches what needs a person.
func (t *triangle) tints(top float64) {
	var fill [Classes]strings.Builder
	var lines strings.Builder
	for i, row := range t.cell {
		for j, class := range row {
			if class == noPair {
				continue
			}
			b := t.box(top, i, j)
			fill[class].WriteString("M" + num(b.x0) + " " + num(b.y0) + "h" + num(matrixCell) + "v" + num(matrixCell) + "h" + num(-matrixCell) + "z")
			if class == NeedsPerson {
				lines.WriteString("M" + num(b.x0) + " " + num(b.y0+4) + "l4 -4M" + num(b.x1-4) + " " + num(b.y1) + "l4 -4")
			}
		}
	}
	for class := range fill {
		if fill[class].Len() > 0 {
			t.path(tintOf(class), fill[class].String())
		}
	}
	if lines.Len() > 0 {
		t.path("l-person-fine", lines.String())
	}
}

// depth is what the contours follow. A pair that cannot happen lies as deep as
// the worse of its two faults alone, so that a blank makes no island.
func (t *triangle) depth(row, column int) int {
	class := t.at(row, column)
	if class == noPair && column >= 0 && column <= row && row < len(t.cell) {
		return max(t.cell[row][row], t.cell[column][column])
	}
	return class
}

// contours are the lines round class 2 and more, fine, and round what needs a
// person, bold.
func (t *triangle) contours(top float64) {
	for _, line := range []struct {
		class int
		style string
	}{{NeedsPerson - 1, "l-shore"}, {NeedsPerson, "l-person"}} {
		in := func(row, column int) bool { return t.depth(row, column) >= line.class }
		d := contour(in, len(t.cell), point{matrixInset, top}, matrixCell)
		if d != "" {
			t.path(line.style, d)
		}
	}
}

// soundings prints the classes and the names. A zero is a dot: there is nothing
// to see.
func (t *triangle) soundings(top float64) {
	for i, row := range t.cell {
		first := t.box(top, i, 0)
		middleY := first.y0 + matrixCell/2
		for class := range Classes {
			var xs []float64
			for j, c := range row {
				if c == class {
					xs = append(xs, first.x0+(float64(j)+0.5)*matrixCell)
				}
			}
			t.glyphs(class, xs, middleY)
		}
		b := t.box(top, i, i)
		t.rect("l", b)
		t.text(point{b.x1 + 6, middleY + matrixType*0.36}, style{size: matrixType}, t.names[i])
	}
}

// glyphs prints a class in several cells of one row.
func (t *triangle) glyphs(class int, xs []float64, y float64) {
	if class == 0 {
		d := ""
		for _, x := range xs {
			d += "M" + num(x) + " " + num(y) + "h0"
		}
		if d != "" {
			t.path("l-dot", d)
		}
		return
	}
	s := style{size: matrixType, at: middle}
	if class >= NeedsPerson {
		s.face = bold
	}
	if class == Classes-1 {
		s.class = "t-onperson"
	}
	t.spaced(xs, y+matrixType*0.36, s, rune('0'+class))
}

// legend says what the classes mean and how to read the triangle, in the corner
// that it leaves free, and returns where the triangle begins.
func (t *triangle) legend() (top float64) {
	width := t.w - 2*matrixInset
	y := matrixInset + matrixType
	s := style{size: matrixType}
	x := matrixInset
	for class := Classes - 1; class >= 0; class-- {
		w := matrixCell + 6 + measure(t.m.Words[class], sans, matrixType) + 16
		if x > matrixInset && x+w > matrixInset+width {
			x, y = matrixInset, y+matrixCell+5
		}
		b := box{x, y - matrixCell*0.78, x + matrixCell, y + matrixCell*0.22}
		t.rect(tintOf(class), b)
		t.rect("l-rule", b)
		t.glyphs(class, []float64{x + matrixCell/2}, b.y0+matrixCell/2)
		t.text(point{x + matrixCell + 6, y}, s, t.m.Words[class])
		x += w
	}
	words := "The class of a fault alone stands beside its name. Two faults together: go along the row of the lower name to the column of the upper one. Blank: they cannot happen together."
	if len(t.names) < t.total {
		words += fmt.Sprintf(" Shown here: the %d of %d faults that do most.", len(t.names), t.total)
	}
	y = t.paragraph(point{matrixInset, y + matrixCell + 8}, style{face: italic, size: matrixType + 0.5, class: "t-soft"}, min(width, 620), words)
	return y
}

// describe counts the classes.
func (m *Matrix) describe() string {
	var alone, pairs [Classes]int
	for _, f := range m.Faults {
		alone[f.Class]++
	}
	for _, p := range m.Pairs {
		pairs[p.Class]++
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%d faults alone and %d pairs, by harm class. ", len(m.Faults), len(m.Pairs))
	for class := Classes - 1; class >= 0; class-- {
		fmt.Fprintf(&b, "Class %d, %s: %d alone, %d in pairs. ", class, m.Words[class], alone[class], pairs[class])
	}
	return strings.TrimSpace(b.String())
}
