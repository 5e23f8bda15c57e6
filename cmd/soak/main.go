// Command soak lives through many lives of a tank with its edge and its hub in
// which everything goes wrong, and counts what must be 0: seconds that the pump is
// on past a limit, readings that are lost, requests that take effect twice. See
// package soak.
//
//	go run ./cmd/soak [-hours 1e6] [-seed N] [examples/*.yaml]
//
// With -hub it lives through lives of the hub's watch, in which what must never be is
// that something is kept and nobody is told. See package hublife.
//
//	go run ./cmd/soak -hub [-tank-days 1e5] [-from N | -seed N]
//
// A life that fails is printed with the command that lives it again.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/sync/errgroup"
	"golang.org/x/term"

	"isohaline/internal/soak"
	"isohaline/internal/tankfile"
)

// garbagePercent is how far the memory grows before garbage is collected: a life holds
// little and lets go of much, and half of the time was collecting.
const garbagePercent = 1600

// lifeLength is how long one life is: long enough for troubles to meet, short
// enough to be lived again.
const lifeLength = 2000 * time.Hour

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "soak:", err)
		os.Exit(1)
	}
}

func run() error {
	hours := flag.Float64("hours", 1e6, "how many simulated hours to live through")
	seed := flag.Int64("seed", -1, "live through this seed alone")
	hub := flag.Bool("hub", false, "live through lives of the hub's watch")
	tankDays := flag.Float64("tank-days", 1e5, "with -hub: how many simulated tank-days to live through")
	start := flag.Uint64("from", 0, "with -hub: the first seed")
	flag.Parse()
	debug.SetGCPercent(garbagePercent)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if *hub {
		if !(*tankDays >= 0 && *tankDays <= 1e9) {
			return fmt.Errorf("-tank-days is %v: give 0 to 1e9", *tankDays)
		}
		if *seed >= 0 {
			return soakHub(ctx, uint64(*seed), 0)
		}
		return soakHub(ctx, *start, *tankDays)
	}
	if !(*hours > 0 && *hours <= 1e9) {
		return fmt.Errorf("-hours is %v: give more than 0 and at most 1e9", *hours)
	}
	files := flag.Args()
	if len(files) == 0 {
		for _, name := range []string{"reading-room", "window-nano", "grand-lobby"} {
			files = append(files, filepath.Join("examples", name+".yaml"))
		}
	}
	var designs []*soak.Design
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			return fmt.Errorf("%w: run it from the repository's root, or name tank files", err)
		}
		s, _, err := tankfile.Read(file, text)
		if err != nil {
			return err
		}
		d, err := soak.NewDesign(s)
		if err != nil {
			return fmt.Errorf("%s: %w", file, err)
		}
		designs = append(designs, d)
	}
	from, lives := uint64(0), int(*hours/lifeLength.Hours()/float64(len(designs)))+1
	if *seed >= 0 {
		from, lives = uint64(*seed), 1
	}
	return soakAll(ctx, files, designs, from, lives)
}

// soakAll lives through the seeds of every design on all cores.
func soakAll(ctx context.Context, files []string, designs []*soak.Design, from uint64, lives int) error {
	bar := progressbar.NewOptions(lives*len(designs), progressbar.OptionSetWriter(os.Stderr), progressbar.OptionSetVisibility(term.IsTerminal(int(os.Stderr.Fd()))),
		progressbar.OptionSetDescription("living"),
		progressbar.OptionShowCount(), progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(time.Second))
	var mu sync.Mutex
	var sum soak.Verdict
	wrong := 0
	began := time.Now()
	var group errgroup.Group
	group.SetLimit(runtime.GOMAXPROCS(0))
	for n := range lives * len(designs) {
		if ctx.Err() != nil {
			break
		}
		group.Go(func() error {
			i, seed := n%len(designs), from+uint64(n/len(designs))
			v := designs[i].Live(seed, lifeLength)
			mu.Lock()
			defer mu.Unlock()
			_ = bar.Add(1) // a bar that cannot be drawn stops nothing
			sum.Add(&v)
			if !v.OK() {
				wrong++
				fmt.Printf("%s, seed %d, %s; again: go run ./cmd/soak -seed %d %s\n", files[i], seed, v.First, seed, files[i])
			}
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		return err
	}
	took := time.Since(began)
	fmt.Printf(`%.0f simulated hours in %v: %.0f a second on %d cores

pump on past a limit       %v
readings lost              %d of %d
requests that took twice   %d of %d

lived through: %d fills, %d faults, %d latches, %d kills and %d hangs of the agent,
%d cuts of the link, %d falls of the hub, %d full disks; %d requests asked, %d refusals
`, sum.Hours, took.Round(time.Second), sum.Hours/took.Seconds(), runtime.GOMAXPROCS(0),
		sum.PastLimit, sum.LostReading, sum.Readings, sum.AppliedMore, sum.Applied,
		sum.Fills, sum.Faults, sum.Latches, sum.Kills, sum.Hangs, sum.Cuts, sum.HubFalls, sum.FullDisks, sum.Asked, sum.Refused)
	switch {
	case wrong > 0:
		return fmt.Errorf("%d lives went wrong", wrong)
	case ctx.Err() != nil:
		return errors.New("interrupted")
	}
	return nil
}
