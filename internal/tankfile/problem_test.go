package tankfile_test

import (
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"isohaline/internal/problem"
	"isohaline/internal/tankfile"
)

var update = flag.Bool("update", false, "write the golden files again")

// golden compares with the file beside a test's input.
func golden(t *testing.T, path, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s (-want +got):\n%s", path, diff)
	}
}

// eachFile tries the files of a folder of testdata; what got says of one is held
// to the text beside it.
func eachFile(t *testing.T, folder string, got func(t *testing.T, name string, data []byte) string) {
	t.Helper()
	files, _ := filepath.Glob(filepath.Join("testdata", folder, "*.yaml"))
	if len(files) == 0 {
		t.Fatal("no files")
	}
	for _, file := range files {
		plain := strings.TrimSuffix(file, ".yaml")
		t.Run(filepath.Base(plain), func(t *testing.T) {
			data, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			golden(t, plain+".txt", got(t, filepath.Base(file), data))
		})
	}
}

// TestProblems: each file in testdata/bad is refused with exactly the message
// beside it.
func TestProblems(t *testing.T) {
	eachFile(t, "bad", func(t *testing.T, name string, data []byte) string {
		s, warnings, err := tankfile.Read(name, data)
		if err == nil || s != nil || warnings != nil {
			t.Fatalf("read it: %v, %v, %v", s, warnings, err)
		}
		var problems problem.List
		if !errors.As(err, &problems) {
			t.Fatalf("error is a %T", err)
		}
		lines := strings.Count(string(data), "\n") + 1
		for i, p := range problems {
			if p.File != name || p.Line < 1 || p.Line > lines || p.Column < 1 || p.Why == "" || p.Fix == "" {
				t.Errorf("incomplete: %#v", p)
			}
			if i > 0 && p.Line < problems[i-1].Line {
				t.Errorf("line %d follows line %d", p.Line, problems[i-1].Line)
			}
		}
		return err.Error() + "\n"
	})
}

// TestWarnings: each file in testdata/warn reads, with exactly these warnings.
func TestWarnings(t *testing.T) {
	eachFile(t, "warn", func(t *testing.T, name string, data []byte) string {
		_, warnings, err := tankfile.Read(name, data)
		if err != nil {
			t.Fatal(err)
		}
		var b strings.Builder
		for _, w := range warnings {
			b.WriteString(w.Error() + "\n")
		}
		return b.String()
	})
}
