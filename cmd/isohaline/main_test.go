package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"isohaline/internal/longtest"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"isohaline": main})
}

// TestScripts runs the program as a person would: each script in testdata is a
// story of command lines with what they must print and exit with.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup: func(env *testscript.Env) error {
			// Under the race detector every program would linger for a second.
			env.Setenv("GORACE", "atexit_sleep_ms=0")
			examples, err := filepath.Abs("../../examples")
			env.Setenv("EXAMPLES", examples)
			return err
		},
		Condition: func(word string) (bool, error) {
			if word != "long" {
				return false, fmt.Errorf("no condition %q", word)
			}
			return longtest.Asked(), nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"exits": exits, "replace": replace, "awaits": awaits},
	})
}

// exits is exec for a command that must exit with a code: exits 2 isohaline new.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits code command [args...]")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec(args[1], args[2:]...)
	got := 0
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		got = exit.ExitCode()
	} else {
		ts.Check(err)
	}
	if got != want {
		ts.Fatalf("%q exited with %d, want %d", args[1:], got, want)
	}
}

// awaits waits until a program in the background has made a file: awaits file.
func awaits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: awaits file")
	}
	const pause, tries = 50 * time.Millisecond, 1200
	for range tries {
		if _, err := os.Stat(ts.MkAbs(args[0])); err == nil {
			return
		}
		time.Sleep(pause)
	}
	ts.Fatalf("%s does not come", args[0])
}

// replace changes the only place of a text in a file: replace site.yaml old new.
func replace(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: replace file old new")
	}
	text := ts.ReadFile(args[0])
	if n := strings.Count(text, args[1]); n != 1 {
		ts.Fatalf("%s has %q %d times", args[0], args[1], n)
	}
	text = strings.Replace(text, args[1], args[2], 1)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(text), 0o644))
}
