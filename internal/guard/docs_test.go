package guard_test

import (
	"fmt"
	"os"
	"reflect"
	"strings"
	"testing"

	"isohaline/internal/guard"
)

// guide is the reader's guide to this package.
const guide = "../../docs/guard.md"

// TestGuideNamesEverySetting: with its typical value, and every latch by the
// words a person sees.
func TestGuideNamesEverySetting(t *testing.T) {
	text := readGuide(t)
	typical := reflect.ValueOf(guard.Typical())
	for i := range typical.NumField() {
		field := typical.Type().Field(i).Name
		want := fmt.Sprintf("| `%s` | %v |", field, typical.Field(i))
		if strings.HasSuffix(field, "Fitted") {
			want = "`" + field + "`"
		}
		if !strings.Contains(text, want) {
			t.Errorf("%s lacks %q", guide, want)
		}
	}
	for r := range reasonsOf[guard.Latched].All() {
		if want := fmt.Sprintf("| %v |", r); !strings.Contains(text, want) {
			t.Errorf("%s lacks %q", guide, want)
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
