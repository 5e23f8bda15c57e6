package wire

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	paho5 "github.com/eclipse/paho.golang/paho"
	paho3 "github.com/eclipse/paho.mqtt.golang"

	"isohaline/internal/freeport"
)

// The durability test runs this test program a second time as a server, given its
// folder, address and durability by the environment, and kills it again and again
// while real MQTT clients publish to it.
const (
	childDir        = "ISOHALINE_DURABILITY_CHILD"
	childAddress    = "ISOHALINE_DURABILITY_ADDRESS"
	childDurability = "ISOHALINE_DURABILITY_SETTING"
	readyLine       = "ready"
	storedFile      = "stored"
)

// countProfile is a device that counts.
var countProfile = &Profile{Channels: map[string]Channel{"count": {Kind: Number, Unit: "count", Min: 0, Max: 1e9}}}

// durabilityChild is the server: front door, log, and a store that appends to a
// file. It ends when its standard input does, or by being killed.
func durabilityChild(dir string) int {
	fail := func(err error) int {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	durability, err := ParseDurability(os.Getenv(childDurability))
	if err != nil {
		return fail(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	l, err := OpenLog(ctx, LogOptions{
		Dir: filepath.Join(dir, "log"), Durability: durability,
		Logger: slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn})),
	})
	if err != nil {
		return fail(err)
	}
	defer l.Close()
	door, err := NewFrontDoor(DoorOptions{Append: l.Append, Authenticate: authenticate, Profile: func(DeviceID) *Profile { return countProfile }})
	if err != nil {
		return fail(err)
	}
	ln, err := net.Listen("tcp", os.Getenv(childAddress))
	if err != nil {
		return fail(err)
	}
	store, err := openStore(dir)
	if err != nil {
		return fail(err)
	}
	go func() {
		if err := store.consume(ctx, l); err != nil {
			fmt.Fprintln(os.Stderr, err)
		}
	}()
	go func() {
		io.Copy(io.Discard, os.Stdin)
		cancel()
	}()
	fmt.Println(readyLine)
	if err := door.Serve(ctx, ln); err != nil {
		return fail(err)
	}
	return 0
}

// store is a consumer that keeps every reading it is given as a line of a file, and
// after each batch a line with its position.
type store struct {
	file *os.File
	at   Position
}

// positionMark begins the lines that hold positions.
const positionMark = "at "

// openStore goes on with the file. What stands after the last position was written
// by a batch that a kill cut short; whole lines of it stay, and come again.
func openStore(dir string) (*store, error) {
	name := filepath.Join(dir, storedFile)
	old, err := os.ReadFile(name)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	f, err := os.OpenFile(name, os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o600)
	if err != nil {
		return nil, err
	}
	s := &store{file: f}
	old = old[:bytes.LastIndexByte(old, '\n')+1]
	for text := range strings.Lines(string(old)) {
		if p, ok := strings.CutPrefix(text, positionMark); ok {
			if _, err := fmt.Sscan(p, &s.at.Log, &s.at.Sequence); err != nil {
				return nil, err
			}
		}
	}
	return s, f.Truncate(int64(len(old)))
}

func (s *store) consume(ctx context.Context, l *Log) error {
	return l.Consume(ctx, l.After(s.at), func(_ context.Context, frames []Frame) error { return s.write(l, frames) })
}

func (s *store) write(l *Log, frames []Frame) error {
	var b bytes.Buffer
	for _, f := range frames {
		for _, r := range f.Readings {
			fmt.Fprintf(&b, "%s %d\n", r.Device, int(r.Value))
		}
	}
	s.at = Position{l.ID(), frames[len(frames)-1].Sequence}
	fmt.Fprintf(&b, "%s%s %d\n", positionMark, s.at.Log, s.at.Sequence)
	_, err := s.file.Write(b.Bytes())
	return err
}

// sent is the n-th reading of a device; the device's time and value say n.
func sentPayload(n int) string {
	return fmt.Sprintf(`[{"n":"count","u":"count","t":%.3f,"v":%d}]`, 1764064800+float64(n)/1000, n)
}

// client is one device. It publishes its readings 0, 1, 2 … at QoS 1 with several
// in flight, and again whatever was not acknowledged.
type client struct {
	name string
	dial func(address, clientID string) (publish func(payload string) error, end func(), err error)

	mu    sync.Mutex
	next  int
	again []int
	acked []int
}

func (c *client) take() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	if last := len(c.again) - 1; last >= 0 {
		n := c.again[last]
		c.again = c.again[:last]
		return n
	}
	c.next++
	return c.next - 1
}

func (c *client) settle(n int, err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if err != nil {
		c.again = append(c.again, n)
	} else {
		c.acked = append(c.acked, n)
	}
}

