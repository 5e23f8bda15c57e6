package server

import (
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"isohaline/internal/server/api"
)

// examples are the blocks of a language in a page of the reader's guide.
func examples(t *testing.T, page, language string, want int) []string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("../../docs", page))
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, m := range regexp.MustCompile("(?s)```"+language+"\n(.*?)```").FindAllStringSubmatch(string(text), -1) {
		out = append(out, m[1])
	}
	if len(out) != want {
		t.Fatalf("docs/%s has %d examples of %s, want %d", page, len(out), language, want)
	}
	return out
}

// TestWireGuide: the messages in docs/wire.md are taken from a device as it is made.
func TestWireGuide(t *testing.T) {
	h := furnished(t)
	made := h.newHead()
	own := strings.TrimSuffix(strings.TrimPrefix(made.Topic, "isohaline/"), "/readings")
	for _, message := range examples(t, "wire.md", "json", 2) {
		post(t, h, made, strings.Replace(message, "lobby/sump-1", own, 1), http.StatusOK)
	}
	eventually(t, "the level", func() bool { return h.level() == 0.312 })
}

// TestRecordsGuide runs the commands in docs/records.md on the table there.
func TestRecordsGuide(t *testing.T) {
	if _, err := exec.LookPath("curl"); err != nil {
		t.Skip("curl is not here")
	}
	h := furnished(t)
	folder := t.TempDir()
	table := examples(t, "records.md", "csv", 1)[0]
	if err := os.WriteFile(filepath.Join(folder, "june.csv"), []byte(table), 0o600); err != nil {
		t.Fatal(err)
	}
	script := strings.NewReplacer("http://HOST", h.Address(), "TANK", "reef", "NAME", "timo", "PASSWORD", password, "curl ", "curl -sS --fail-with-body ").
		Replace(examples(t, "records.md", "sh", 2)[0])
	sh := exec.CommandContext(t.Context(), "sh", "-ec", script)
	sh.Dir = folder
	out, err := sh.CombinedOutput()
	if err != nil || !strings.Contains(string(out), `"readings":2,`) {
		t.Errorf("%v\n%s", err, out)
	}
	var tank api.Tank
	h.as("timo").want(http.StatusOK, "GET", "/api/tanks/reef", nil, &tank)
	if tank.Live.LevelMM == nil || tank.Live.LevelMM.Value != 211.5 {
		t.Errorf("the level is %+v", tank.Live.LevelMM)
	}
}
