package demo

import (
	"context"
	"log/slog"
	"slices"
	"testing"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/channel"
	"isohaline/internal/edge/requests"
	"isohaline/internal/longtest"
	"isohaline/internal/server/remote"
)

// TestTheStories holds the twin to what the fleet promises, whatever an account
// makes of it.
func TestTheStories(t *testing.T) {
	for _, tank := range Fleet() {
		t.Run(tank.ID, func(t *testing.T) {
			t.Parallel()
			life, err := tank.Live(HistoryDays*day+ahead, seed)
			if err != nil {
				t.Fatal(err)
			}
			var last time.Duration
			var past, future time.Duration // the longest pause between fills
			for i, v := range life.Values {
				if i > 0 && v.At < life.Values[i-1].At {
					t.Fatalf("reading %d is before the one before it", i)
				}
				if v.Channel != channel.TopOffPump || v.Value == 0 {
					continue
				}
				if pause := v.At - last; v.At < HistoryDays*day {
					past = max(past, pause)
				} else {
					future = max(future, pause)
				}
				last = v.At
			}
			// What stops a top-off for half a day is an empty reservoir or a guard
			// that has latched.
			const mostPause = 12 * time.Hour
			if past > mostPause {
				t.Errorf("it went %v without a fill in its past", past)
			}
			if runsDry := tank.ID == "breakfast-terrace"; runsDry != (future > mostPause) {
				t.Errorf("it goes %v without a fill in its future", future)
			}
		})
	}
}

// TestTheDemoRuns opens a small fleet as the program would: its past is there, a
// silent device is found, another reports, and a guard does what is asked from afar.
func TestTheDemoRuns(t *testing.T) {
	longtest.Only(t, "90 days of three tanks")
	var few []Tank
	for _, tank := range Fleet() {
		if tank.ID == "studio" || tank.ID == "childrens-corner" || tank.guarded {
			few = append(few, tank)
		}
	}
	begin := time.Now()
	var last int
	d := running(t, Options{Tanks: few, Progress: func(done, total int) {
		if total != len(few) || done < last {
			t.Errorf("%d of %d tanks come after %d", done, total, last)
		}
		last = done
	}})
	ctx := t.Context()
	fills, err := d.Server.Monitor.Fills(ctx, "childrens-corner", begin.Add(-HistoryDays*day), begin)
	if err != nil || len(fills) < HistoryDays {
		t.Errorf("%d fills in %d days, error %v", len(fills), HistoryDays, err)
	}
	silent, _ := d.Server.Monitor.Tank("studio")
	if !slices.ContainsFunc(silent.Findings, func(f account.Finding) bool { return f.Code == account.DeviceSilent }) {
		t.Errorf("the silent device is not among %v", silent.Findings)
	}
	eventually(t, "a device's report", func() bool {
		v, _ := d.Server.Monitor.Tank("childrens-corner")
		return v.LastHeard.After(begin)
	})
	const guarded = "biology-hall"
	var edge remote.View
	eventually(t, "word of the guard", func() bool {
		edge, _ = d.Server.Remote.Tank(guarded)
		v, _ := d.Server.Monitor.Tank(guarded)
		return edge.Linked && edge.Picture != nil && v.LastHeard.After(begin)
	})
	if _, err := d.Server.Remote.Ask(ctx, remote.Person{Name: "jonas"}, guarded, requests.Hold, 0); err != nil {
		t.Fatal(err)
	}
	eventually(t, "a hold", func() bool {
		edge, _ = d.Server.Remote.Tank(guarded)
		return edge.Asks[0].Stage == remote.Done && edge.Picture.OnHold
	})
	if v, _ := d.Server.Monitor.Tank(guarded); len(v.Findings) > 0 {
		t.Errorf("of a healthy tank that goes over to an agent is said %v", v.Findings)
	}
}

// running is a demo that has made its tanks' past.
func running(t *testing.T, o Options) *Demo {
	t.Helper()
	o.Dir, o.HTTP, o.MQTT, o.Edges, o.Log = t.TempDir(), "127.0.0.1:0", "127.0.0.1:0", "127.0.0.1:0", slog.New(slog.DiscardHandler)
	d, err := Open(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- d.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	})
	eventually(t, "the fleet's past", func() bool { return d.Server.Monitor.Progress().Ready() })
	return d
}

func eventually(t *testing.T, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(2 * time.Minute); !is(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%s did not come", what)
		}
	}
}
