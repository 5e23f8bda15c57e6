package server

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"isohaline/internal/wire"
)

// TestPaced: how long after some frames the next are taken in, in virtual time.
func TestPaced(t *testing.T) {
	broken := errors.New("the store is away")
	for name, c := range map[string]struct {
		readings []int         // of each frame
		lasts    time.Duration // taking them in
		err      error
		stop     bool
		want     time.Duration
	}{
		"few readings":                  {readings: []int{1, 1, takePaced - 3}, want: 0},
		"many":                          {readings: []int{1, takePaced - 1}, want: takePace},
		"many, which take their time":   {readings: []int{takePaced}, lasts: takePace / 2, want: takePace},
		"many, which take longer":       {readings: []int{takePaced}, lasts: 2 * takePace, want: 2 * takePace},
		"many that are not taken":       {readings: []int{takePaced}, err: broken, want: 0},
		"many, and the service is over": {readings: []int{takePaced}, stop: true, want: 0},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				ctx, stop := context.WithCancel(t.Context())
				defer stop()
				var frames []wire.Frame
				for _, n := range c.readings {
					frames = append(frames, wire.Frame{Readings: make([]wire.Reading, n)})
				}
				began := time.Now()
				err := paced(func(_ context.Context, got []wire.Frame) error {
					if len(got) != len(frames) {
						t.Errorf("%d frames came, want %d", len(got), len(frames))
					}
					if c.stop {
						stop()
					}
					time.Sleep(c.lasts)
					return c.err
				})(ctx, frames)
				if took := time.Since(began); took != c.want || !errors.Is(err, c.err) {
					t.Errorf("it took %v, %v; want %v, %v", took, err, c.want, c.err)
				}
			})
		})
	}
}
