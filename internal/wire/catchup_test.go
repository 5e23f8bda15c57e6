package wire

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"isohaline/internal/freeport"
	"isohaline/internal/longtest"
)

// The catch-up test runs this test program a second time as a hub and a third time
// as an edge, and kills both again and again.
const (
	catchUpRole    = "ISOHALINE_CATCHUP_ROLE"
	catchUpDir     = "ISOHALINE_CATCHUP_DIR"
	catchUpAddress = "ISOHALINE_CATCHUP_ADDRESS"
	catchUpKey     = "ISOHALINE_CATCHUP_KEY" // public for the hub, the seed for the edge
	// catchUpTotal is how many readings an edge keeps, and at how many a hub's store stops,
	// so that the hub can only be killed in the middle of the catch-up.
	catchUpTotal = "ISOHALINE_CATCHUP_TOTAL"
	hubRole      = "hub"
	edgeRole     = "edge"
	keptFile     = "kept"
)

// catchUpChild plays a role until its standard input ends, or it is killed.
func catchUpChild(role string) int {
	ctx, cancel := context.WithCancel(context.Background())
	go func() {
		io.Copy(io.Discard, os.Stdin)
		cancel()
	}()
	play := hubChild
	if role == edgeRole {
		play = edgeChild
	}
	if err := play(ctx, os.Getenv(catchUpDir), os.Getenv(catchUpAddress), os.Getenv(catchUpKey)); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

func hubChild(ctx context.Context, dir, address, public string) error {
	l, err := OpenLog(ctx, LogOptions{Dir: filepath.Join(dir, "log"), Edges: EdgeOptions{Address: address}, Logger: childLogger()})
	if err != nil {
		return err
	}
	defer l.Close()
	door, err := NewFrontDoor(DoorOptions{Append: l.Append, Authenticate: authenticate, Profile: func(DeviceID) *Profile { return countProfile }})
	if err != nil {
		return err
	}
	if err := l.EdgePort().Admit([]EdgeKey{{lobby, public}}); err != nil {
		return err
	}
	store, err := openStore(dir)
	if err != nil {
		return err
	}
	most, err := strconv.Atoi(os.Getenv(catchUpTotal))
	if err != nil {
		return err
	}
	has := distinct(dir)
	write := func(ctx context.Context, frames []Frame) error {
		for i, f := range frames {
			if len(has) >= most {
				<-ctx.Done()
				return ctx.Err()
			}
			for _, r := range f.Readings {
				has[int(r.Value)] = true
			}
			if err := store.write(l, frames[i:i+1]); err != nil {
				return err
			}
		}
		return nil
	}
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return l.EdgePort().Serve(ctx, door, func(DeviceID, []byte) {}) })
	group.Go(func() error { return l.Consume(ctx, l.After(store.at), write) })
	fmt.Println(readyLine)
	return group.Wait()
}

// edgeChild keeps its readings 0, 1, 2 …, one in two seconds of their own time,
// and goes on after the last that it knows to be kept.
func edgeChild(ctx context.Context, dir, address, seed string) error {
	total, err := strconv.Atoi(os.Getenv(catchUpTotal))
	if err != nil {
		return err
	}
	u, err := OpenUplink(ctx, UplinkOptions{Dir: filepath.Join(dir, "buffer"), Hub: address, Edge: lobby, Seed: seed, Logger: childLogger()})
	if err != nil {
		return err
	}
	defer u.Close()
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return u.Run(ctx) })
	group.Go(func() error {
		name := filepath.Join(dir, keptFile)
		const together = 50
		for n := keptBy(dir); n < total && ctx.Err() == nil; n += together {
			if err := u.Append(ctx, counted(n, min(n+together, total))); err != nil {
				return err
			}
			if err := os.WriteFile(name, fmt.Append(nil, min(n+together, total)), 0o600); err != nil {
				return err
			}
		}
		fmt.Println(readyLine)
		return nil
	})
	return group.Wait()
}

// keptBy is how many readings an edge is known to have kept.
func keptBy(dir string) int {
	text, _ := os.ReadFile(filepath.Join(dir, keptFile)) // none at first
	kept, _ := strconv.Atoi(string(text))
	return kept
}

func childLogger() *slog.Logger {
	return slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelError}))
}

