package wire

import (
	"os"
	"strings"
	"testing"
)

// The guide is held to the code: every reason and every counter is in it under its
// name. Its messages are tried by internal/server, as a device sends them.
func TestGuide(t *testing.T) {
	data, err := os.ReadFile("../../docs/wire.md")
	if err != nil {
		t.Fatal(err)
	}
	guide := string(data)
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
