package chart

import (
	"strings"
	"unicode/utf8"
)

// face is a face as the style sheet has it.
type face uint8

const (
	sans face = iota
	bold
	serif // and its italic, which is as wide
	italic
)

// class is the face's class in the style sheet.
func (f face) class() string { return [...]string{"", "bold", "serif", "italic"}[f] }

// advances are the widths of the characters from space to tilde, in
// thousandths of the type size.
//
// Source: the advance widths in the hmtx tables of DejaVu Sans, DejaVu Sans
// Bold and DejaVu Serif, version 2.37, rounded. They are the widest faces that
// the style sheet names, so text never needs more room than measured.
var advances = [...][95]float64{
	sans: {
		318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361, 318, 337, 636, 636, 636,
		636, 636, 636, 636, 636, 636, 636, 337, 337, 838, 838, 838, 531, 1000, 684, 686, 698, 770, 632,
		575, 775, 752, 295, 295, 656, 557, 863, 748, 787, 603, 787, 695, 635, 611, 732, 684, 989, 685,
		611, 685, 390, 337, 390, 838, 500, 500, 613, 635, 550, 635, 615, 352, 635, 634, 278, 278, 579,
		278, 974, 634, 612, 635, 635, 411, 521, 392, 634, 592, 818, 592, 592, 525, 636, 337, 636, 838,
	},
	bold: {
		348, 456, 521, 838, 696, 1002, 872, 306, 457, 457, 523, 838, 380, 415, 380, 365, 696, 696, 696,
		696, 696, 696, 696, 696, 696, 696, 400, 400, 838, 838, 838, 580, 1000, 774, 762, 734, 830, 683,
		683, 821, 837, 372, 372, 775, 637, 995, 837, 850, 733, 850, 770, 720, 682, 812, 774, 1103, 771,
		724, 725, 457, 365, 457, 838, 500, 500, 675, 716, 593, 716, 678, 435, 716, 712, 343, 343, 665,
		343, 1042, 712, 687, 716, 716, 493, 595, 478, 712, 652, 924, 645, 652, 582, 712, 365, 712, 838,
	},
	serif: {
		318, 402, 460, 838, 636, 950, 890, 275, 390, 390, 500, 838, 318, 338, 318, 337, 636, 636, 636,
		636, 636, 636, 636, 636, 636, 636, 337, 337, 838, 838, 838, 536, 1000, 722, 735, 765, 802, 730,
		694, 799, 872, 395, 401, 747, 664, 1024, 875, 820, 673, 820, 753, 685, 667, 843, 722, 1028, 712,
		660, 695, 390, 337, 390, 838, 500, 500, 596, 640, 560, 640, 592, 370, 640, 644, 320, 310, 606,
		320, 948, 644, 602, 640, 640, 478, 513, 402, 644, 565, 856, 564, 565, 527, 636, 337, 636, 838,
	},
}

// otherAdvance is taken for every other character: that of the widest signs in
// use here (×, ±, ½).
const otherAdvance = 1000

// measure is the width of a line of text at a type size.
func measure(text string, f face, size float64) float64 {
	table := &advances[min(f, serif)]
	sum := 0.0
	for _, r := range text {
		if r >= ' ' && r <= '~' {
			sum += table[r-' ']
		} else {
			sum += otherAdvance
		}
	}
	return sum * size / 1000
}

// wrap breaks text into lines no wider than width: between words, and within a
// word that is wider than a line.
func wrap(text string, f face, size, width float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		for measure(word, f, size) > width && utf8.RuneCountInString(word) > 1 {
			if line != "" {
				lines, line = append(lines, line), ""
			}
			head := fitting(word, f, size, width)
			lines, word = append(lines, head), word[len(head):]
		}
		longer := word
		if line != "" {
			longer = line + " " + word
		}
		if line != "" && measure(longer, f, size) > width {
			lines = append(lines, line)
			longer = word
		}
		line = longer
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// fitting is how much of a word that is too wide fits: at least one character.
func fitting(word string, f face, size, width float64) string {
	_, end := utf8.DecodeRuneInString(word)
	for i := range word {
		if measure(word[:i], f, size) > width {
			break
		}
		end = max(end, i)
	}
	return word[:end]
}

// widest is the width of the widest line.
func widest(lines []string, f face, size float64) float64 {
	w := 0.0
	for _, l := range lines {
		w = max(w, measure(l, f, size))
	}
	return w
}
