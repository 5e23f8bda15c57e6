package chart

import "slices"

// slot is one label in a column: where its middle would like to be, how high it
// is, and where it ends up.
type slot struct {
	want, height, at float64
}

// spread places labels in a column from lo to hi, in the order of what they
// want, without overlap and with the least sum of squared shifts. It is
// isotonic regression: labels that push each other form a block, and a block
// stands where its members want on average (pool adjacent violators; Barlow et
// al. 1972). If the column is too short the labels start at lo and run past hi:
// the caller has to see that there is room.
func spread(slots []slot, lo, hi float64) {
	order := make([]int, len(slots))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch d := slots[a].want - slots[b].want; {
		case d < 0:
			return -1
		case d > 0:
			return 1
		}
		return 0
	})
	// A block keeps its members in order; top is where its first begins.
	type block struct {
		members            []int
		top, height, wants float64 // wants: sum of the tops each member wants for the block
	}
	settle := func(b *block) {
		b.top = b.wants / float64(len(b.members))
		b.top = max(lo, min(b.top, hi-b.height))
	}
	var blocks []block
	for _, i := range order {
		s := &slots[i]
		b := block{members: []int{i}, height: s.height, wants: s.want - s.height/2}
		settle(&b)
		for len(blocks) > 0 {
			last := &blocks[len(blocks)-1]
			if last.top+last.height <= b.top {
				break
			}
			last.wants += b.wants - float64(len(b.members))*last.height
			last.members = append(last.members, b.members...)
			last.height += b.height
			b = *last
			blocks = blocks[:len(blocks)-1]
			settle(&b)
		}
		blocks = append(blocks, b)
	}
	for _, b := range blocks {
		top := b.top
		for _, i := range b.members {
			slots[i].at = top + slots[i].height/2
			top += slots[i].height
		}
	}
}

// sumHeights is what a column of labels needs.
func sumHeights(slots []slot) float64 {
	sum := 0.0
	for _, s := range slots {
		sum += s.height
	}
	return sum
}
