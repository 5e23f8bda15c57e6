package main

import (
	"bufio"
	"io"
	"os"
	"os/exec"
	"testing"
)

// An interrupt ends the program in an orderly way even while it waits for input
// that never comes: with its own exit code, and with what it has computed.
func TestInterrupt(t *testing.T) {
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(exe)
	cmd.Args = []string{"isohaline", "water", "batch"} // testscript.Main goes by the name
	cmd.Env = append(os.Environ(), "GORACE=atexit_sleep_ms=0")
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	said, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	// The bad row is reported at once, so the program is known to be running.
	if _, err := io.WriteString(in, "SP\n0\nsalty\n"); err != nil {
		t.Fatal(err)
	}
	errs := bufio.NewReader(said)
	if _, err := errs.ReadString('\n'); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Skipf("interrupts cannot be sent here: %v", err)
	}
	lines := 0
	for s := bufio.NewScanner(out); s.Scan(); lines++ {
	}
	last, err := io.ReadAll(errs)
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err == nil {
		t.Error("exited with 0")
	}
	if code := cmd.ProcessState.ExitCode(); code != exitInterrupted {
		t.Errorf("exited with %d, want %d", code, exitInterrupted)
	}
	if want := "isohaline: interrupted\n"; string(last) != want {
		t.Errorf("said %q, want %q", last, want)
	}
	if lines != 3 {
		t.Errorf("%d lines came out, want the header and two rows", lines)
	}
}
