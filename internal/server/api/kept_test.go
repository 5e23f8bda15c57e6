package api

import (
	"errors"
	"strconv"
	"testing"
)

// TestKept: what was worked out of a text is not worked out again, an error is, and
// the oldest gives way.
func TestKept(t *testing.T) {
	var k kept[int]
	worked := 0
	ask := func(text string) int {
		n, err := k.answer(text, func() (int, error) { worked++; return len(text), nil })
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	first, second := ask("a tank"), ask("a tank")
	if first != 6 || second != 6 || worked != 1 {
		t.Errorf("worked out %d times", worked)
	}
	refused := errors.New("no")
	if _, err := k.answer("another", func() (int, error) { return 0, refused }); !errors.Is(err, refused) {
		t.Error(err)
	}
	if ask("another") != 7 {
		t.Error("an error was kept")
	}
	for i := range keptMost {
		ask(strconv.Itoa(i))
	}
	before := worked
	if ask(strconv.Itoa(keptMost - 1)); worked != before {
		t.Error("the newest was forgotten")
	}
	if ask("a tank"); worked != before+1 || len(k.of) != keptMost || len(k.order) != keptMost {
		t.Errorf("%d are kept in the order of %d", len(k.of), len(k.order))
	}
}
