package edgeio

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"
	"unsafe"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
	lib "github.com/simonvetter/modbus"

	"isohaline/internal/edge/lease"
	"isohaline/internal/guard"
)

// holderVar makes this test binary hold a pump's line on the broker it names, on,
// until it is killed.
const holderVar = "ISOHALINE_TEST_HOLDER"

func TestMain(m *testing.M) {
	address := os.Getenv(holderVar)
	if address == "" {
		os.Exit(m.Run())
	}
	w, err := Read("edge.yaml", []byte(fmt.Sprintf(pumpWiring, address)))
	if err != nil {
		panic(err)
	}
	b, err := Open(context.Background(), w)
	for tick := time.Tick(100 * time.Millisecond); err == nil; <-tick { // as an agent does
		err = b.Drive(context.Background(), lease.Outputs{Pump: true})
	}
	panic(err)
}

const pumpWiring = `
isohaline edge: 1
mqtt: {broker: "tcp://%s"}
inputs:
  watch: {mqtt: cellar/watch, wet: WET, dry: DRY}
outputs:
  pump: {mqtt: cellar/pump, on: "ON", off: "OFF"}
`

// open reads a wiring and takes hold of it.
func open(t *testing.T, text string) *Board {
	t.Helper()
	w, err := Read("edge.yaml", []byte("isohaline edge: 1\n"+text))
	if err != nil {
		t.Fatal(err)
	}
	b, err := Open(t.Context(), w)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

// patience is for a slow machine.
const patience = time.Minute

// eventually reads and drives at an agent's pace until something is so.
func eventually(t *testing.T, what string, so func() bool) {
	t.Helper()
	end := time.NewTimer(patience)
	defer end.Stop()
	step := time.NewTicker(10 * time.Millisecond)
	defer step.Stop()
	for !so() {
		select {
		case <-end.C:
			t.Fatalf("never: %s", what)
		case <-step.C:
		}
	}
}

// until waits for a line that ends so.
func until(t *testing.T, lines <-chan string, what string) {
	t.Helper()
	end := time.NewTimer(patience)
	defer end.Stop()
	for {
		select {
		case line, ok := <-lines:
			if !ok {
				t.Fatalf("nothing more is said, and never %q", what)
			}
			if strings.HasSuffix(line, what) {
				return
			}
		case <-end.C:
			t.Fatalf("never said: %q", what)
		}
	}
}

// box is a Modbus device with every kind of point.
type box struct {
	mu       sync.Mutex
	coils    [8]bool
	inputs   [8]bool
	holding  [8]uint16
	register [8]uint16
	written  []string
}

func (b *box) HandleCoils(q *lib.CoilsRequest) ([]bool, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if int(q.Addr+q.Quantity) > len(b.coils) || q.UnitId != 3 {
		return nil, lib.ErrIllegalDataAddress
	}
	if q.IsWrite {
		copy(b.coils[q.Addr:], q.Args)
		b.written = append(b.written, fmt.Sprint(q.Addr, q.Args[0]))
	}
	return b.coils[q.Addr : q.Addr+q.Quantity], nil
}

func (b *box) HandleDiscreteInputs(q *lib.DiscreteInputsRequest) ([]bool, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if int(q.Addr+q.Quantity) > len(b.inputs) {
		return nil, lib.ErrIllegalDataAddress
	}
	return b.inputs[q.Addr : q.Addr+q.Quantity], nil
}

func (b *box) HandleHoldingRegisters(q *lib.HoldingRegistersRequest) ([]uint16, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if q.IsWrite {
		copy(b.holding[q.Addr:], q.Args)
	}
	return b.holding[q.Addr : q.Addr+q.Quantity], nil
}

func (b *box) HandleInputRegisters(q *lib.InputRegistersRequest) ([]uint16, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.register[q.Addr : q.Addr+q.Quantity], nil
}

// place is where a Modbus device is found: an address of its own for as long as the
// test lasts, whether the device is there or not.
type place struct {
	address string

	mu     sync.Mutex
	server *lib.ModbusServer // nil while nobody is there
	behind string            // where it listens
}

// newPlace is a place with a device: a server of another library.
func newPlace(t *testing.T, b *box) *place {
	t.Helper()
	front, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &place{address: front.Addr().String()}
	var calls sync.WaitGroup
	calls.Go(func() {
		for {
			near, err := front.Accept()
			if err != nil {
				return // the test has ended
			}
			calls.Go(func() { p.connect(near) })
		}
	})
	t.Cleanup(func() {
		front.Close()
		p.leave()
		calls.Wait()
	})
	p.come(t, b)
	return p
}

// connect passes on what is said, until one of the two hangs up. Where nobody is
// there it hangs up.
func (p *place) connect(near net.Conn) {
	defer near.Close()
	p.mu.Lock()
	behind := p.behind
	p.mu.Unlock()
	if behind == "" {
		return
	}
	far, err := net.Dial("tcp", behind)
	if err != nil {
		return
	}
	defer far.Close()
	ended := make(chan struct{}, 2)
	for _, way := range [][2]net.Conn{{near, far}, {far, near}} {
		go func() {
			_, _ = io.Copy(way[0], way[1])
			ended <- struct{}{}
		}()
	}
	<-ended
	near.Close()
	far.Close()
	<-ended
}

// come puts a device there. The library's server cannot be started again: what it has
// stopped still looks at it.
func (p *place) come(t *testing.T, b *box) {
	t.Helper()
	s, err := lib.NewServer(&lib.ServerConfiguration{URL: "tcp://127.0.0.1:0", Timeout: time.Minute, MaxClients: 4}, b)
	if err == nil {
		err = s.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.server, p.behind = s, listenerOf(s).Addr().String()
}

// listenerOf is where a server listens, which the library does not say.
func listenerOf(s *lib.ModbusServer) net.Listener {
	field := reflect.ValueOf(s).Elem().FieldByName("tcpListener")
	return *(*net.Listener)(unsafe.Pointer(field.UnsafeAddr()))
}

// leave takes the device away.
func (p *place) leave() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.server != nil {
		p.server.Stop()
		p.server, p.behind = nil, ""
	}
}

// TestModbus reads every kind of point and drives coils, either way round, on a
// server that is not ours.
func TestModbus(t *testing.T) {
	device := &box{coils: [8]bool{0: true, 1: false}, inputs: [8]bool{2: true}, holding: [8]uint16{4: 1}, register: [8]uint16{5: 1834}}
	there := newPlace(t, device)
	b := open(t, fmt.Sprintf(`
modbus: {box: {url: "tcp://%s", unit: 3, timeout: 0.5 s, watchdog register: 7, watchdog value: 20}}
inputs:
  watch: {modbus: box, discrete: 2}
  ceiling: {modbus: box, discrete: 3, wet when: off}
  floor: {modbus: box, holding: 4}
  return pump: {modbus: box, coil: 6, running when: off}
  level: {modbus: box, register: 5, scale: 0.1 mm, offset: -20 mm}
outputs:
  pump: {modbus: box, coil: 0}
  valve: {modbus: box, coil: 1, on when: off}
`, there.address))
	device.mu.Lock()
	if device.coils[0] || !device.coils[1] || device.holding[7] != 20 {
		t.Errorf("opened with coils %v, watchdog %d: want pump and valve off, watchdog 20", device.coils, device.holding[7])
	}
	device.mu.Unlock()
	in, err := b.Read(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	g := in.Guard()
	if g.Watch != guard.Wet || g.Ceiling != guard.Wet || g.Floor != guard.Wet || g.ReturnPump != guard.Wet || g.ReservoirLow != guard.Absent {
		t.Errorf("read %+v", g)
	}
	if want := 1834*0.1 - 20; g.LevelMM != want {
		t.Errorf("level %v, want %v", g.LevelMM, want)
	}

	device.mu.Lock()
	device.written = nil
	device.mu.Unlock()
	if err := b.Drive(t.Context(), lease.Outputs{Pump: true, Valve: true}); err != nil {
		t.Fatal(err)
	}
	if err := b.Drive(t.Context(), lease.Outputs{Valve: true}); err != nil {
		t.Fatal(err)
	}
	device.mu.Lock()
	if last := device.written[len(device.written)-2:]; last[0] != "0 false" { // off comes first
		t.Errorf("written %v", device.written)
	}
	device.mu.Unlock()

	// The device goes away: what cannot be read is faulty, and it is found again.
	there.leave()
	in, err = b.Read(t.Context())
	if g := in.Guard(); err == nil || g.Watch != guard.Faulty || g.Ceiling != guard.Faulty || g.LevelMM == g.LevelMM {
		t.Errorf("without the device: %+v, %v", g, err)
	}
	if err := b.Drive(t.Context(), lease.Outputs{}); err == nil || !strings.Contains(err.Error(), "pump: modbus box") {
		t.Errorf("driven without the device: %v", err)
	}
	there.come(t, device)
	eventually(t, "the device is found again", func() bool {
		_, err := b.Read(t.Context())
		return err == nil && b.Drive(t.Context(), lease.Outputs{}) == nil
	})
	device.mu.Lock()
	defer device.mu.Unlock()
	if device.coils[0] || !device.coils[1] {
		t.Errorf("coils %v", device.coils)
	}
}

// TestNobodyThereYet: a device and a broker that do not answer are no reason not
// to begin, and are found when they come.
func TestNobodyThereYet(t *testing.T) {
	device := &box{coils: [8]bool{0: true}, inputs: [8]bool{2: true}}
	there := newPlace(t, device)
	there.leave()
	b := open(t, fmt.Sprintf(`
mqtt: {broker: "tcp://127.0.0.1:1"}
modbus: {box: {url: "tcp://%s", unit: 3}}
inputs:
  watch: {modbus: box, discrete: 2}
  floor: {mqtt: cellar/floor, wet: WET, dry: DRY}
outputs:
  pump: {modbus: box, coil: 0}
  horn: {mqtt: cellar/horn, on: "ON", off: "OFF"}
`, there.address))
	in, err := b.Read(t.Context())
	if g := in.Guard(); err == nil || g.Watch != guard.Faulty || g.Floor != guard.Faulty {
		t.Errorf("%+v, %v", g, err)
	}
	if err := b.Drive(t.Context(), lease.Outputs{Horn: true}); err == nil || !strings.Contains(err.Error(), "horn: the broker does not answer") {
		t.Errorf("%v", err)
	}
	there.come(t, device)
	eventually(t, "the device is found", func() bool {
		_ = b.Drive(t.Context(), lease.Outputs{})
		in, _ := b.Read(t.Context())
		device.mu.Lock()
		defer device.mu.Unlock()
		return in.Guard().Watch == guard.Wet && !device.coils[0]
	})
}

// TestModbusRefuses: a point that the device has not is an error that names the
// input, and a faulty reading.
func TestModbusRefuses(t *testing.T) {
	there := newPlace(t, &box{})
	b := open(t, fmt.Sprintf("modbus: {box: {url: \"tcp://%s\", unit: 3}}\ninputs:\n  watch: {modbus: box, discrete: 500}\noutputs:\n  pump: {modbus: box, coil: 0}\n", there.address))
	in, err := b.Read(t.Context())
	if g := in.Guard(); err == nil || !strings.Contains(err.Error(), "watch: modbus box: illegal data address") || g.Watch != guard.Faulty {
		t.Errorf("%+v, %v", g, err)
	}
}

// openDoor lets everybody do everything.
type openDoor struct{ mochi.HookBase }

func (*openDoor) Provides(what byte) bool {
	return what == mochi.OnConnectAuthenticate || what == mochi.OnACLCheck
}
func (*openDoor) OnConnectAuthenticate(*mochi.Client, packets.Packet) bool { return true }
func (*openDoor) OnACLCheck(*mochi.Client, string, bool) bool              { return true }

// startBroker is an MQTT broker on loopback.
func startBroker(t *testing.T) string {
	t.Helper()
	s := mochi.New(&mochi.Options{Logger: slog.New(slog.DiscardHandler)})
	if err := s.AddHook(new(openDoor), nil); err != nil {
		t.Fatal(err)
	}
	l := listeners.NewTCP(listeners.Config{ID: "t", Address: "127.0.0.1:0"})
	if err := s.AddListener(l); err != nil {
		t.Fatal(err)
	}
	go s.Serve()
	t.Cleanup(func() { s.Close() })
	return l.Address()
}

// mosquitto runs one of the mosquitto clients, which are not ours either.
func mosquitto(t *testing.T, broker, name string, args ...string) *exec.Cmd {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Skipf("SKIPPED: %s is not installed: MQTT was not tried against another maker's client", name)
	}
	host, port, _ := net.SplitHostPort(broker)
	return exec.Command(path, append([]string{"-h", host, "-p", port}, args...)...)
}

// TestMQTT hears a sensor and commands a relay through a broker, with mosquitto's
// clients for both; and the relay is told off by the last will when the holder
// of the line is gone without a word.
func TestMQTT(t *testing.T) {
	address := startBroker(t)
	relay := mosquitto(t, address, "mosquitto_sub", "-t", "cellar/pump", "-q", "1", "-F", "%r %p")
	out, err := relay.StdoutPipe()
	if err == nil {
		err = relay.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	said := make(chan string)
	var ears sync.WaitGroup
	ears.Go(func() {
		defer close(said)
		for lines := bufio.NewScanner(out); lines.Scan(); {
			select {
			case said <- lines.Text():
			case <-t.Context().Done():
			}
		}
	})
	t.Cleanup(func() {
		_ = relay.Process.Kill()
		ears.Wait()
		_ = relay.Wait()
	})
	say := func(topic, payload string, more ...string) {
		t.Helper()
		args := append([]string{"-t", topic, "-m", payload, "-q", "1"}, more...)
		if out, err := mosquitto(t, address, "mosquitto_pub", args...).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
	}
	say("cellar/watch", "WET", "-r") // as old as may be
	// Until the broker has it for those who come later, it may pass it on as new.
	if out, err := mosquitto(t, address, "mosquitto_sub", "-t", "cellar/watch", "-C", "1", "-W", "10").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	b := open(t, fmt.Sprintf(`
mqtt: {broker: "tcp://%s"}
inputs:
  watch: {mqtt: cellar/watch, wet: WET, dry: DRY, silent after: 3 s}
  level: {mqtt: cellar/level, scale: 1 cm}
outputs:
  pump: {mqtt: cellar/pump, on: "ON", off: "OFF"}
`, address))
	until(t, said, "OFF") // as it is said, or retained
	reads := func() guard.Inputs {
		in, _ := b.Read(t.Context())
		return in.Guard()
	}
	if got := reads().Watch; got != guard.Faulty {
		t.Errorf("a retained message is taken for now: %v", got)
	}
	say("cellar/watch", "DRY")
	say("cellar/level", "18.5")
	eventually(t, "dry is heard", func() bool { return reads().Watch == guard.Dry && reads().LevelMM == 185 })
	say("cellar/watch", "WET")
	eventually(t, "wet is heard", func() bool { return reads().Watch == guard.Wet })
	say("cellar/watch", "damp")
	eventually(t, "nonsense is faulty", func() bool { return reads().Watch == guard.Faulty })
	say("cellar/watch", "DRY")
	eventually(t, "silence is faulty", func() bool { return reads().Watch == guard.Faulty })

	if err := b.Close(); err != nil {
		t.Fatal(err)
	}

	// Another process holds the line, turns it on, and is killed.
	holder := exec.Command(os.Args[0])
	holder.Env = append(os.Environ(), holderVar+"="+address)
	if err := holder.Start(); err != nil {
		t.Fatal(err)
	}
	until(t, said, "ON")
	began := time.Now()
	_ = holder.Process.Kill()
	_ = holder.Wait()
	until(t, said, "OFF")
	t.Logf("off %v after the holder of the line was killed", time.Since(began).Round(time.Millisecond))

	// A relay that comes only now is told off, and never on.
	late, err := mosquitto(t, address, "mosquitto_sub", "-t", "cellar/pump", "-C", "1", "-W", "10").Output()
	if err != nil || strings.TrimSpace(string(late)) != "OFF" {
		t.Errorf("a late relay hears %q, %v", late, err)
	}
}

// TestGPIO drives lines of the kernel's simulated chip, where there is one.
func TestGPIO(t *testing.T) {
	const configured = "/sys/kernel/config/gpio-sim"
	if _, err := os.Stat(configured); err != nil {
		t.Skip("SKIPPED: this kernel has no gpio-sim (CONFIG_GPIO_SIM, configfs): GPIO WAS NOT TRIED on lines")
	}
	bank := filepath.Join(configured, "isohaline-test", "bank")
	steps := []error{os.MkdirAll(bank, 0o755), os.WriteFile(filepath.Join(bank, "num_lines"), []byte("4"), 0o644)}
	for i, name := range []string{"WATCH", "CEILING", "PUMP", "VALVE"} {
		line := filepath.Join(bank, fmt.Sprint("line", i))
		steps = append(steps, os.Mkdir(line, 0o755), os.WriteFile(filepath.Join(line, "name"), []byte(name), 0o644))
	}
	steps = append(steps, os.WriteFile(filepath.Join(bank, "..", "live"), []byte("1"), 0o644))
	for _, err := range steps {
		if err != nil {
			t.Skipf("SKIPPED: gpio-sim cannot be set up: GPIO WAS NOT TRIED on lines: %v", err)
		}
	}
	t.Cleanup(func() { _ = os.WriteFile(filepath.Join(bank, "..", "live"), []byte("0"), 0o644) })
	device, err := os.ReadFile(filepath.Join(bank, "..", "dev_name"))
	chip, err2 := os.ReadFile(filepath.Join(bank, "chip_name"))
	if err != nil || err2 != nil {
		t.Fatal(err, err2)
	}
	sim := func(offset int, file string) string {
		return filepath.Join("/sys/devices/platform", strings.TrimSpace(string(device)), strings.TrimSpace(string(chip)), fmt.Sprintf("sim_gpio%d", offset), file)
	}
	b := open(t, fmt.Sprintf(`
inputs:
  watch: {gpio: %[1]s/WATCH, wet when: high}
  ceiling: {gpio: %[1]s/CEILING, wet when: low}
outputs:
  pump: {gpio: %[1]s/PUMP, on when: high}
  valve: {gpio: %[1]s/VALVE, on when: low}
`, strings.TrimSpace(string(chip))))
	for _, pull := range []string{"pull-up", "pull-down"} {
		for offset := range 2 {
			if err := os.WriteFile(sim(offset, "pull"), []byte(pull), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		in, err := b.Read(t.Context())
		g := in.Guard()
		if high := pull == "pull-up"; err != nil || g.Watch != contact(high) || g.Ceiling != contact(!high) {
			t.Errorf("%s: %+v, %v", pull, g, err)
		}
	}
	for _, on := range []bool{true, false} {
		if err := b.Drive(context.Background(), lease.Outputs{Pump: on, Valve: on}); err != nil {
			t.Fatal(err)
		}
		for offset, want := range map[int]bool{2: on, 3: !on} {
			value, err := os.ReadFile(sim(offset, "value"))
			if err != nil || (strings.TrimSpace(string(value)) == "1") != want {
				t.Errorf("line %d is %s, %v", offset, value, err)
			}
		}
	}
}