// counted are the readings from one number up to another.
func counted(from, to int) []Reading {
	start := time.Date(2026, 11, 18, 10, 0, 0, 0, time.UTC)
	var out []Reading
	for n := from; n < to; n++ {
		at := start.Add(time.Duration(n) * 2 * time.Second)
		out = append(out, Reading{Site: lobby.Site, Device: lobby.Device, Channel: "count", At: at, Received: at, Value: float64(n), Unit: "count"})
	}
	return out
}

// role starts a child and gives its lines.
func role(t *testing.T, name, dir, address, key string, total int) (*child, *bufio.Reader) {
	t.Helper()
	c := &child{cmd: exec.Command(os.Args[0], "-test.run=^$")}
	c.cmd.Env = append(os.Environ(), catchUpRole+"="+name, catchUpDir+"="+dir, catchUpAddress+"="+address, catchUpKey+"="+key, fmt.Sprintf("%s=%d", catchUpTotal, total))
	c.cmd.Stderr = os.Stderr
	var err error
	if c.stdin, err = c.cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	out, err := c.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.kill)
	return c, bufio.NewReader(out)
}

func awaitReady(t *testing.T, what string, lines *bufio.Reader) {
	t.Helper()
	if line, err := lines.ReadString('\n'); strings.TrimSpace(line) != readyLine {
		t.Fatalf("%s says %q, %v", what, line, err)
	}
}

// TestCatchUp lets an edge gather readings without a hub, being killed meanwhile,
// and then brings the hub up, killing it in the middle of the catch-up.
// ISOHALINE_DURABILITY=full makes it a week of readings, one in two seconds, and
// more kills.
func TestCatchUp(t *testing.T) {
	total, kills := 15_000, 3
	if os.Getenv("ISOHALINE_DURABILITY") == "full" {
		total, kills = 302_400, 20
	} else {
		longtest.Only(t, "kills an edge and a hub")
	}
	const seed = 20261125
	random := rand.New(rand.NewPCG(seed, 0))
	key, secret := newEdge(t, lobby)
	hubDir, edgeDir, address := t.TempDir(), t.TempDir(), freeport.Reserve(t)

	for range kills {
		before, more := keptBy(edgeDir), random.IntN(total/(kills+1))
		edge, _ := role(t, edgeRole, edgeDir, address, secret, total)
		eventually(t, "readings that the edge keeps", func() bool { return keptBy(edgeDir) >= before+more })
		edge.kill()
	}
	_, kept := role(t, edgeRole, edgeDir, address, secret, total)
	awaitReady(t, "edge", kept)

	slowest := time.Duration(0)
	for range kills {
		before, back := len(distinct(hubDir)), time.Now()
		h, lines := role(t, hubRole, hubDir, address, key.Public, before+1+random.IntN(total/(2*kills)))
		awaitReady(t, "hub", lines)
		eventually(t, "the catch-up", func() bool { return len(distinct(hubDir)) > before })
		slowest = max(slowest, time.Since(back))
		h.kill()
	}
	t.Logf("the hub was killed %d times in the middle of the catch-up; the first new readings came within %v of its being back",
		kills, slowest.Round(10*time.Millisecond))
	_, lines := role(t, hubRole, hubDir, address, key.Public, total+1)
	awaitReady(t, "hub", lines)
	eventually(t, "all readings", func() bool { return len(distinct(hubDir)) == total })
	repeats := len(readStore(t, hubDir)) - total
	t.Logf("%d readings; %d came again, to be kept once by their key", total, repeats)
	next := 0
	seen := map[int]bool{}
	for _, l := range readStore(t, hubDir) {
		if seen[l.n] {
			continue
		}
		if seen[l.n] = true; l.n != next {
			t.Fatalf("reading %d came first after reading %d", l.n, next-1)
		}
		next++
	}
}

// distinct are the readings that the hub's store has.
func distinct(dir string) map[int]bool {
	store, err := os.ReadFile(filepath.Join(dir, storedFile))
	if err != nil {
		return map[int]bool{}
	}
	seen := map[int]bool{}
	for text := range strings.Lines(string(store)) {
		if strings.HasPrefix(text, positionMark) {
			continue
		}
		_, number, _ := strings.Cut(text, " ")
		if n, err := strconv.Atoi(strings.TrimSuffix(number, "\n")); err == nil && strings.HasSuffix(number, "\n") {
			seen[n] = true
		}
	}
	return seen
}
