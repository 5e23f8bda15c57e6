package wire

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go/jetstream"
)

// consumeUntil consumes after a position until n readings have come, returns them
// and moves the position.
func consumeUntil(t testing.TB, l *Log, after *uint64, n int) []Reading {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	var got []Reading
	err := l.Consume(ctx, *after, func(_ context.Context, frames []Frame) error {
		for _, f := range frames {
			got, *after = append(got, f.Readings...), f.Sequence
		}
		if len(got) >= n {
			cancel()
		}
		return nil
	})
	if err != nil {
		t.Fatalf("Consume: %v", err)
	}
	if len(got) < n {
		t.Fatalf("%d readings came, want %d", len(got), n)
	}
	return got
}

func appendAll(t testing.TB, l *Log, readings []Reading) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	if err := l.Append(ctx, readings); err != nil {
		t.Fatal(err)
	}
}

func TestLogKeepsOrder(t *testing.T) {
	l := openLog(t, LogOptions{})
	want := numbered(3 * maxFrameReadings) // more than one frame holds
	appendAll(t, l, want)
	if diff := cmp.Diff(want, consumeUntil(t, l, new(uint64), len(want))); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if frames := l.Counters.Frames.Load(); frames < 3 {
		t.Errorf("%d frames, want several", frames)
	}
}

