package chart

import "math"

// contour is the path data of the smoothed outline of the cells of an n × n
// grid that are in: closed loops with their corners rounded, like a contour on
// a chart.
//
// Every side between a cell that is in and one that is not is an edge, directed
// so that the cell lies on its right; edges chain into loops. Where two cells
// touch at a corner only, the outline turns right and keeps them apart.
func contour(in func(row, column int) bool, n int, origin point, cell float64) string {
	type corner struct{ x, y int }
	type edge struct{ from, to corner }
	var edges []edge
	leaving := map[corner][]int{}
	add := func(from, to corner) {
		leaving[from] = append(leaving[from], len(edges))
		edges = append(edges, edge{from, to})
	}
	for y := range n {
		for x := range n {
			if !in(y, x) {
				continue
			}
			if !in(y-1, x) {
				add(corner{x, y}, corner{x + 1, y})
			}
			if !in(y, x+1) {
				add(corner{x + 1, y}, corner{x + 1, y + 1})
			}
			if !in(y+1, x) {
				add(corner{x + 1, y + 1}, corner{x, y + 1})
			}
			if !in(y, x-1) {
				add(corner{x, y + 1}, corner{x, y})
			}
		}
	}
	used := make([]bool, len(edges))
	next := func(e edge) int {
		dx, dy := e.to.x-e.from.x, e.to.y-e.from.y
		best, bestTurn := -1, 2
		for _, i := range leaving[e.to] {
			if used[i] {
				continue
			}
			ex, ey := edges[i].to.x-edges[i].from.x, edges[i].to.y-edges[i].from.y
			// y grows downward: a positive cross product is a right turn.
			if turn := -(dx*ey - dy*ex); turn < bestTurn {
				best, bestTurn = i, turn
			}
		}
		return best
	}
	d := ""
	for first := range edges {
		if used[first] {
			continue
		}
		var loop []point
		for i := first; i >= 0 && !used[i]; i = next(edges[i]) {
			used[i] = true
			from := edges[i].from
			loop = append(loop, point{origin.x + float64(from.x)*cell, origin.y + float64(from.y)*cell})
		}
		d += smoothLoop(loop, cell*0.42)
	}
	return d
}

// smoothLoop is a closed path through points with each corner rounded.
func smoothLoop(loop []point, radius float64) string {
	n := len(loop)
	d := ""
	for i, p := range loop {
		before, after := loop[(i+n-1)%n], loop[(i+1)%n]
		if math.Abs((p.x-before.x)*(after.y-p.y)-(p.y-before.y)*(after.x-p.x)) < 1e-9 {
			continue // straight on
		}
		a, b := toward(p, before, radius), toward(p, after, radius)
		move := "L"
		if d == "" {
			move = "M"
		}
		d += move + num(a.x) + " " + num(a.y) + "Q" + num(p.x) + " " + num(p.y) + " " + num(b.x) + " " + num(b.y)
	}
	return d + "Z"
}
