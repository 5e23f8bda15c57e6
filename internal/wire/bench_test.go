package wire

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"isohaline/internal/freeport"
)

// publisher is an MQTT 3.1.1 client that costs next to nothing, so that a
// benchmark on a small machine measures the server.
type publisher struct {
	conn   net.Conn
	in     *bufio.Reader
	out    *bufio.Writer
	topic  string
	nextID uint16
}

func field(s string) string {
	return string(binary.BigEndian.AppendUint16(nil, uint16(len(s)))) + s
}

func (p *publisher) packet(first byte, body string) {
	p.out.WriteByte(first)
	p.out.Write(binary.AppendUvarint(nil, uint64(len(body)))) // MQTT's length is a varint of the same kind
	p.out.WriteString(body)
}

func dialRaw(address, clientID string) (*publisher, error) {
	conn, err := net.Dial("tcp", address)
	if err != nil {
		return nil, err
	}
	p := &publisher{conn: conn, in: bufio.NewReader(conn), out: bufio.NewWriter(conn), topic: publishTopic(clientID)}
	p.packet(0x10, field("MQTT")+"\x04\xc2\x00\x3c"+field(clientID)+field(clientID)+field(secretOf(clientID)))
	p.out.Flush()
	var ack [4]byte
	if _, err := io.ReadFull(p.in, ack[:]); err != nil || ack[3] != 0 {
		return nil, fmt.Errorf("connect: %x, %w", ack, err)
	}
	return p, nil
}

// publish sends n messages with a window in flight and returns when all are
// acknowledged.
func (p *publisher) publish(n, window int, payload func(i int) string) error {
	var ack [4]byte
	for sent, acked := 0, 0; acked < n; {
		for sent < n && sent-acked < window {
			if p.nextID++; p.nextID == 0 {
				p.nextID = 1
			}
			p.packet(0x32, field(p.topic)+string(binary.BigEndian.AppendUint16(nil, p.nextID))+payload(sent))
			sent++
		}
		if err := p.out.Flush(); err != nil {
			return err
		}
		for first := true; first || p.in.Buffered() >= len(ack); first = false {
			if _, err := io.ReadFull(p.in, ack[:]); err != nil || ack[0] != 0x40 {
				return fmt.Errorf("acknowledgement: %x, %v", ack, err)
			}
			acked++
		}
	}
	return nil
}

// ingest measures acknowledged readings per second through the front door into
// the log.
func ingest(b *testing.B, d Durability, clients, window, perMessage int) {
	l := openLog(b, LogOptions{Durability: d, MaxBytes: 32 << 30})
	h := openHouse(b, l.Append)
	fleet := make([]*publisher, clients)
	for i := range fleet {
		var err error
		if fleet[i], err = dialRaw(h.address, fmt.Sprintf("fleet/device-%d", i)); err != nil {
			b.Fatal(err)
		}
		defer fleet[i].conn.Close()
	}
	readings := load(b, fleet, window, perMessage)
	b.ReportMetric(readings/b.Elapsed().Seconds(), "readings/s")
	b.ReportMetric(readings/float64(l.Counters.Frames.Load()), "readings/frame")
	b.ReportMetric(float64(h.door.Counters.Waited.Load())/1e3/float64(h.door.Counters.Messages.Load()), "µs-wait/message")
	b.ReportMetric(0, "ns/op")
}

// load has every client of a fleet publish its share of b.N readings, times
// that, and says how many were acknowledged.
func load(b *testing.B, fleet []*publisher, window, perMessage int) float64 {
	b.Helper()
	messages := max(1, b.N/perMessage/len(fleet))
	var failed atomic.Value
	b.ResetTimer()
	var wg sync.WaitGroup
	for _, p := range fleet {
		wg.Go(func() {
			err := p.publish(messages, window, func(i int) string {
				var s strings.Builder
				fmt.Fprintf(&s, `[{"bt":%.3f,"bu":"m"`, 1764064800+float64(i))
				for k := range perMessage {
					if k > 0 {
						s.WriteString("},{")
					} else {
						s.WriteString(",")
					}
					fmt.Fprintf(&s, `"n":"level","t":%.3f,"v":0.312`, float64(k)/1000)
				}
				s.WriteString("}]")
				return s.String()
			})
			if err != nil {
				failed.Store(err)
			}
		})
	}
	wg.Wait()
	b.StopTimer()
	if err := failed.Load(); err != nil {
		b.Fatal(err)
	}
	return float64(messages * perMessage * len(fleet))
}