// Appends at the same time share frames, and each gets its own answer.
func TestLogGathersAppends(t *testing.T) {
	l := openLog(t, LogOptions{Durability: SurvivesPowerCut})
	const writers, each = 50, 20
	var wg sync.WaitGroup
	for w := range writers {
		wg.Go(func() {
			for i := range each {
				r := numbered(1)[0]
				r.Device, r.At = fmt.Sprintf("device-%d", w), r.At.Add(time.Duration(i)*time.Second)
				if err := l.Append(t.Context(), []Reading{r}); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	got := consumeUntil(t, l, new(uint64), writers*each)
	last := map[string]time.Time{}
	for _, r := range got {
		if !r.At.After(last[r.Device]) {
			t.Errorf("%s: %v comes after %v", r.Device, r.At, last[r.Device])
		}
		last[r.Device] = r.At
	}
	if frames := l.Counters.Frames.Load(); frames >= writers*each/2 {
		t.Errorf("%d readings took %d frames: they did not gather", writers*each, frames)
	}
}

// A position is good after closing and opening the log.
func TestLogPosition(t *testing.T) {
	dir := t.TempDir()
	readings := numbered(30)
	l := openLog(t, LogOptions{Dir: dir})
	appendAll(t, l, readings[:10])
	at := Position{Log: l.ID()}
	consumeUntil(t, l, &at.Sequence, 10)
	appendAll(t, l, readings[10:20])
	l.Close()

	l = openLog(t, LogOptions{Dir: dir})
	appendAll(t, l, readings[20:])
	after := l.After(at)
	if diff := cmp.Diff(readings[10:], consumeUntil(t, l, &after, 20)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if head, err := l.Head(t.Context()); err != nil || head != after {
		t.Errorf("the head is %d, %v, and the last frame %d", head, err, after)
	}
}

// A position of another log, or beyond the end that the log has lost, says nothing.
func TestLogPositionThatSaysNothing(t *testing.T) {
	dir := t.TempDir()
	l := openLog(t, LogOptions{Dir: dir})
	if head, err := l.Head(t.Context()); err != nil || head != 0 {
		t.Errorf("the head of an empty log is %d, %v", head, err)
	}
	for i := range 3 {
		appendAll(t, l, numbered(3)[i:i+1])
	}
	l.Close()
	l = openLog(t, LogOptions{Dir: dir})
	appendAll(t, l, numbered(4)[3:])
	for _, row := range []struct {
		p    Position
		want uint64
	}{
		{Position{l.ID(), 2}, 2}, {Position{l.ID(), 3}, 3}, {Position{l.ID(), 4}, 0}, {Position{"another", 2}, 0}, {Position{}, 0},
	} {
		if got := l.After(row.p); got != row.want {
			t.Errorf("after %v: %d, want %d", row.p, got, row.want)
		}
	}
	if other := openLog(t, LogOptions{}); other.ID() == l.ID() {
		t.Error("two logs have one ID")
	}
}

// A position that an earlier version kept in the log is taken over once, and holds
// up trimming no longer.
func TestInherit(t *testing.T) {
	l := openLog(t, LogOptions{})
	for i := range 5 {
		appendAll(t, l, numbered(5)[i:i+1])
	}
	old, err := l.stream.CreateConsumer(t.Context(), jetstream.ConsumerConfig{Durable: "watch", AckPolicy: jetstream.AckAllPolicy})
	if err != nil {
		t.Fatal(err)
	}
	for range 3 {
		m, err := old.Next()
		if err != nil {
			t.Fatal(err)
		}
		if err := m.DoubleAck(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	l.Release(5)
	l.trim(func(ctx context.Context) error { return l.trimBefore(ctx, time.Now()) })
	if got := first(t, l); got != 4 {
		t.Errorf("the first frame is %d, want 4: another consumer has the rest to read", got)
	}
	refused := errors.New("the disk is full")
	for _, c := range []struct {
		position uint64
		err      error
	}{{3, refused}, {3, nil}, {0, nil}} {
		var got uint64
		err := l.Inherit(t.Context(), "watch", func(position uint64) error { got = position; return c.err })
		if got != c.position || !errors.Is(err, c.err) {
			t.Errorf("inherited %d, %v, want %+v", got, err, c)
		}
	}
	l.trim(func(ctx context.Context) error { return l.trimBefore(ctx, time.Now()) })
	if got := first(t, l); got != 6 {
		t.Errorf("the first frame is %d, want none", got)
	}
}

// What fails comes again before anything else, and nothing is left out.
func TestConsumeTriesAgain(t *testing.T) {
	l := openLog(t, LogOptions{})
	want := numbered(50)
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	var got []Reading
	calls, failures, refused := 0, 0, uint64(0)
	go func() {
		for i := range want {
			if err := l.Append(ctx, want[i:i+1]); err != nil {
				t.Error(err)
			}
		}
	}()
	err := l.Consume(ctx, 0, func(_ context.Context, frames []Frame) error {
		if refused > 0 && frames[0].Sequence != refused {
			t.Errorf("frame %d came after frame %d was refused", frames[0].Sequence, refused)
		}
		if calls++; calls%2 == 1 && failures < 3 {
			failures, refused = failures+1, frames[0].Sequence
			return errors.New("the database is locked")
		}
		refused = 0
		for _, f := range frames {
			got = append(got, f.Readings...)
		}
		if len(got) == len(want) {
			cancel()
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if failures == 0 {
		t.Error("nothing failed: the test shows nothing")
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// However much waits, no call brings more than it may.
func TestConsumeBounds(t *testing.T) {
	l := openLog(t, LogOptions{})
	const small, large = 3000, 20
	for i := range numbered(small) {
		appendAll(t, l, numbered(small)[i:i+1])
	}
	for range large {
		appendAll(t, l, numbered(maxFrameReadings))
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	last := uint64(0)
	err := l.Consume(ctx, 0, func(_ context.Context, frames []Frame) error {
		bytes := 0
		for _, f := range frames {
			if f.Sequence != last+1 {
				t.Errorf("frame %d came after frame %d", f.Sequence, last)
			}
			last = f.Sequence
			entries, err := split(f.Readings)
			if err != nil {
				return err
			}
			for _, e := range entries {
				bytes += e.bytes
			}
		}
		if len(frames) > maxBatchFrames || bytes > maxBatchBytes {
			t.Errorf("one call brought %d frames of %d bytes", len(frames), bytes)
		}
		if last == small+large {
			cancel()
		}
		return nil
	})
	if err != nil || last != small+large {
		t.Fatalf("%d frames came, %v", last, err)
	}
}

// A consumer that was busy while far more came than may wait for it gets all of it,
// in order.
func TestConsumeWasBusy(t *testing.T) {
	l := openLog(t, LogOptions{})
	const rounds, each = 3, 2*maxBatchFrames + 100
	readings := numbered(rounds * each)
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	appended := 0
	more := func() {
		for range each {
			appendAll(t, l, readings[appended:appended+1])
			appended++
		}
	}
	more()
	var got []Reading
	err := l.Consume(ctx, 0, func(_ context.Context, frames []Frame) error {
		if appended < len(readings) {
			more() // while this call goes on
		}
		for _, f := range frames {
			got = append(got, f.Readings...)
		}
		if len(got) == len(readings) {
			cancel()
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(readings, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// message is a frame that has come.
type message struct {
	jetstream.Msg
	data []byte
}

func (m message) Data() []byte { return m.data }

// What waits comes in one call, and a frame that waits alone at once.
func TestBufferGathers(t *testing.T) {
	b := &buffer{frames: make(chan jetstream.Msg, 2*maxBatchFrames)}
	for _, n := range []int{1, 20, maxBatchFrames + 1} {
		for range n {
			b.frames <- message{data: make([]byte, 7)}
		}
		want := min(n, maxBatchFrames)
		if batch, bytes, err := b.next(t.Context()); err != nil || len(batch) != want || bytes != int64(7*want) {
			t.Errorf("of %d frames %d came with %d bytes, %v", n, len(batch), bytes, err)
		}
	}
	if got, want := weight(message{data: make([]byte, maxBatchBytes+1)}), int64(maxBatchBytes); got != want {
		t.Errorf("a frame larger than all room weighs %d, want %d", got, want)
	}
}

// Consume notices wherever it is that it has to end, and how.
func TestConsumeEnds(t *testing.T) {
	l := openLog(t, LogOptions{})
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	none := func(context.Context, []Frame) error { return nil }
	if err := l.Consume(ctx, 0, none); err != nil {
		t.Errorf("Consume without time: %v", err)
	}
	if err := l.Consume(t.Context(), 1, none); !errors.Is(err, ErrLogReplaced) {
		t.Errorf("Consume after a frame that the log never had: %v", err)
	}
	if err := l.js.DeleteStream(t.Context(), streamName); err != nil {
		t.Fatal(err)
	}
	if err := l.openStream(t.Context(), LogOptions{MaxBytes: DefaultMaxBytes}); err != nil {
		t.Fatal(err)
	}
	l.id = "the one before"
	if err := l.Consume(t.Context(), 0, none); !errors.Is(err, ErrLogReplaced) {
		t.Errorf("Consume of another log: %v", err)
	}
	l.Close()
	if err := l.Consume(t.Context(), 0, none); !errors.Is(err, ErrLogClosed) {
		t.Errorf("Consume of a closed log: %v", err)
	}
}

// Frames that are no longer there are counted, wherever they are missing, but not
// before the first for a consumer that begins.
func TestConsumePassesAHole(t *testing.T) {
	l := openLog(t, LogOptions{})
	readings := numbered(7)
	for i := range readings {
		appendAll(t, l, readings[i:i+1])
	}
	for _, seq := range []uint64{1, 2, 4, 5} {
		if err := l.stream.DeleteMsg(t.Context(), seq); err != nil {
			t.Fatal(err)
		}
	}
	for _, row := range []struct{ after, missing uint64 }{{0, 2}, {1, 3}} {
		before, after := l.Counters.Missing.Load(), row.after
		if diff := cmp.Diff([]Reading{readings[2], readings[5], readings[6]}, consumeUntil(t, l, &after, 3)); diff != "" {
			t.Errorf("after %d (-want +got):\n%s", row.after, diff)
		}
		if n := l.Counters.Missing.Load() - before; n != int64(row.missing) {
			t.Errorf("after %d: %d frames were counted as missing, want %d", row.after, n, row.missing)
		}
	}
}

// A frame of another version is skipped and counted, stays in the log, and moves
// the position.
func TestConsumeSkipsWhatItCannotRead(t *testing.T) {
	l := openLog(t, LogOptions{})
	if _, err := l.js.Publish(t.Context(), streamSubjects[:len(streamSubjects)-1]+"other", []byte("hello")); err != nil {
		t.Fatal(err)
	}
	want := numbered(1)
	appendAll(t, l, want)
	after := uint64(0)
	if diff := cmp.Diff(want, consumeUntil(t, l, &after, 1)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if n := l.Counters.Unreadable.Load(); n != 1 || after != 2 {
		t.Errorf("%d unreadable frames counted, want 1; the position is %d, want 2", n, after)
	}
}

// fill appends until the log has no more room and the publisher waits.
func fill(t *testing.T, l *Log) (accepted int) {
	t.Helper()
	for {
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		r := numbered(1)
		r[0].At = r[0].At.Add(time.Duration(accepted) * time.Second)
		r[0].Text = strings.Repeat("x", maxTextLen)
		err := l.Append(ctx, r)
		cancel()
		if errors.Is(err, context.DeadlineExceeded) {
			return accepted
		}
		if err != nil {
			t.Fatal(err)
		}
		accepted++
	}
}

// A full log makes publishers wait; it forgets nothing that somebody has yet to
// read, goes on once that is done, and says how far it reaches back.
func TestLogFull(t *testing.T) {
	var said bytes.Buffer
	l := openLog(t, LogOptions{MaxBytes: maxFrameBytes, Logger: slog.New(slog.NewTextHandler(&said, nil))})
	accepted := fill(t, l)
	if accepted < 100 {
		t.Fatalf("only %d readings went in", accepted)
	}
	if l.Counters.Retries.Load() == 0 {
		t.Error("no retry was counted")
	}
	if l.Counters.Trimmed.Load() != 0 {
		t.Error("what nobody has read was trimmed")
	}
	// The reading whose publisher gave up is still with the writer.
	after := uint64(0)
	got := consumeUntil(t, l, &after, accepted)
	for i, r := range got[:accepted] {
		if want := numbered(1)[0].At.Add(time.Duration(i) * time.Second); !r.At.Equal(want) {
			t.Fatalf("reading %d is of %v, want %v", i, r.At, want)
		}
	}
	l.Release(after)
	appendAll(t, l, numbered(1))
	consumeUntil(t, l, &after, 2)
	if n := l.Counters.Trimmed.Load(); n == 0 || n > int64(accepted/4) {
		t.Errorf("%d frames of %d were trimmed", n, accepted)
	}
	reach, err := l.Reach(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if oldest, err := l.stream.GetMsg(t.Context(), first(t, l)); err != nil || !oldest.Time.Equal(reach) || l.Counters.Oldest.Load() != reach.Unix() {
		t.Errorf("the log says that it reaches back to %v and %v, %v", reach, l.Counters.Oldest.Load(), err)
	}
	l.Close() // nobody writes to said any more
	if !strings.Contains(said.String(), "has forgotten readings sooner than it should") {
		t.Errorf("it said only %s", &said)
	}
}

// first is the sequence of the first frame in a log.
func first(t *testing.T, l *Log) uint64 {
	t.Helper()
	info, err := l.stream.Info(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return info.State.FirstSeq
}

// Trimming removes what is old and what is released, and only what is both.
func TestTrim(t *testing.T) {
	l := openLog(t, LogOptions{Keep: time.Hour})
	if reach, err := l.Reach(t.Context()); err != nil || !reach.IsZero() {
		t.Errorf("an empty log reaches back to %v, %v", reach, err)
	}
	readings := numbered(20)
	for i := range readings {
		appendAll(t, l, readings[i:i+1])
	}
	step := func(what string, want uint64, way func(context.Context) error) {
		t.Helper()
		if l.trim(way); first(t, l) != want {
			t.Errorf("%s: the first frame is %d, want %d", what, first(t, l), want)
		}
	}
	all := func(ctx context.Context) error { return l.trimBefore(ctx, time.Now().Add(time.Hour)) }
	step("nothing is released", 1, all)
	l.Release(10)
	step("all is younger", 1, l.trimOld)
	step("ten are released", 11, all)
	l.Release(20)
	l.Release(5) // which is released already
	middle, err := l.stream.GetMsg(t.Context(), 16)
	if err != nil {
		t.Fatal(err)
	}
	step("five are old", 16, func(ctx context.Context) error { return l.trimBefore(ctx, middle.Time) })
	l.Release(1000) // more than there is
	step("all are released", 21, all)
	if n := l.Counters.Trimmed.Load(); n != 20 {
		t.Errorf("%d frames were counted as trimmed, want 20", n)
	}
}

func TestAppendRefusesWhatIsNoReading(t *testing.T) {
	l := openLog(t, LogOptions{})
	r := numbered(1)
	r[0].Channel = "no such/name"
	if err := l.Append(t.Context(), r); ReasonOf(err) != Malformed {
		t.Errorf("error is %v", err)
	}
	if err := l.Append(t.Context(), nil); err != nil {
		t.Errorf("nothing to append: %v", err)
	}
}

func TestClosedLog(t *testing.T) {
	l := openLog(t, LogOptions{})
	consumed := make(chan error, 1)
	started := make(chan struct{})
	appendAll(t, l, numbered(1))
	go func() {
		consumed <- l.Consume(context.Background(), 0, func(context.Context, []Frame) error {
			close(started)
			return nil
		})
	}()
	<-started
	l.Close()
	l.Close()
	if err := l.Append(t.Context(), numbered(1)); !errors.Is(err, ErrLogClosed) {
		t.Errorf("Append: %v", err)
	}
	if err := <-consumed; !errors.Is(err, ErrLogClosed) {
		t.Errorf("Consume: %v", err)
	}
}

// The embedded log listens nowhere and does with the disk what its setting says.
func TestEmbedded(t *testing.T) {
	for _, d := range []Durability{SurvivesKill, SurvivesPowerCut} {
		l := openLog(t, LogOptions{Durability: d})
		if a := l.embed.server.Addr(); a != nil {
			t.Errorf("%v: listens at %v", d, a)
		}
		v, err := l.embed.server.Varz(nil)
		if err != nil {
			t.Fatal(err)
		}
		if got, want := v.JetStream.Config.SyncAlways, d == SurvivesPowerCut; got != want {
			t.Errorf("%v: every write is synced: %v, want %v", d, got, want)
		}
		if got := v.JetStream.Config.SyncInterval; got != syncEvery {
			t.Errorf("%v: sync interval is %v, want %v", d, got, syncEvery)
		}
	}
}

// Two processes must not use one folder; this one stands for both.
func TestFolderInUse(t *testing.T) {
	dir := t.TempDir()
	l := openLog(t, LogOptions{Dir: dir})
	if second, err := OpenLog(t.Context(), LogOptions{Dir: dir}); err == nil {
		second.Close()
		t.Error("the folder was opened twice")
	} else if !strings.Contains(err.Error(), "in use by another process") {
		t.Errorf("error is %q", err)
	}
	l.Close()
	openLog(t, LogOptions{Dir: dir})
}

// What NATS would end the process for is an error here.
func TestOpenLogFails(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	blocked := t.TempDir() // JetStream's own folder cannot be made here
	if err := os.WriteFile(filepath.Join(blocked, server.JetStreamStoreDir), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		what string
		o    LogOptions
		want string
	}{
		{"nothing given", LogOptions{}, "give a folder or the URL"},
		{"both given", LogOptions{Dir: file, URL: "nats://127.0.0.1:1"}, "give a folder or the URL"},
		{"too small", LogOptions{Dir: t.TempDir(), MaxBytes: 1}, "log: size: 1 bytes hold no readings"},
		{"a file for a folder", LogOptions{Dir: file}, "log: "},
		{"a folder that JetStream cannot use", LogOptions{Dir: blocked}, "log: embedded NATS: "},
		{"nobody at the URL", LogOptions{URL: "nats://127.0.0.1:1"}, "log: connect to NATS: "},
	} {
		t.Run(row.what, func(t *testing.T) {
			l, err := OpenLog(t.Context(), row.o)
			if err == nil {
				l.Close()
				t.Fatal("no error")
			}
			if !strings.Contains(err.Error(), row.want) {
				t.Errorf("error is %q, want %q", err, row.want)
			}
		})
	}
}

func TestParseDurability(t *testing.T) {
	for _, d := range []Durability{SurvivesKill, SurvivesPowerCut} {
		if got, err := ParseDurability(d.String()); err != nil || got != d {
			t.Errorf("%v reads as %v, %v", d, got, err)
		}
	}
	if _, err := ParseDurability("always"); err == nil || !strings.Contains(err.Error(), `"killed-process" or "power-cut"`) {
		t.Errorf("error is %v", err)
	}
}
