//go:build unix

package edge

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/simonvetter/modbus"

	edgeio "isohaline/internal/edge/io"
	"isohaline/internal/edge/keeper"
	"isohaline/internal/edge/lease"
	"isohaline/internal/freeport"
	"isohaline/internal/guard"
)

// The tests of this file run the agent and the process that holds its wires as
// real processes, on a real Modbus server of another maker's library, and do to
// them what happens to processes. Each is this test binary under another role.
const roleVar = "ISOHALINE_TEST_ROLE"

func TestMain(m *testing.M) {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	var err error
	switch os.Getenv(roleVar) {
	case "":
		os.Exit(m.Run())
	case "agent":
		err = agentRole(ctx)
	case "wires":
		err = keeper.Serve(ctx, os.Stdin, os.Stdout)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// hurry is how much faster than real the agent under test decides; wires and
// leases are as real as ever.
const hurry = 20

// agentRole runs an agent on the wiring in its folder.
func agentRole(ctx context.Context) error {
	dir := os.Args[1]
	text, err := os.ReadFile(filepath.Join(dir, "edge.yaml"))
	if err != nil {
		return err
	}
	w, err := edgeio.Read("edge.yaml", text)
	if err != nil {
		return err
	}
	if err := os.Setenv(roleVar, "wires"); err != nil { // for its child
		return err
	}
	k := &keeper.Keeper{Command: []string{os.Args[0]}, File: "edge.yaml", Wiring: text, Answers: w.Lease / 2, Log: slog.New(slog.DiscardHandler)}
	if err := k.Start(ctx); err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(dir, "pid"), []byte(strconv.Itoa(k.Pid())), 0o600); err != nil {
		return err
	}
	c := typical()
	s := &c.Settings
	s.ConfirmDry, s.MinOff, s.RestartSettle = time.Second, 10*time.Second, 10*time.Second
	s.FirstFillLimit, s.HardCap = 10*time.Minute, 10*time.Minute // half a minute of these
	state := filepath.Join(dir, "state")
	if err := os.MkdirAll(state, 0o700); err != nil {
		return err
	}
	a, err := Open(Options{Config: c, Wires: k, Pace: NewPace(hurry), Dir: state, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		return err
	}
	return a.Run(ctx)
}

// relay is a Modbus device with a pump on coil 0 and the watch sensor on input 0,
// and a watchdog in holding register 0, in tenths of a second, 0 for none.
type relay struct {
	mu       sync.Mutex
	on       bool
	changed  time.Time
	offs     []time.Time // whenever it went off
	written  time.Time   // when anybody last spoke to the watchdog
	watchdog time.Duration
	deaf     bool // takes no orders
}

func (r *relay) HandleCoils(q *modbus.CoilsRequest) ([]bool, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if q.Addr != 0 || q.Quantity != 1 {
		return nil, modbus.ErrIllegalDataAddress
	}
	if q.IsWrite && r.deaf {
		return nil, modbus.ErrServerDeviceFailure
	}
	if q.IsWrite {
		r.turn(q.Args[0])
	}
	return []bool{r.on}, nil
}

func (r *relay) turn(on bool) {
	if on != r.on {
		r.on, r.changed = on, time.Now()
		if !on {
			r.offs = append(r.offs, r.changed)
		}
	}
}

func (r *relay) HandleDiscreteInputs(q *modbus.DiscreteInputsRequest) ([]bool, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return make([]bool, q.Quantity), nil // always dry
}

func (r *relay) HandleHoldingRegisters(q *modbus.HoldingRegistersRequest) ([]uint16, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if q.IsWrite {
		r.watchdog, r.written = time.Duration(q.Args[0])*100*time.Millisecond, time.Now()
	}
	return make([]uint16, q.Quantity), nil
}

func (*relay) HandleInputRegisters(*modbus.InputRegistersRequest) ([]uint16, error) {
	return nil, modbus.ErrIllegalDataAddress
}

// pump is whether the pump is on, and since when.
func (r *relay) pump() (bool, time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.watchdog > 0 && time.Since(r.written) > r.watchdog {
		r.turn(false)
	}
	return r.on, r.changed
}

// until waits for the pump, with patience for a slow machine.
func (r *relay) until(t *testing.T, on bool) time.Time {
	t.Helper()
	const patience = time.Minute
	for end := time.Now().Add(patience); ; time.Sleep(5 * time.Millisecond) {
		is, since := r.pump()
		if is == on {
			return since
		}
		if time.Now().After(end) {
			t.Fatalf("the pump is still %v", map[bool]string{true: "on", false: "off"}[is])
		}
	}
}

// offAfter is when the pump first went off after a moment. It may be on again.
func (r *relay) offAfter(t *testing.T, moment time.Time) time.Time {
	t.Helper()
	const patience = time.Minute
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		r.pump() // the watchdog's look
		r.mu.Lock()
		for _, off := range r.offs {
			if off.After(moment) {
				r.mu.Unlock()
				return off
			}
		}
		r.mu.Unlock()
	}
	t.Fatal("the pump is still on")
	return moment
}

// rig is an agent, its keeper and a relay.
type rig struct {
	*relay
	agent  *exec.Cmd
	keeper int // pid
	dir    string
	server *modbus.ModbusServer
}

const (
	testLease = time.Second
	// leeway is for a machine that does not let a process run for so long.
	leeway = 10 * time.Second
)

// serve starts the relay's device, which opens its port itself.
func (g *rig) serve(t *testing.T) (address string) {
	t.Helper()
	address = freeport.Reserve(t)
	var err error
	g.server, err = modbus.NewServer(&modbus.ServerConfiguration{URL: "tcp://" + address, Timeout: time.Minute, MaxClients: 8}, g.relay)
	if err != nil {
		t.Fatal(err)
	}
	if err := g.server.Start(); err != nil {
		t.Fatal(err)
	}
	return address
}

func newRig(t *testing.T, device string) *rig {
	t.Helper()
	g := &rig{relay: &relay{}, dir: t.TempDir()}
	address := g.serve(t)
	t.Cleanup(func() { g.server.Stop() })
	text := fmt.Sprintf("isohaline edge: 1\nlease: %g s\nmodbus: {box: {url: \"tcp://%s\"%s}}\ninputs:\n  watch: {modbus: box, discrete: 0}\noutputs:\n  pump: {modbus: box, coil: 0}\n",
		testLease.Seconds(), address, device)
	if err := os.WriteFile(filepath.Join(g.dir, "edge.yaml"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	g.agent = exec.Command(os.Args[0], g.dir)
	g.agent.Env = append(os.Environ(), roleVar+"=agent")
	var said bytes.Buffer
	g.agent.Stderr = &said
	if err := g.agent.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		// Let go of whoever is stopped: the keeper ends with the agent's pipe.
		for _, pid := range []int{g.keeper, g.agent.Process.Pid} {
			if pid > 0 {
				_ = syscall.Kill(pid, syscall.SIGCONT)
			}
		}
		_ = g.agent.Process.Kill()
		_ = g.agent.Wait()
		if t.Failed() {
			t.Log(said.String())
		}
	})
	g.until(t, true)
	text1, err := os.ReadFile(filepath.Join(g.dir, "pid"))
	if err == nil {
		g.keeper, err = strconv.Atoi(string(text1))
	}
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func (g *rig) send(t *testing.T, pid int, s syscall.Signal) {
	t.Helper()
	if err := syscall.Kill(pid, s); err != nil {
		t.Fatal(err)
	}
}

// TestOffWithinTheLease is the promise, measured at the relay: whatever becomes of
// the agent, the pump goes off. The bound asked here leaves room for a busy
// machine; what is printed is what happened.
func TestOffWithinTheLease(t *testing.T) {
	const watchdog = ", watchdog register: 0, watchdog value: 10"
	for _, tt := range []struct {
		name, device string
		harm         func(*testing.T, *rig)
		backOn       bool // it goes on by itself afterwards, and must not be taken for off
	}{
		{"agent killed, as when memory runs out", "", func(t *testing.T, g *rig) { g.send(t, g.agent.Process.Pid, syscall.SIGKILL) }, false},
		{"agent stopped", "", func(t *testing.T, g *rig) { g.send(t, g.agent.Process.Pid, syscall.SIGSTOP) }, false},
		{"agent ended", "", func(t *testing.T, g *rig) { g.send(t, g.agent.Process.Pid, syscall.SIGTERM) }, false},
		{"keeper killed", "", func(t *testing.T, g *rig) { g.send(t, g.keeper, syscall.SIGKILL) }, true},
		{"keeper stopped", "", func(t *testing.T, g *rig) { g.send(t, g.keeper, syscall.SIGSTOP) }, true},
		{"both killed, watchdog", watchdog, func(t *testing.T, g *rig) {
			g.send(t, g.agent.Process.Pid, syscall.SIGKILL)
			g.send(t, g.keeper, syscall.SIGKILL)
		}, false},
		{"both stopped, watchdog", watchdog, func(t *testing.T, g *rig) {
			g.send(t, g.agent.Process.Pid, syscall.SIGSTOP)
			g.send(t, g.keeper, syscall.SIGSTOP)
		}, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			g := newRig(t, tt.device)
			began := time.Now()
			tt.harm(t, g)
			off := g.offAfter(t, began)
			if took := off.Sub(began); took > testLease+leeway {
				t.Errorf("off after %v", took)
			}
			t.Logf("%s: off after %v, under a lease of %v", tt.name, off.Sub(began).Round(time.Millisecond), testLease)
			if tt.backOn {
				return
			}
			// Nobody is left who could turn it on again.
			if on, _ := g.pump(); on {
				t.Error("it went on again")
			}
		})
	}
}

// TestDeafRelay: a relay that takes no orders is told to a person, through the same
// alarm and horn as an input that cannot be read.
func TestDeafRelay(t *testing.T) {
	g := newRig(t, "")
	g.mu.Lock()
	g.deaf = true
	g.mu.Unlock()
	const patience = time.Minute
	for end := time.Now().Add(patience); ; time.Sleep(10 * time.Millisecond) {
		text, err := os.ReadFile(filepath.Join(g.dir, "state", stateFile))
		if err == nil && strings.Contains(string(text), fmt.Sprintf(`"Phase":%d`, guard.Settling)) {
			break // the guard saw it, and is off
		}
		if time.Now().After(end) {
			t.Fatalf("the guard goes on: %s", text)
		}
	}
	g.mu.Lock()
	g.deaf = false
	g.mu.Unlock()
	g.until(t, false)
}

// TestNobodyReadsItsAnswers: an agent that dies between its word and the answer
// leaves a pipe that nobody reads. The keeper has to outlive its own answer, long
// enough to turn the pump off.
func TestNobodyReadsItsAnswers(t *testing.T) {
	g := newRig(t, "")
	g.send(t, g.agent.Process.Pid, syscall.SIGKILL)
	g.until(t, false)
	text, err := os.ReadFile(filepath.Join(g.dir, "edge.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	wires := exec.Command(os.Args[0])
	wires.Env = append(os.Environ(), roleVar+"=wires")
	in, err := wires.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	read, write, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	wires.Stdout = write
	if err := wires.Start(); err != nil {
		t.Fatal(err)
	}
	write.Close()
	say := json.NewEncoder(in)
	on := map[string]any{"n": 1, "out": lease.Outputs{Pump: true}}
	err = errors.Join(say.Encode(map[string]any{"file": "edge.yaml", "wiring": text}), say.Encode(on))
	if err != nil {
		t.Fatal(err)
	}
	g.until(t, true)
	read.Close()
	_ = say.Encode(on) // it may have ended already
	g.until(t, false)
	in.Close()
	var status *exec.ExitError
	if err := wires.Wait(); errors.As(err, &status) && !status.Exited() {
		t.Errorf("ended by %v", err)
	}
}

// TestAgentNeedsItsWires: an agent that cannot take hold of its wires says so and
// ends.
func TestAgentNeedsItsWires(t *testing.T) {
	k := &keeper.Keeper{Command: []string{os.Args[0]}, File: "edge.yaml", Answers: time.Second, Log: slog.New(slog.DiscardHandler),
		Wiring: []byte("isohaline edge: 1\ninputs: {watch: {gpio: no-such-chip/LINE, wet when: low}}\noutputs: {pump: {gpio: no-such-chip/OTHER, on when: high}}\n")}
	t.Setenv(roleVar, "wires")
	if err := k.Start(t.Context()); err == nil || !strings.Contains(err.Error(), `no chip "no-such-chip"`) {
		t.Errorf("%v", err)
	}
	if _, err := k.Exchange(t.Context(), lease.Outputs{}); err == nil {
		t.Error("exchanged with nobody")
	}
	if err := k.Close(); err != nil && !errors.Is(err, os.ErrProcessDone) {
		t.Error(err)
	}
}
