package wire

import (
	"context"
	"errors"
	"slices"
	"syscall"
	"testing"
	"time"

	"isohaline/internal/freeport"
	"isohaline/internal/longtest"
)

// smallDisk is a folder on a disk of its own, of so many bytes.
func smallDisk(t *testing.T, bytes string) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+bytes); err != nil {
		t.Skipf("SKIPPED: no disk can be mounted here (%v): a full one was not tried", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// TestFullDisk: an edge whose disk is full, but for what leastRoom keeps,
// acknowledges no reading that it cannot keep, loses none that it has, and goes on
// once the hub has taken some.
func TestFullDisk(t *testing.T) {
	longtest.Only(t, "fills a disk")
	key, seed := newEdge(t, lobby)
	address := freeport.Reserve(t)
	u, stop := openUplink(t, UplinkOptions{Dir: smallDisk(t, "48m"), Hub: address, Edge: lobby, Seed: seed})
	const together = 1000
	readings := measured(1_000_000)
	kept := 0
	for kept < len(readings) {
		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
		err := u.Append(ctx, readings[kept:kept+together])
		cancel()
		if err != nil {
			t.Logf("after %d readings: %v", kept, err)
			if !errors.Is(err, context.DeadlineExceeded) {
				t.Errorf("the error is %v, want the end of patience", err)
			}
			break
		}
		kept += together
	}
	if kept == 0 || kept == len(readings) {
		t.Fatalf("%d readings were kept on a small disk", kept)
	}
	h, _ := openHub(t, t.TempDir(), address, key)
	got := values(consumeUntil(t, h.log, new(uint64), kept))
	// What was on its way as the patience ended may be there too.
	if !slices.Equal(got[:kept], values(readings[:kept])) {
		t.Errorf("of %d readings that were kept the hub has others", kept)
	}
	eventually(t, "the edge to keep readings again", func() bool {
		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
		defer cancel()
		return u.Append(ctx, readings[kept:kept+1]) == nil
	})
	stop()
}