func (c *client) count() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return len(c.acked)
}

// run publishes over one connection after another until ctx is done.
func (c *client) run(ctx context.Context, address string, inFlight int) {
	for ctx.Err() == nil {
		publish, end, err := c.dial(address, "fleet/"+c.name)
		if err != nil {
			time.Sleep(10 * time.Millisecond)
			continue
		}
		var workers sync.WaitGroup
		for range inFlight {
			workers.Go(func() {
				for ctx.Err() == nil {
					n := c.take()
					err := publish(sentPayload(n))
					if c.settle(n, err); err != nil {
						return
					}
				}
			})
		}
		workers.Wait()
		end()
	}
}

// publishTopic is where a client publishes.
func publishTopic(clientID string) string { return Root + "/" + clientID + "/" + BodyWord }

const clientPatience = 20 * time.Second

func dialMQTT3(address, clientID string) (func(string) error, func(), error) {
	// A clean session without reconnecting: the library's tokens then tell the
	// truth. With a kept session it completes the token of a message that it is
	// about to send again as if it were acknowledged.
	c := paho3.NewClient(options3(address, clientID).SetConnectTimeout(clientPatience))
	if token := c.Connect(); !token.WaitTimeout(clientPatience) || token.Error() != nil {
		return nil, nil, errors.Join(errors.New("no connection"), token.Error())
	}
	publish := func(payload string) error {
		token := c.Publish(publishTopic(clientID), 1, false, payload)
		if !token.WaitTimeout(clientPatience) {
			return errors.New("no acknowledgement")
		}
		return token.Error()
	}
	return publish, func() { c.Disconnect(0) }, nil
}

func dialMQTT5(address, clientID string) (func(string) error, func(), error) {
	c, _, err := dial5(address, clientID, secretOf(clientID))
	if err != nil {
		return nil, nil, err
	}
	// The library would wait for an acknowledgement also where the connection is
	// gone.
	connected, lost := context.WithCancel(context.Background())
	go func() {
		<-c.Done()
		lost()
	}()
	publish := func(payload string) error {
		ctx, cancel := context.WithTimeout(connected, clientPatience)
		defer cancel()
		_, err := c.Publish(ctx, &paho5.Publish{Topic: publishTopic(clientID), QoS: 1, Payload: []byte(payload)})
		return err
	}
	return publish, func() { c.Disconnect(&paho5.Disconnect{}) }, nil
}

// child is the running server process.
type child struct {
	cmd   *exec.Cmd
	stdin io.Closer
	log   *bytes.Buffer
}

func startChild(t *testing.T, dir, address string, d Durability) *child {
	t.Helper()
	c := &child{cmd: exec.Command(os.Args[0], "-test.run=^$"), log: &bytes.Buffer{}}
	c.cmd.Env = append(os.Environ(), childDir+"="+dir, childAddress+"="+address, childDurability+"="+d.String())
	c.cmd.Stderr = c.log
	var err error
	if c.stdin, err = c.cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	stdout, err := c.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.kill) // this process and no other, should the test end early
	if line, err := bufio.NewReader(stdout).ReadString('\n'); strings.TrimSpace(line) != readyLine {
		c.kill()
		t.Fatalf("the server says %q, %v: %s", line, err, c.log)
	}
	return c
}

// kill is kill -9 of the server. It may be called again.
func (c *child) kill() {
	c.cmd.Process.Kill()
	c.cmd.Wait()
	c.stdin.Close()
}

// TestDurability kills the server at random moments under load, starts it again,
// and at the end looks for every acknowledged reading. ISOHALINE_DURABILITY=full
// makes it 100,000 readings and 20 kills for each setting.
func TestDurability(t *testing.T) {
	readings, kills, clients, inFlight := 1500, 3, 4, 8
	if os.Getenv("ISOHALINE_DURABILITY") == "full" {
		readings, kills, clients, inFlight = 100_000, 20, 20, 10
	}
	for _, d := range []Durability{SurvivesKill, SurvivesPowerCut} {
		t.Run(d.String(), func(t *testing.T) {
			const seed = 20261125
			random := rand.New(rand.NewPCG(seed, uint64(d)))
			dir, address := t.TempDir(), freeport.Reserve(t)
			fleet := make([]*client, clients)
			ctx, cancel := context.WithCancel(t.Context())
			var running sync.WaitGroup
			for i := range fleet {
				fleet[i] = &client{name: fmt.Sprintf("device-%d", i), dial: dialMQTT3}
				if i%2 == 1 {
					fleet[i].dial = dialMQTT5
				}
				running.Go(func() { fleet[i].run(ctx, address, inFlight) })
			}
			acked := func() (n int) {
				for _, c := range fleet {
					n += c.count()
				}
				return n
			}
			start, killed := time.Now(), 0
			for killed < kills || acked() < readings {
				before := acked()
				server := startChild(t, dir, address, d)
				more := 1 + random.IntN(readings/kills)
				eventually(t, "load", func() bool { return acked() >= before+more })
				server.kill()
				killed++
			}
			cancel()
			running.Wait()
			t.Logf("%d readings acknowledged, %d kills, %d clients with %d in flight each, %v",
				acked(), killed, clients, inFlight, time.Since(start).Round(time.Second))
			verify(t, dir, fleet, killed*clients*inFlight)
		})
	}
}

