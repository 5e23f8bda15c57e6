package problem

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"
)

func TestError(t *testing.T) {
	for want, p := range map[string]Problem{
		`lobby.yaml:7:3: room.air: "24" has no unit; write 24 °C`:    {File: "lobby.yaml", Line: 7, Column: 3, Field: "room.air", Value: "24", Why: "has no unit", Fix: "write 24 °C"},
		`line 4: SP: "60" is outside 0 to 42`:                        {Line: 4, Field: "SP", Value: "60", Why: "is outside 0 to 42"},
		`row 3: column 2 (Temp): "hot" is no number; send digits`:    {Row: 3, Column: 2, Field: "Temp", Value: "hot", Why: "is no number", Fix: "send digits"},
		`row 3: has a quotation mark where none can be`:              {Row: 3, Why: "has a quotation mark where none can be"},
		`column 2: "x" is no use of a column`:                        {Column: 2, Value: "x", Why: "is no use of a column"},
		`record 2: bn: "a b" is no name; send letters`:               {Record: 2, Field: "bn", Value: "a b", Why: "is no name", Fix: "send letters"},
		`say \"level\n\": is none of this device`:                    {Field: "say \"level\n\"", Why: "is none of this device"},
		`"` + strings.Repeat("é", maxShown) + `…" is too long; less`: {Value: strings.Repeat("é", maxShown+1), Why: "is too long", Fix: "less"},
	} {
		if got := p.Error(); got != want {
			t.Errorf("got  %s\nwant %s", got, want)
		}
	}
}

func TestListIsFoundInAnError(t *testing.T) {
	list := List{{Field: "a", Why: "is bad"}, {Field: "b", Why: "is worse"}}
	err := fmt.Errorf("reading: %w", list)
	var all List
	var first *Problem
	if !errors.As(err, &all) || len(all) != 2 || !errors.As(err, &first) || first.Field != "a" {
		t.Fatalf("found %v and %v", all, first)
	}
	if got, want := list.Error(), "a: is bad\nb: is worse"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func FuzzShown(f *testing.F) {
	f.Add("312 mm")
	f.Add("\xff\xfe")
	f.Fuzz(func(t *testing.T, value string) {
		got := Shown(value)
		if !utf8.ValidString(got) || utf8.RuneCountInString(got) > maxShown+1 {
			t.Fatalf("%q is shown as %q", value, got)
		}
		if line := (&Problem{Field: value, Value: value, Why: "is"}).Error(); strings.ContainsAny(line, "\n\r\x00") {
			t.Fatalf("%q is not one line: %q", value, line)
		}
	})
}
