package store_test

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"isohaline/internal/store"
)

// childVariable makes this test program a writer on the database it names.
const childVariable = "ISOHALINE_TEST_STORE_CHILD"

const (
	crashBatch = 300 // readings
	crashRuns  = 6
)

// batchOf is the readings of one batch: a second of each of three channels at a
// time, so that batches share minutes, hours and days.
func batchOf(n int, channels []int64) []store.Reading {
	batch := make([]store.Reading, 0, crashBatch)
	for i := range crashBatch {
		second := n*crashBatch/len(channels) + i/len(channels)
		batch = append(batch, store.Reading{
			Channel: channels[i%len(channels)], At: t0.Add(time.Duration(second) * time.Second), Value: float64(n) + float64(i)/7,
		})
	}
	return batch
}

// writeUntilKilled is the child: it writes batch after batch and says the number
// of each once it is committed.
func writeUntilKilled(address string) {
	ctx := context.Background()
	s, err := store.Open(ctx, address, store.Kill)
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	list, err := s.Channels(ctx, "box")
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	var channels []int64
	for _, c := range list {
		channels = append(channels, c.ID)
	}
	first := 0
	fmt.Sscan(os.Getenv(childVariable+"_FIRST"), &first)
	for n := first; ; n++ {
		if _, err := s.AddReadings(ctx, batchOf(n, channels)); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		fmt.Println("committed", n)
	}
}

// TestKilled kills a process that writes batches, again and again, at moments
// that differ. Every batch it said was committed is there; the one it was at is
// there whole or not at all; and the roll-ups are those of the readings.
func TestKilled(t *testing.T) {
	path := filepath.Join(t.TempDir(), "isohaline.db")
	s, err := store.Open(t.Context(), path, store.Kill)
	must(t, err)
	channels := makeChannels(t, s, 3)
	must(t, s.Close())

	next := 0
	for run := range crashRuns {
		said := killedWriter(t, path, next, 20*time.Millisecond+time.Duration(run)*13*time.Millisecond)
		s, err := store.Open(t.Context(), path, store.Kill)
		must(t, err)
		count := 0
		for _, channel := range channels {
			must(t, s.Readings(t.Context(), channel, t0, t0.Add(1e6*time.Second), func(store.Reading) error { count++; return nil }))
		}
		whole := count / crashBatch
		if count%crashBatch != 0 || whole < said+1 || whole > said+2 {
			t.Fatalf("run %d: %d readings, which is %.2f batches; the last that was said to be committed is batch %d", run, count, float64(count)/crashBatch, said)
		}
		for n := range whole {
			added := got(s.AddReadings(t.Context(), batchOf(n, channels)))(t)
			if added.Duplicate != crashBatch {
				t.Fatalf("run %d: of batch %d, %d were not there", run, n, added.New)
			}
		}
		checkRollups(t, s, channels)
		must(t, s.Close())
		must(t, store.CheckCopy(t.Context(), path))
		next = whole
	}
	t.Logf("%d batches survived %d kills", next, crashRuns)
}

// killedWriter runs a child until some time after its first commit, kills it and
// returns the last batch that it said was committed.
func killedWriter(t *testing.T, path string, first int, after time.Duration) int {
	t.Helper()
	child := exec.CommandContext(t.Context(), os.Args[0])
	child.Env = append(os.Environ(), childVariable+"="+path, fmt.Sprintf("%s_FIRST=%d", childVariable, first))
	output, err := child.StdoutPipe()
	must(t, err)
	must(t, child.Start())
	last := first - 1
	lines := bufio.NewScanner(output)
	for lines.Scan() {
		n, ok := strings.CutPrefix(lines.Text(), "committed ")
		if !ok {
			t.Fatalf("the child says %q", lines.Text())
		}
		fmt.Sscan(n, &last)
		if last == first {
			time.AfterFunc(after, func() { _ = child.Process.Kill() })
		}
	}
	_ = child.Wait()
	if last < first {
		t.Fatal("the child wrote nothing")
	}
	return last
}