// BenchmarkIngest is the promise under load: MQTT over loopback, QoS 1, SenML in
// JSON, acknowledged after the log. Run it with -benchtime 100000x.
func BenchmarkIngest(b *testing.B) {
	for _, d := range []Durability{SurvivesKill, SurvivesPowerCut} {
		for _, row := range []struct{ clients, window, perMessage int }{
			{1, 1, 1}, {1, 20, 1}, {10, 20, 1}, {50, 1, 1}, {50, 20, 1}, {200, 1, 1}, {200, 20, 1}, {10, 1, 20}, {50, 20, 20},
		} {
			b.Run(fmt.Sprintf("%v/clients=%d/window=%d/readings=%d", d, row.clients, row.window, row.perMessage), func(b *testing.B) {
				ingest(b, d, row.clients, row.window, row.perMessage)
			})
		}
	}
}

// BenchmarkIngestYardstick is the same load on a general-purpose broker, mosquitto,
// with persistence on and a subscriber away for whom it keeps every message. It
// acknowledges from memory and writes later, so it promises less.
func BenchmarkIngestYardstick(b *testing.B) {
	broker, err := exec.LookPath("mosquitto")
	if err != nil {
		b.Skip("SKIPPED: mosquitto, the yardstick, is not installed")
	}
	for _, row := range []struct{ clients, window, perMessage int }{{10, 20, 1}, {50, 20, 1}, {200, 20, 1}} {
		b.Run(fmt.Sprintf("clients=%d/window=%d/readings=%d", row.clients, row.window, row.perMessage), func(b *testing.B) {
			address := runBroker(b, broker)
			fleet := make([]*publisher, row.clients)
			for i := range fleet {
				var err error
				if fleet[i], err = dialRaw(address, fmt.Sprintf("fleet/device-%d", i)); err != nil {
					b.Fatal(err)
				}
				defer fleet[i].conn.Close()
			}
			readings := load(b, fleet, row.window, row.perMessage)
			b.ReportMetric(readings/b.Elapsed().Seconds(), "readings/s")
			b.ReportMetric(0, "ns/op")
		})
	}
}

// runBroker starts the yardstick on a free port of loopback, with one persistent
// subscriber that has gone away, and ends it with the benchmark.
func runBroker(b *testing.B, path string) (address string) {
	b.Helper()
	address = freeport.Reserve(b)
	dir := b.TempDir()
	conf := filepath.Join(dir, "broker.conf")
	port := address[strings.LastIndex(address, ":")+1:]
	text := fmt.Sprintf("user root\nlistener %s 127.0.0.1\nallow_anonymous true\npersistence true\npersistence_location %s/\n"+
		"autosave_on_changes true\nautosave_interval 10000\nmax_queued_messages 0\nmax_inflight_messages 0\n", port, dir)
	if err := os.WriteFile(conf, []byte(text), 0o600); err != nil {
		b.Fatal(err)
	}
	broker := exec.Command(path, "-c", conf)
	if err := broker.Start(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		broker.Process.Kill()
		broker.Wait()
	})
	for try := 0; ; try++ {
		away := exec.Command("mosquitto_sub", "-p", port, "-i", "away", "-c", "-q", "1", "-t", "#", "-E")
		if err := away.Run(); err == nil {
			return address
		} else if try == 50 {
			b.Skipf("SKIPPED: the yardstick does not answer: %v", err)
		}
		time.Sleep(100 * time.Millisecond)
	}
}

// BenchmarkAppend is the log alone, from many goroutines.
func BenchmarkAppend(b *testing.B) {
	for _, d := range []Durability{SurvivesKill, SurvivesPowerCut} {
		b.Run(d.String(), func(b *testing.B) {
			l := openLog(b, LogOptions{Durability: d, MaxBytes: 32 << 30})
			b.SetParallelism(100)
			var next atomic.Int64
			b.ResetTimer()
			b.RunParallel(func(pb *testing.PB) {
				r := numbered(1)
				for pb.Next() {
					r[0].At = time.UnixMicro(1764064800_000000 + next.Add(1)).UTC()
					if err := l.Append(b.Context(), r); err != nil {
						b.Error(err)
						return
					}
				}
			})
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "readings/s")
		})
	}
}

// BenchmarkConsume is reading back, frames of a hundred readings.
func BenchmarkConsume(b *testing.B) {
	l := openLog(b, LogOptions{MaxBytes: 32 << 30})
	for left := b.N; left > 0; left -= 100 {
		appendAll(b, l, numbered(min(left, 100)))
	}
	b.ResetTimer()
	consumeUntil(b, l, new(uint64), b.N)
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}

func BenchmarkReadBody(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := ReadBody(lobby, testProfile, []byte(`[{"n":"level","u":"m","t":1764064800.5,"v":0.312}]`), time.Unix(1764064801, 0)); err != nil {
			b.Fatal(err)
		}
	}
}
