package main

import (
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"
)

var update = flag.Bool("update", false, "write what the program prints now into README")

const readme = "../../README.md"

// consoleBlock is a shell session in the README: a command line after "$ " and
// what it prints.
var consoleBlock = regexp.MustCompile("(?s)```console\n\\$ ([^\n]*)\n(.*?)```")

// TestREADME runs the shell sessions of the README. What they show is what the
// program prints; go test ./cmd/isohaline -run README -update shows it again.
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

// shellBlock is commands to copy, and inlineCommand one in a sentence.
var (
	shellBlock    = regexp.MustCompile("(?s)```sh\n(.*?)```")
	inlineCommand = regexp.MustCompile("`((?:isohaline|make|npm run) [^`]+)`")
)

// TestCommandsOfGuides: the program takes every command line of its own that a guide
// shows, with its flags; make and npm know their targets; the replays are run, on the
// recording of their script.
func TestCommandsOfGuides(t *testing.T) {
	guides, err := filepath.Glob("../../docs/*.md")
	if err != nil {
		t.Fatal(err)
	}
	scripts, err := os.ReadFile("../../web/package.json")
	if err != nil {
		t.Fatal(err)
	}
	folder, env := sessionFolder(t)
	recording, err := txtar.ParseFile("testdata/script/replay.txtar")
	if err != nil {
		t.Fatal(err)
	}
	if err := txtar.Write(recording, folder); err != nil {
		t.Fatal(err)
	}
	tried := map[string]int{}
	for _, guide := range append(guides, readme, "../../CONTRIBUTING.md") {
		text, err := os.ReadFile(guide)
		if err != nil {
			t.Fatal(err)
		}
		var lines []string
		for _, block := range shellBlock.FindAllStringSubmatch(string(text), -1) {
			lines = append(lines, strings.Split(block[1], "\n")...)
		}
		for _, inline := range inlineCommand.FindAllStringSubmatch(string(text), -1) {
			lines = append(lines, strings.ReplaceAll(inline[1], "\n", " "))
		}
		for _, line := range lines {
			line, _, _ = strings.Cut(line, " #")
			words := strings.Fields(line)
			if len(words) < 2 {
				continue
			}
			dir := folder
			switch {
			case words[0] == "isohaline" && words[1] == "replay" && !strings.Contains(line, "["):
			case words[0] == "isohaline":
				line += " --help"
			case words[0] == "make":
				dir, line = "../..", "make -n "+strings.Join(words[1:], " ")
			case words[0] == "npm" && words[1] == "run":
				if !strings.Contains(string(scripts), `"`+words[2]+`":`) {
					t.Errorf("%s: %s: no such script in web/package.json", guide, line)
				}
				continue
			default:
				continue
			}
			tried[words[0]]++
			sh := exec.Command("sh", "-c", line)
			sh.Dir, sh.Env = dir, env
			if out, err := sh.CombinedOutput(); err != nil {
				t.Errorf("%s: %s: %v\n%s", guide, line, err, out)
			}
		}
	}
	if tried["isohaline"] < 20 || tried["make"] < 3 {
		t.Errorf("only %v were tried", tried)
	}
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
