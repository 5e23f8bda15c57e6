package account_test

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"isohaline/internal/account"
	"isohaline/internal/account/suspicion"
)

// guide is the reader's guide to this package.
const guide = "../../docs/account.md"

var (
	guideHeading  = regexp.MustCompile("(?m)^### `([^`]+)`$")
	guideSentence = regexp.MustCompile(`(?m)^> (.+)$`)
)

// TestGuideNamesEveryFinding: each code has its section, in the order of Codes,
// no section is of a code that does not exist, and the sentence in it is one that
// a story tells.
func TestGuideNamesEveryFinding(t *testing.T) {
	text := readGuide(t)
	var sections []account.Code
	for _, m := range guideHeading.FindAllStringSubmatch(text, -1) {
		sections = append(sections, account.Code(m[1]))
	}
	if !slices.Equal(sections, account.Codes()) {
		t.Errorf("%s has sections for %v, want %v", guide, sections, account.Codes())
	}
	told := toldByStories(t)
	for i, part := range guideHeading.Split(text, -1)[1:] {
		said := guideSentence.FindStringSubmatch(part)
		if said == nil || told[said[1]] != sections[i] {
			t.Errorf("%s: no story tells of %s what its section quotes: %q", guide, sections[i], said)
		}
	}
}

// toldByStories is every sentence of a finding that begins, with its code.
func toldByStories(t *testing.T) map[string]account.Code {
	files, err := filepath.Glob("testdata/stories/*.txt")
	if err != nil {
		t.Fatal(err)
	}
	told := map[string]account.Code{}
	for _, file := range files {
		st, err := readStory(file)
		if err != nil {
			t.Fatal(err)
		}
		a := newAccount(t, st.site, st.settings)
		s := a.Begin(start)
		for _, f := range append(feed(t, a, &s, st.all), a.Advance(&s, start.Add(st.end+account.ReorderWindow))...) {
			told[f.Sentence] = f.Code
		}
	}
	return told
}

// hypothesisWords are the guide's words for what may have changed.
var hypothesisWords = [suspicion.Hypotheses]string{
	suspicion.Air: "the air", suspicion.Leak: "a leak", suspicion.Split: "litres right, salt wrong", suspicion.PumpFlow: "the pump's flow",
	suspicion.LowerLevel: "the watch sensor's lower level", suspicion.UpperLevel: "the watch sensor's upper level",
	suspicion.SaltStep: "salt at once, or its instrument", suspicion.GaugeZero: "the gauge's zero",
	suspicion.WatchLevel: "the watch sensor against the gauge", suspicion.HandWater: "water by hand",
}

// TestGuideNamesEveryObservation: by its word, and every test by its threshold.
func TestGuideNamesEveryObservation(t *testing.T) {
	text := readGuide(t)
	for k := account.Kind(1); k <= account.Heartbeat; k++ {
		if !strings.Contains(text, "`"+k.String()+"`") {
			t.Errorf("%s lacks the observation %v", guide, k)
		}
	}
	for h, threshold := range suspicion.Thresholds {
		row := fmt.Sprintf("| %s | %g |", hypothesisWords[h], threshold)
		if !strings.Contains(text, "\n"+row) {
			t.Errorf("%s lacks a row %q", guide, row)
		}
	}
}

func readGuide(t *testing.T) string {
	text, err := os.ReadFile(guide)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
