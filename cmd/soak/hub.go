package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"runtime"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/sync/errgroup"
	"golang.org/x/term"

	"isohaline/internal/soak/hublife"
)

// stuckAfter is far longer than a life takes.
const stuckAfter = 2 * time.Minute

// wrongEnough are as many lives gone wrong as anybody looks at.
const wrongEnough = 20

// soakHub lives through lives of the hub on all cores, seed after seed, until they
// have so many tank-days; 0: through the first seed alone.
func soakHub(ctx context.Context, from uint64, tankDays float64) error {
	bar := progressbar.NewOptions(int(tankDays), progressbar.OptionSetWriter(os.Stderr), progressbar.OptionSetVisibility(tankDays > 0 && term.IsTerminal(int(os.Stderr.Fd()))),
		progressbar.OptionSetDescription("living"), progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(time.Second))
	var mu sync.Mutex
	var sum hublife.Verdict
	next, lives, wrong := from, 0, 0
	// take is the next seed, false where there is enough.
	take := func() (uint64, bool) {
		mu.Lock()
		defer mu.Unlock()
		if ctx.Err() != nil || wrong >= wrongEnough || next > from && sum.TankDays >= tankDays {
			return 0, false
		}
		next++
		return next - 1, true
	}
	began := time.Now()
	var group errgroup.Group
	for range runtime.GOMAXPROCS(0) {
		group.Go(func() error {
			for {
				seed, more := take()
				if !more {
					return nil
				}
				stuck := time.AfterFunc(stuckAfter, func() {
					fmt.Printf("seed %d does not end; again: go run ./cmd/soak -hub -seed %d\n", seed, seed)
				})
				v := hublife.Live(seed)
				stuck.Stop()
				mu.Lock()
				_ = bar.Add(int(v.TankDays)) // a bar that cannot be drawn stops nothing
				sum.Add(&v)
				lives++
				if !v.OK() {
					wrong++
					fmt.Printf("seed %d, %s; again: go run ./cmd/soak -hub -seed %d\n", seed, v.First, seed)
				}
				mu.Unlock()
			}
		})
	}
	if err := group.Wait(); err != nil {
		return err
	}
	took := time.Since(began)
	fmt.Printf(`%.0f simulated tank-days of %d lives, seeds %d to %d, in %v: %.0f a second on %d cores

lives in which a promise was broken   %d

lived through: %d readings in %d frames, %d commits, %d calls of the store that went wrong,
%d kills, %d stops and %d power cuts, %d starts, %d devices moved, %d requests, %d hand readings;
%d turns of a contact that lasted, %d changes of an alarm, %d notices, %d messages, %d looks at everything
`, sum.TankDays, lives, from, next-1, took.Round(time.Second), sum.TankDays/took.Seconds(), runtime.GOMAXPROCS(0), wrong,
		sum.Readings, sum.Frames, sum.Commits, sum.Faults, sum.Kills, sum.Stops, sum.PowerCuts, sum.Starts, sum.Moves, sum.Asked, sum.Entered,
		sum.Turns, sum.Transitions, sum.Notices, sum.Delivered, sum.Checks)
	switch {
	case wrong > 0:
		return fmt.Errorf("%d lives went wrong", wrong)
	case ctx.Err() != nil:
		return errors.New("interrupted; go on with -from " + fmt.Sprint(next))
	}
	return nil
}
