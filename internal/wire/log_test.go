package wire

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/nats-io/nats-server/v2/server"
)

// consumeUntil consumes under a name until n readings have come, and returns them.
func consumeUntil(t testing.TB, l *Log, name string, n int) []Reading {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	var got []Reading
	err := l.Consume(ctx, name, func(_ context.Context, readings []Reading) error {
		if got = append(got, readings...); len(got) >= n {
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
	if diff := cmp.Diff(want, consumeUntil(t, l, "store", len(want))); diff != "" {
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
	got := consumeUntil(t, l, "store", writers*each)
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

// A position survives closing and opening; another name has its own.
func TestLogPosition(t *testing.T) {
	dir := t.TempDir()
	readings := numbered(30)
	l := openLog(t, LogOptions{Dir: dir})
	appendAll(t, l, readings[:10])
	consumeUntil(t, l, "store", 10)
	appendAll(t, l, readings[10:20])
	l.Close()

	l = openLog(t, LogOptions{Dir: dir})
	appendAll(t, l, readings[20:])
	if diff := cmp.Diff(readings[10:], consumeUntil(t, l, "store", 20)); diff != "" {
		t.Errorf("the same name (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff(readings, consumeUntil(t, l, "account", 30)); diff != "" {
		t.Errorf("another name (-want +got):\n%s", diff)
	}
}

// What fails comes again before anything else, and nothing is left out.
func TestConsumeTriesAgain(t *testing.T) {
	l := openLog(t, LogOptions{})
	want := numbered(50)
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	var got []Reading
	calls, failures := 0, 0
	go func() {
		for i := range want {
			if err := l.Append(ctx, want[i:i+1]); err != nil {
				t.Error(err)
			}
		}
	}()
	err := l.Consume(ctx, "store", func(_ context.Context, readings []Reading) error {
		if calls++; calls%2 == 1 && failures < 3 {
			failures++
			return errors.New("the database is locked")
		}
		if got = append(got, readings...); len(got) == len(want) {
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

// A consumer that ends in the middle of its work sees that work again at once,
// and in order, not when the server's patience ends.
func TestConsumeAfterCrash(t *testing.T) {
	l := openLog(t, LogOptions{})
	want := numbered(20)
	for i := range want {
		appendAll(t, l, want[i:i+1])
	}
	ctx, cancel := context.WithCancel(t.Context())
	err := l.Consume(ctx, "store", func(context.Context, []Reading) error {
		cancel() // the process is gone before fn returns
		return context.Canceled
	})
	if err != nil {
		t.Fatal(err)
	}
	start := time.Now()
	if diff := cmp.Diff(want, consumeUntil(t, l, "store", len(want))); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if took := time.Since(start); took > ackWait/2 {
		t.Errorf("it took %v", took)
	}
}

// A context that is done already is no error, wherever Consume notices it.
func TestConsumeWithoutTime(t *testing.T) {
	l := openLog(t, LogOptions{})
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := l.Consume(ctx, "store", func(context.Context, []Reading) error { return nil }); err != nil {
		t.Errorf("Consume: %v", err)
	}
	l.Close()
	if err := l.Consume(t.Context(), "store", func(context.Context, []Reading) error { return nil }); !errors.Is(err, ErrLogClosed) {
		t.Errorf("Consume of a closed log: %v", err)
	}
	if err := openLog(t, LogOptions{}).Consume(t.Context(), "no such name", func(context.Context, []Reading) error { return nil }); err == nil {
		t.Error("Consume takes a name with spaces")
	}
}

// A frame that was delivered to somebody who is no longer there comes again, in
// its place: its successor does not stand for it.
func TestConsumeMissesNoFrame(t *testing.T) {
	l := openLog(t, LogOptions{})
	want := numbered(3)
	appendAll(t, l, want[:1])
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	var got []Reading
	err := l.Consume(ctx, "store", func(ctx context.Context, readings []Reading) error {
		if len(got) == 0 {
			appendAll(t, l, want[1:2])
			thief, err := l.stream.Consumer(ctx, "store")
			if err != nil {
				return err
			}
			if _, err := thief.Next(); err != nil {
				return err
			}
			appendAll(t, l, want[2:])
		}
		if got = append(got, readings...); len(got) >= len(want) {
			cancel()
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// A hole that an operator made is no missing frame.
func TestConsumePassesAHole(t *testing.T) {
	l := openLog(t, LogOptions{})
	readings := numbered(5)
	for i := range readings {
		appendAll(t, l, readings[i:i+1])
	}
	for _, seq := range []uint64{1, 3, 4} {
		if err := l.stream.DeleteMsg(t.Context(), seq); err != nil {
			t.Fatal(err)
		}
	}
	want := []Reading{readings[1], readings[4]}
	if diff := cmp.Diff(want, consumeUntil(t, l, "store", 2)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// A frame of another version is skipped and counted, and stays in the log.
func TestConsumeSkipsWhatItCannotRead(t *testing.T) {
	l := openLog(t, LogOptions{})
	if _, err := l.js.Publish(t.Context(), streamSubjects[:len(streamSubjects)-1]+"other", []byte("hello")); err != nil {
		t.Fatal(err)
	}
	want := numbered(1)
	appendAll(t, l, want)
	if diff := cmp.Diff(want, consumeUntil(t, l, "store", 1)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if n := l.Counters.Unreadable.Load(); n != 1 {
		t.Errorf("%d unreadable frames counted, want 1", n)
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
// read, and goes on once that is done.
func TestLogFull(t *testing.T) {
	l := openLog(t, LogOptions{MaxBytes: maxFrameBytes})
	accepted := fill(t, l)
	if accepted < 100 {
		t.Fatalf("only %d readings went in", accepted)
	}
	if l.Counters.Retries.Load() == 0 {
		t.Error("no retry was counted")
	}
	// The reading whose publisher gave up is still with the writer: it comes last.
	got := consumeUntil(t, l, "store", accepted+1)
	for i, r := range got[:accepted] {
		if want := numbered(1)[0].At.Add(time.Duration(i) * time.Second); !r.At.Equal(want) {
			t.Fatalf("reading %d is of %v, want %v", i, r.At, want)
		}
	}
	appendAll(t, l, numbered(1))
	if l.Counters.Trimmed.Load() == 0 {
		t.Error("nothing was trimmed")
	}
}

// Trimming removes what is old and what every consumer has done with, and only
// what is both.
func TestTrim(t *testing.T) {
	l := openLog(t, LogOptions{})
	readings := numbered(20)
	for i := range 10 {
		appendAll(t, l, readings[i:i+1])
	}
	first := func() uint64 {
		info, err := l.stream.Info(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return info.State.FirstSeq
	}
	l.trim(0)
	if got := first(); got != 1 {
		t.Errorf("without a consumer the first frame is %d, want 1", got)
	}
	consumeUntil(t, l, "store", 10)
	l.trim(time.Hour)
	if got := first(); got != 1 {
		t.Errorf("while all is younger the first frame is %d, want 1", got)
	}
	for i := 10; i < 20; i++ {
		appendAll(t, l, readings[i:i+1])
	}
	l.trim(0)
	if got := first(); got != 11 {
		t.Errorf("the first frame is %d, want 11: ten are done with", got)
	}
	middle, err := l.stream.GetMsg(t.Context(), 16)
	if err != nil {
		t.Fatal(err)
	}
	consumeUntil(t, l, "store", 10)
	if err := l.trimBefore(t.Context(), middle.Time); err != nil {
		t.Fatal(err)
	}
	if got := first(); got != 16 {
		t.Errorf("the first frame is %d, want 16: that is the first not older", got)
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
		consumed <- l.Consume(context.Background(), "store", func(context.Context, []Reading) error {
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
