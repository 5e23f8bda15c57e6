package tankfile_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"isohaline/internal/problem"
	"isohaline/internal/tankfile"
)

// TestHostileFiles: input made to be dear is refused for what it is.
func TestHostileFiles(t *testing.T) {
	const head = "isohaline: 1\n"
	laughs := "a: &a [x,x,x,x,x,x,x,x,x]\n"
	for c := 'b'; c < 'j'; c++ {
		laughs += fmt.Sprintf("%c: &%c [*%c,*%c,*%c,*%c,*%c,*%c,*%c,*%c]\n", c, c, c-1, c-1, c-1, c-1, c-1, c-1, c-1, c-1)
	}
	blocks := ""
	for i := range 1000 {
		blocks += strings.Repeat(" ", i) + "a:\n"
	}
	for _, c := range []struct{ name, data, want string }{
		{"10 MB", head + strings.Repeat("# a comment\n", 10<<20/12), "more than the 1048576 a tank file may have"},
		{"one byte too many", strings.Repeat("#", 1<<20+1), "more than the 1048576 a tank file may have"},
		{"1 MiB of comment", strings.Repeat("#", 1<<20), "name: is missing"},
		{"1 MiB of keys", strings.Repeat("a:\n", 1<<20/3), "more than the 10000 a tank file may have"},
		{"items", "a: [" + strings.Repeat("a,", 20_000), "more than the 10000 a tank file may have"},
		{"as many keys as allowed", strings.Repeat("a:\n", 4_999), "is not a key of this group"},
		{"aliases that multiply", laughs, "is an anchor"},
		{"brackets", head + "name: " + strings.Repeat("[", 9_000), "is nested more than 12 deep"},
		{"braces", head + "name: " + strings.Repeat("{a: ", 3_000), "is nested more than 12 deep"},
		{"blocks", blocks, "is nested more than 12 deep"},
		{"dashes", strings.Repeat("- ", 9_000) + "a", "is nested more than 12 deep"},
		{"question marks", strings.Repeat("? ", 9_000) + "a", "starts a key of its own shape"},
		{"a long key", strings.Repeat("k", 1<<19) + ": 1\n", "is not a key of this group"},
		{"a long value", head + "name: " + strings.Repeat("v", 1<<19) + "\n", "is too long"},
		{"a long number", head + "water: {temperature: " + strings.Repeat("9", 1<<19) + " °C}\n", "is too long"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, _, err := tankfile.Read("hostile.yaml", []byte(c.data))
			if err == nil || !strings.Contains(err.Error(), c.want) {
				text := fmt.Sprint(err)
				t.Errorf("got %.300s, want %q", text, c.want)
			}
			const mostText = 20 * 1000
			if err != nil && len(err.Error()) > mostText {
				t.Errorf("the message has %d bytes", len(err.Error()))
			}
		})
	}
}

func TestAtMostTwentyProblems(t *testing.T) {
	_, _, err := tankfile.Read("x", []byte(strings.Repeat("a:\n", 100)))
	var problems problem.List
	if !errors.As(err, &problems) || len(problems) != 20 {
		t.Errorf("got %d problems, want 20", len(problems))
	}
}

// TestLineEnds: a file from a Windows editor, with a byte order mark and CRLF,
// means the same and has its problems in the same places.
func TestLineEnds(t *testing.T) {
	s, data := readExample(t, "reading-room.yaml")
	windows := append([]byte("\ufeff"), bytes.ReplaceAll(data, []byte("\n"), []byte("\r\n"))...)
	got, _, err := tankfile.Read("reading-room.yaml", windows)
	if diff := cmp.Diff(s, got, cmpopts.EquateNaNs()); diff != "" || err != nil {
		t.Errorf("%v (-unix +windows):\n%s", err, diff)
	}
	data, err = os.ReadFile("testdata/bad/everything.yaml")
	if err != nil {
		t.Fatal(err)
	}
	_, _, want := tankfile.Read("x", data)
	_, _, err = tankfile.Read("x", bytes.ReplaceAll(data, []byte("\n"), []byte("\r\n")))
	if diff := cmp.Diff(want.Error(), err.Error()); diff != "" {
		t.Errorf("-unix +windows:\n%s", diff)
	}
}

// FuzzRead: no bytes make Read panic, and what it accepts it can write and read
// back unchanged.
func FuzzRead(f *testing.F) {
	for _, pattern := range []string{"testdata/bad/*.yaml", "testdata/warn/*.yaml", examples + "/*.yaml"} {
		files, _ := filepath.Glob(pattern)
		for _, file := range files {
			data, err := os.ReadFile(file)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		s, _, err := tankfile.Read("fuzz", data)
		if err != nil {
			var problems problem.List
			if !errors.As(err, &problems) || len(problems) == 0 || len(problems) > 20 || s != nil {
				t.Errorf("error %v with tank %v", err, s)
			}
			return
		}
		again(t, s)
	})
}

// again writes a tank and reads it back.
func again(t interface {
	Helper()
	Fatalf(string, ...any)
}, s *tankfile.Tank) {
	t.Helper()
	data, err := tankfile.Write(s)
	if err != nil {
		t.Fatalf("writing: %v", err)
	}
	got, _, err := tankfile.Read("again", data)
	if err != nil {
		t.Fatalf("reading back: %v\n%s", err, data)
	}
	if diff := cmp.Diff(s, got, cmpopts.EquateNaNs()); diff != "" {
		t.Fatalf("-written +read:\n%s\n%s", diff, data)
	}
}
