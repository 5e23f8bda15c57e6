package keeper

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os/signal"
	"syscall"
	"time"

	edgeio "isohaline/internal/edge/io"
	"isohaline/internal/edge/lease"
)

// refreshes is how many times in a lease what is so is said again: to a Modbus
// watchdog, and to a device that has started again.
const refreshes = 4

// How long a keeper that leaves goes on turning things off.
const (
	leaveTries = 20
	leavePause = 250 * time.Millisecond
)

// Serve is the keeper's whole life: it takes hold of the wires, does what it is
// told and answers, until ctx or the agent's pipe ends. Outputs are off when it
// returns.
func Serve(ctx context.Context, in io.Reader, out io.Writer) error {
	// An agent that is gone reads no answer. By default the write would end this
	// process then and there, with whatever is on.
	signal.Ignore(syscall.SIGPIPE)
	words := json.NewDecoder(bufio.NewReader(in))
	say := json.NewEncoder(out)
	var h hello
	if err := words.Decode(&h); err != nil {
		return fmt.Errorf("reading the wiring: %w", err)
	}
	w, err := edgeio.Read(h.File, h.Wiring)
	if err != nil {
		return errors.Join(err, say.Encode(answer{Error: err.Error()}))
	}
	board, err := edgeio.Open(ctx, w)
	if err != nil {
		return errors.Join(err, say.Encode(answer{Error: err.Error()}))
	}
	look := w.Lease / (2 * refreshes) // how often the lease is looked at; it ends sooner by as much
	k := &holder{board: board, lasts: w.Lease - look, began: time.Now()}
	defer k.leave()
	if err := say.Encode(answer{}); err != nil {
		return err
	}

	said, ended := make(chan word), make(chan error, 1)
	go func() {
		for {
			var w word
			if err := words.Decode(&w); err != nil {
				ended <- err
				return
			}
			select {
			case said <- w:
			case <-ctx.Done():
				return
			}
		}
	}()
	check := time.NewTicker(look)
	defer check.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case err := <-ended:
			if errors.Is(err, io.EOF) {
				return nil // the agent is gone
			}
			return err
		case <-check.C:
			_ = k.drive(ctx) // an error is in the answer to the next word
		case w := <-said:
			k.lease = lease.Grant(w.Out, k.now(), k.lasts)
			driven := k.drive(ctx)
			in, read := k.board.Read(ctx)
			in.Deaf = driven != nil
			a := answer{N: w.N, In: in}
			if err := errors.Join(driven, read); err != nil {
				a.Error = err.Error()
			}
			if err := say.Encode(a); err != nil {
				return err
			}
		}
	}
}

// holder is a board under a lease.
type holder struct {
	board *edgeio.Board
	lasts time.Duration
	began time.Time

	lease lease.Lease
	last  time.Duration // the clock at the last look
	is    lease.Outputs // what was last made so, if sure
	sure  bool
	drove time.Duration // when
}

// now is a monotonic clock.
func (k *holder) now() time.Duration { return time.Since(k.began) }

// leave turns everything off and lets go. A wire that does not take it is tried
// again for a while: nobody else will.
func (k *holder) leave() {
	for range leaveTries {
		if k.board.Drive(context.Background(), lease.Outputs{}) == nil {
			break
		}
		time.Sleep(leavePause)
	}
	k.board.Close()
}

// drive makes the outputs what the lease says now, when that is news or has not
// been said for a while.
func (k *holder) drive(ctx context.Context) error {
	now := k.now()
	want := k.lease.At(now, k.last)
	k.last = now
	if k.sure && want == k.is && now-k.drove < k.lasts/refreshes {
		return nil
	}
	err := k.board.Drive(ctx, want)
	k.is, k.sure, k.drove = want, err == nil, now
	return err
}
