package store_test

import (
	"testing"
	"time"

	"isohaline/internal/store"
)

// TestReportedChannels: channels belong to the tank of the device that reports
// them.
func TestReportedChannels(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		furnish(t, s)
		e := s.Edit("Ines", t0)
		must(t, e.CreateDevice(ctx, store.Device{ID: "second", SiteID: "harbour", TankID: "lobby", Name: "A second", CredentialHash: "h"}))
		must(t, e.CreateDevice(ctx, store.Device{ID: "air", SiteID: "harbour", Name: "Of the whole site", CredentialHash: "h"}))
		level := got(s.EnsureChannel(ctx, "second", "level"))(t)
		quiet := got(s.EnsureChannel(ctx, "second", "quiet"))(t)
		got(s.EnsureChannel(ctx, "air", "room-temperature"))(t)
		box := got(s.EnsureChannel(ctx, "box", "level"))(t)
		same(t, "of the tank", []store.Channel{level, quiet, box}, got(s.ReportedChannels(ctx, "lobby"))(t))
		same(t, "of no tank", []store.Channel{}, got(s.ReportedChannels(ctx, "x"))(t))
	})
}

// TestAlive: a store says when it was written to last.
func TestAlive(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		if at := got(s.LastAlive(ctx))(t); !at.IsZero() {
			t.Errorf("a new store was alive at %v", at)
		}
		must(t, s.WriteAlive(ctx, t0))
		must(t, s.WriteAlive(ctx, t0.Add(time.Hour)))
		if at := got(s.LastAlive(ctx))(t); !at.Equal(t0.Add(time.Hour)) {
			t.Errorf("it was alive at %v", at)
		}
	})
}
