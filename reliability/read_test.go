package reliability

import (
	"bytes"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
)

func TestRead(t *testing.T) {
	const text = `{"models": {
		"one": {
			"top": "T", "source": "s", "note": "n", "mission_h": 100,
			"gates": {"T": "(A & B) | atleast(2, A, C-1, (x.y | d:e))", "U": "A", "V": "(A | atleast)"},
			"p": {"B": 0.5, "A": 1e-3},
			"rates_per_h": {"C-1": 1e-5}, "rates": {"x.y": "876 FIT"},
			"house": {"atleast": true},
			"ccf_groups": {"G": {"members": ["d:e", "é"], "p_total": 0.1, "beta": 0.2}}
		},
		"two": {"top": "A", "p": {"A": 0}}
	}}`
	want := []Model{{
		Name: "one", Source: "s", Note: "n", Top: "T", MissionH: 100,
		Gates: []Gate{
			{Name: "T", Kind: Or, Inputs: []string{"T#1", "T#2"}},
			{Name: "T#1", Kind: And, Inputs: []string{"A", "B"}},
			{Name: "T#3", Kind: Or, Inputs: []string{"x.y", "d:e"}},
			{Name: "T#2", Kind: AtLeast, K: 2, Inputs: []string{"A", "C-1", "T#3"}},
			{Name: "U", Kind: Or, Inputs: []string{"A"}},
			{Name: "V", Kind: Or, Inputs: []string{"A", "atleast"}},
		},
		Events: []Event{{Name: "B", Prob: 0.5}, {Name: "A", Prob: 1e-3}, {Name: "C-1", Rate: 1e-5}, {Name: "x.y", Rate: 876e-9}},
		House:  []House{{"atleast", true}},
		Groups: []BetaGroup{{"G", []string{"d:e", "é"}, 0.1, 0.2}},
	}, {
		Name: "two", Top: "A", Events: []Event{{Name: "A"}},
	}}
	got, err := Read(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
	for _, m := range got {
		compile(t, m)
	}
}

func TestRefusedFiles(t *testing.T) {
	model := func(body string) string { return "{\"models\": {\n\"m\": {" + body + "}}}" }
	gate := func(expression string) string { return model(fmt.Sprintf("\n\"gates\": {\"G\": %q}", expression)) }
	rows := []struct{ name, text, place, problem string }{
		{"nothing", "", "line 1", "EOF"},
		{"cut off", `{"models": {`, "line 1", "EOF"},
		{"not an object", `[]`, "line 1", "not an object"},
		{"more after the end", `{} {}`, "line 1", "more after"},
		{"unknown key", `{"tree": 1}`, "line 1, tree", "unknown"},
		{"unknown key of a model", model(`"prob": 1`), "line 2, models / m / prob", "unknown"},
		{"unknown key of a group", model(`"ccf_groups": {"c": {"p": 1}}`), "models / m / ccf_groups / c / p", "unknown"},
		{"event twice", model(`"p": {"A": 0.1,` + "\n" + `"A": 0.2}`), "line 3, models / m / p / A", "twice"},
		{"probability in quotes", model(`"p": {"A": "0.1"}`), "models / m / p / A", "not a number"},
		{"number too large", model(`"p": {"A": 1e999}`), "models / m / p / A", "1e999"},
		{"text without quotes", model(`"top": 1`), "models / m / top", "not text"},
		{"house event in words", model(`"house": {"A": "yes"}`), "models / m / house / A", "not true or false"},
		{"members not a list", model(`"ccf_groups": {"c": {"members": "a"}}`), "models / m / ccf_groups / c / members", "not a list"},
		{"member not a name", model(`"ccf_groups": {"c": {"members": [1]}}`), "models / m / ccf_groups / c / members", "not text"},
		{"rate without a unit", model(`"rates": {"A": 1e-5}`), "models / m / rates / A", "1e-5\" has no unit"},
		{"rate in quotes without a unit", model(`"rates": {"A": "1e-5"}`), "models / m / rates / A", "no unit"},
		{"rate with an unknown unit", model(`"rates": {"A": "1e-5 per moon"}`), "models / m / rates / A", "per moon"},
		{"no expression", gate(""), "line 3, models / m / gates / G", "ends where a name"},
		{"operator at the end", gate("A |"), "gates / G", "ends where a name"},
		{"operator at the start", gate("& A"), "gates / G", `"&" stands where a name`},
		{"two names", gate("A B"), "gates / G", `unexpected "B"`},
		{"and beside or", gate("A & B | C"), "gates / G", "need parentheses"},
		{"or beside and", gate("A | B & C"), "gates / G", "need parentheses"},
		{"not", gate("!A"), "gates / G", `"!" stands where a name`},
		{"open parenthesis", gate("(A | B"), "gates / G", `ends where ")"`},
		{"closed parenthesis", gate("A)"), "gates / G", `unexpected ")"`},
		{"wrong bracket", gate("(A]"), "gates / G", `"]" stands where ")"`},
		{"k not a number", gate("atleast(A, B)"), "gates / G", `"A" stands where atleast`},
		{"k out of reach", gate("atleast(99999999999999999999, B)"), "gates / G", "stands where atleast"},
		{"too deep", gate(strings.Repeat("(", maxNesting+1) + "A"), "gates / G", "deep"},
	}
	for _, r := range rows {
		_, err := Read(strings.NewReader(r.text))
		wantRefusal(t, r.name, err, r.place, r.problem)
	}
	_, err := Read(bytes.NewReader(make([]byte, maxModelBytes+1)))
	wantRefusal(t, "too large", err, "file", "larger")
	broken := errors.New("disk on fire")
	if _, err := Read(failingReader{broken}); !errors.Is(err, broken) {
		t.Errorf("reading failed with %v", err)
	}
}

type failingReader struct{ err error }

func (r failingReader) Read([]byte) (int, error) { return 0, r.err }

// FuzzRead: whatever is read is refused or is a tree; where both methods fit
// their limits, they agree about it.
func FuzzRead(f *testing.F) {
	f.Add([]byte(`{"models": {"m": {"top": "T", "gates": {"T": "A & (B | atleast(2, A, C, D))"}, "p": {"A": 0.1, "B": 1}, "house": {"C": true}, "rates": {"D": "1 per year"}, "mission_h": 10}}}`))
	f.Add([]byte(`{"models": {"m": {"top": "M", "ccf_groups": {"G": {"members": ["M", "N"], "p_total": 0.1, "beta": 0.2}}}}}`))
	f.Add([]byte(`{"models": {"m": {"top": "T", "gates": {"T": "U", "U": "T"}}}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		models, err := Read(bytes.NewReader(data))
		if err != nil {
			var refused *InputError
			if !errors.As(err, &refused) || refused.Fix == "" {
				t.Fatalf("refused without a fix: %v", err)
			}
			return
		}
		for _, m := range models {
			tree, err := NewTree(m)
			if err != nil {
				continue
			}
			d, err := tree.Compile(10_000)
			if err != nil {
				continue
			}
			sets, err := tree.ExpandCutSets(200)
			if err != nil {
				continue
			}
			// Below 1e-300 floats run out of digits.
			if exact, err := sets.Exact(10_000); err == nil && !near(exact, d.Probability()) && max(exact, d.Probability()) > 1e-300 {
				t.Fatalf("%v by diagram, %v by disjoint products", d.Probability(), exact)
			}
			byDiagram, err := d.MinimalCutSets(len(sets.Sets))
			if err != nil || setsText(byDiagram) != setsText(sets) {
				t.Fatalf("the cut sets differ: %v", err)
			}
		}
	})
}
