package wire

import (
	"os"
	"regexp"
	"strings"
	"testing"
)

// The guide is held to the code: its examples are accepted, every reason and every
// counter is in it under its name.
func TestGuide(t *testing.T) {
	data, err := os.ReadFile("../../docs/wire.md")
	if err != nil {
		t.Fatal(err)
	}
	guide := string(data)
	examples := regexp.MustCompile("(?s)```json\n(.*?)```").FindAllStringSubmatch(guide, -1)
	if len(examples) < 2 {
		t.Errorf("the guide has %d examples", len(examples))
	}
	for _, example := range examples {
		if _, err := ReadBody(lobby, testProfile, []byte(example[1]), arrival); err != nil {
			t.Errorf("%s\nis refused: %v", example[1], err)
		}
	}
	for r := range reasons {
		if !strings.Contains(guide, "| `"+r.String()+"` |") {
			t.Errorf("reason %v is not in the guide", r)
		}
	}
	for _, f := range gathered(t, new(DoorCounters), new(LogCounters)) {
		if !strings.Contains(guide, "`"+f.GetName()+"`") {
			t.Errorf("counter %s is not in the guide", f.GetName())
		}
	}
}
