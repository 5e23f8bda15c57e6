package keeper

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"time"

	edgeio "isohaline/internal/edge/io"
	"isohaline/internal/edge/lease"
)

const (
	// opensIn is how long a keeper may take to take hold of the wires.
	opensIn = 10 * time.Second
	// rests is the pause before another keeper is started.
	rests = time.Second
	// endsIn is how long a keeper may take to turn everything off and end.
	endsIn = 8 * time.Second
)

// Keeper is the agent's end: the process that holds the wires, started again
// whenever it ends or does not answer.
type Keeper struct {
	// Command starts a process that calls Serve.
	Command []string
	// File is the wiring file's name, Wiring its bytes.
	File   string
	Wiring []byte
	// Answers is how long it may take to answer a word: half a lease, so that
	// one that hangs is replaced within a lease.
	Answers time.Duration
	Log     *slog.Logger

	process *process // nil while there is none
	retry   time.Time
	n       uint64
}

// process is one keeper process.
type process struct {
	cmd     *exec.Cmd
	in      io.WriteCloser
	answers chan answer // closed when it ends
	done    chan struct{}
}

// Start starts the first keeper and says why it cannot hold the wires, if it
// cannot.
func (k *Keeper) Start(ctx context.Context) error {
	p, err := k.start(ctx)
	if err != nil {
		return err
	}
	k.process = p
	return nil
}

// Pid is the process that holds the wires, 0 while there is none.
func (k *Keeper) Pid() int {
	if k.process == nil {
		return 0
	}
	return k.process.cmd.Process.Pid
}

func (k *Keeper) start(ctx context.Context) (*process, error) {
	cmd := exec.Command(k.Command[0], k.Command[1:]...)
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("starting the process that holds the wires: %w", err)
	}
	p := &process{cmd: cmd, in: in, answers: make(chan answer), done: make(chan struct{})}
	go func() {
		defer close(p.done)
		defer close(p.answers)
		for read := json.NewDecoder(out); ; {
			var a answer
			if read.Decode(&a) != nil {
				return
			}
			select {
			case p.answers <- a:
			case <-time.After(endsIn): // nobody listens any more
				return
			}
		}
	}()
	if err := json.NewEncoder(in).Encode(hello{File: k.File, Wiring: k.Wiring}); err != nil {
		return nil, errors.Join(err, p.end(false))
	}
	a, err := p.await(ctx, 0, opensIn)
	if err == nil && a.Error != "" {
		err = errors.New(a.Error)
	}
	if err != nil {
		return nil, errors.Join(err, p.end(false))
	}
	return p, nil
}

// await is the answer to a word.
func (p *process) await(ctx context.Context, n uint64, within time.Duration) (answer, error) {
	late := time.NewTimer(within)
	defer late.Stop()
	for {
		select {
		case <-ctx.Done():
			return answer{}, ctx.Err()
		case <-late.C:
			return answer{}, fmt.Errorf("the process that holds the wires has not answered for %v", within)
		case a, ok := <-p.answers:
			if !ok {
				return answer{}, errors.New("the process that holds the wires has ended")
			}
			if a.N == n {
				return a, nil
			}
		}
	}
}

// end lets a process turn everything off and end, or with kill ends it.
func (p *process) end(kill bool) error {
	err := p.in.Close() // it ends by itself
	if kill {
		err = errors.Join(err, p.cmd.Process.Kill())
	}
	select {
	case <-p.done:
	case <-time.After(endsIn):
		err = errors.Join(err, p.cmd.Process.Kill())
	}
	var status *exec.ExitError
	if waited := p.cmd.Wait(); waited != nil && !errors.As(waited, &status) {
		err = errors.Join(err, waited)
	}
	return err
}

// Exchange says what shall be on and returns what the inputs say. On an error of
// the wires the inputs that could be read are there; on one of the process none
// is, and another is started at a later call.
func (k *Keeper) Exchange(ctx context.Context, out lease.Outputs) (edgeio.Inputs, error) {
	if k.process == nil {
		if time.Now().Before(k.retry) {
			return edgeio.Inputs{}, errors.New("nothing holds the wires at the moment")
		}
		p, err := k.start(ctx)
		if err != nil {
			k.retry = time.Now().Add(rests)
			return edgeio.Inputs{}, err
		}
		k.Log.Info("another process holds the wires", "pid", p.cmd.Process.Pid)
		k.process = p
	}
	k.n++
	err := json.NewEncoder(k.process.in).Encode(word{k.n, out})
	var a answer
	if err == nil {
		a, err = k.process.await(ctx, k.n, k.Answers)
	}
	switch {
	case ctx.Err() != nil:
		return edgeio.Inputs{}, ctx.Err()
	case err != nil:
		// It may be stopped with an output on: kill it, and let another turn it off.
		ended := k.process.end(true)
		k.process, k.retry = nil, time.Time{}
		return edgeio.Inputs{}, errors.Join(err, ended)
	case a.Error != "":
		return a.In, errors.New(a.Error)
	}
	return a.In, nil
}

// Close turns everything off and lets go of the wires.
func (k *Keeper) Close() error {
	if k.process == nil {
		return nil
	}
	err := k.process.end(false)
	k.process = nil
	return err
}
