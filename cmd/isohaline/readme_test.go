package main

import (
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write what the program prints now into README")

const readme = "../../README.md"

// consoleBlock is a shell session in the README: a command line after "$ " and
// what it prints.
var consoleBlock = regexp.MustCompile("(?s)```console\n\\$ ([^\n]*)\n(.*?)```")

// TestREADME runs the shell sessions of the README. What they show is what the
// program prints; go test ./cmd/isohaline -run README -update shows it anew.
func TestREADME(t *testing.T) {
	text, err := os.ReadFile(readme)
	if err != nil {
		t.Fatal(err)
	}
	if !consoleBlock.Match(text) {
		t.Fatal("README shows no session")
	}
	folder, env := sessionFolder(t)
	shown := consoleBlock.ReplaceAllFunc(text, func(block []byte) []byte {
		command := string(consoleBlock.FindSubmatch(block)[1])
		sh := exec.Command("sh", "-c", command)
		sh.Dir, sh.Env = folder, env
		out, _ := sh.CombinedOutput() // exit codes are for the scripts to test
		return []byte("```console\n$ " + command + "\n" + string(out) + "```")
	})
	if string(shown) == string(text) {
		return
	}
	if !*update {
		t.Fatalf("README does not show what the program prints; see go test ./cmd/isohaline -run README -update\n%s", firstDifference(string(text), string(shown)))
	}
	if err := os.WriteFile(readme, shown, 0o644); err != nil {
		t.Fatal(err)
	}
}

// sessionFolder is a folder as the README has it in mind: with the examples, and
// with this program on the path.
func sessionFolder(t *testing.T) (folder string, env []string) {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	examples, err := filepath.Abs("../../examples")
	if err != nil {
		t.Fatal(err)
	}
	folder, bin := t.TempDir(), t.TempDir()
	for link, target := range map[string]string{
		filepath.Join(folder, "examples"): examples,
		filepath.Join(bin, "isohaline"):   exe, // testscript.Main goes by the name
	} {
		if err := os.Symlink(target, link); err != nil {
			t.Skipf("no symbolic links here: %v", err)
		}
	}
	return folder, append(os.Environ(), "PATH="+bin+string(os.PathListSeparator)+os.Getenv("PATH"), "GORACE=atexit_sleep_ms=0")
}

func firstDifference(a, b string) string {
	as, bs := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range min(len(as), len(bs)) {
		if as[i] != bs[i] {
			return "README: " + as[i] + "\nnow:    " + bs[i]
		}
	}
	return "one is longer"
}

// TestREADMELinks: what the README points at is there.
func TestREADMELinks(t *testing.T) {
	text, err := os.ReadFile(readme)
	if err != nil {
		t.Fatal(err)
	}
	links := regexp.MustCompile(`\]\(([^)#:]+)\)`).FindAllStringSubmatch(string(text), -1)
	if len(links) == 0 {
		t.Fatal("README points at nothing")
	}
	for _, link := range links {
		if _, err := os.Stat(filepath.Join("../..", link[1])); err != nil {
			t.Errorf("README points at %s: %v", link[1], err)
		}
	}
}
