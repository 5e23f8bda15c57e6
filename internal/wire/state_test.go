package wire

import (
	"context"
	"testing"
	"time"
)

// TestLogState: how far a consumer is behind, before it ever began, after it has
// done, and when more has come.
func TestLogState(t *testing.T) {
	l := openLog(t, LogOptions{MaxBytes: 64 << 20})
	var done uint64
	state := func() LogState {
		t.Helper()
		s, err := l.State(t.Context(), done)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	if s := state(); s.Frames != 0 || s.Unread != 0 || !s.Oldest.IsZero() || s.UnreadShare() != 0 {
		t.Errorf("of an empty log: %+v", s)
	}
	before := time.Now().Add(-time.Second)
	readings := numbered(2)
	appendAll(t, l, readings[:1])
	appendAll(t, l, readings[1:])
	s := state()
	if s.Frames != 2 || s.Unread != 2 || s.Oldest.Before(before) || s.Oldest.After(time.Now().Add(time.Second)) {
		t.Errorf("nobody has read two frames: %+v", s)
	}
	if share := s.UnreadShare(); share <= 0 || share > 0.01 || s.RoomBytes == 0 {
		t.Errorf("of 64 MiB two frames take %v, %d bytes are free", share, s.RoomBytes)
	}
	consumeUntil(t, l, &done, 2)
	l.Release(done)
	if s := state(); s.Unread != 0 || !s.Oldest.IsZero() || s.Frames != 2 {
		t.Errorf("all is read: %+v", s)
	}
	appendAll(t, l, readings[:1])
	if s := state(); s.Unread != 1 || s.Oldest.IsZero() {
		t.Errorf("one more came: %+v", s)
	}
	l.trim(func(ctx context.Context) error { return l.trimBefore(ctx, time.Now().Add(time.Hour)) })
	if s := state(); s.Unread != 1 || s.Frames != 1 || s.Oldest.IsZero() {
		t.Errorf("what was read is gone: %+v", s)
	}
}