// verify reads the log and the store and compares them with what the clients know.
func verify(t *testing.T, dir string, fleet []*client, mostRepeats int) {
	t.Helper()
	l := openLog(t, LogOptions{Dir: filepath.Join(dir, "log")})
	inLog := readLog(t, l)
	store, err := openStore(dir)
	if err != nil {
		t.Fatal(err)
	}
	drain(t, l, l.After(store.at), func(_ context.Context, frames []Frame) error { return store.write(l, frames) })
	inStore := readStore(t, dir)

	position := map[line]int{} // of the first time in the log
	var order []line
	for _, r := range inLog {
		n := int(r.Value)
		if want := 1764064800_000000 + int64(n)*1000; r.At.UnixMicro() != want || r.Clock != ByDevice {
			t.Fatalf("reading %v of %s came out with the time %v", r.Value, r.Device, r.At)
		}
		at := line{r.Device, n}
		if _, ok := position[at]; !ok {
			position[at] = len(order)
			order = append(order, at)
		}
	}
	lost, sent, total := 0, 0, 0
	for _, c := range fleet {
		total += len(c.acked)
		sent += c.next
		for _, n := range c.acked {
			if _, ok := position[line{c.name, n}]; !ok {
				lost++
			}
		}
		seen := map[int]bool{}
		for _, n := range c.acked {
			if seen[n] {
				t.Errorf("%s: reading %d was acknowledged twice to the test: it counts wrongly", c.name, n)
			}
			seen[n] = true
		}
	}
	repeats := len(inLog) - len(order)
	t.Logf("log: %d readings, %d repeated, %d lost of %d acknowledged", len(order), repeats, lost, total)
	if lost > 0 {
		t.Errorf("%d of %d acknowledged readings are not in the log", lost, total)
	}
	if len(order) > sent {
		t.Errorf("the log has %d readings, only %d were ever sent", len(order), sent)
	}
	// Only what was in flight at a kill can be there twice; the key makes it once.
	if repeats > mostRepeats {
		t.Errorf("%d readings are repeated, at most %d were in flight at kills", repeats, mostRepeats)
	}

	// The store has seen everything, and first saw it in the order of the log.
	next := 0
	stored := map[line]bool{}
	for _, at := range inStore {
		if stored[at] {
			continue
		}
		stored[at] = true
		if next >= len(order) || order[next] != at {
			t.Fatalf("the store got %v as its %d-th reading, out of the order of the log", at, next+1)
		}
		next++
	}
	if next != len(order) {
		t.Errorf("the store has %d readings of the log's %d", next, len(order))
	}
}

// line is one reading in the store's file.
type line struct {
	device string
	n      int
}

func readStore(t *testing.T, dir string) []line {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(dir, storedFile))
	if err != nil {
		t.Fatal(err)
	}
	var out []line
	for text := range strings.Lines(string(data)) {
		if strings.HasPrefix(text, positionMark) {
			continue
		}
		device, number, _ := strings.Cut(strings.TrimSpace(text), " ")
		n, err := strconv.Atoi(number)
		if err != nil {
			t.Fatalf("the store has the line %q", text)
		}
		out = append(out, line{device, n})
	}
	return out
}

func readLog(t *testing.T, l *Log) []Reading {
	t.Helper()
	var out []Reading
	drain(t, l, 0, func(_ context.Context, frames []Frame) error {
		for _, f := range frames {
			out = append(out, f.Readings...)
		}
		return nil
	})
	return out
}

// drain consumes everything that is in the log after a position.
func drain(t *testing.T, l *Log, after uint64, take func(context.Context, []Frame) error) {
	t.Helper()
	head, err := l.Head(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if after == head {
		return
	}
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Minute)
	defer cancel()
	err = l.Consume(ctx, after, func(ctx context.Context, frames []Frame) error {
		after = frames[len(frames)-1].Sequence
		if after == head {
			defer cancel()
		}
		return take(ctx, frames)
	})
	if err != nil || after != head {
		t.Fatalf("drained up to frame %d of %d, %v", after, head, err)
	}
}
