package monitor

import (
	"errors"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/channel"
	"isohaline/internal/store"
	"isohaline/internal/tankfile"
	"isohaline/internal/wire"
)

// TestReadingsDuringRerun: what comes while a tank's records are worked through again is
// in the account that takes over, and a tank that gets another description then is
// worked through once more.
func TestReadingsDuringRerun(t *testing.T) {
	ctx := t.Context()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	now := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	s, err := store.Open(ctx, filepath.Join(t.TempDir(), "x.db"), store.Kill)
	must(err)
	defer s.Close()
	m, err := Open(ctx, Options{Store: s, Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return now },
		TankOf: func(wire.DeviceID) string { return "reef" }})
	must(err)
	must(m.AddTank(ctx, NewTank{SiteID: "here", SiteName: "Here", TankID: "reef", File: string(tankfile.Starter(tankfile.Answers{Name: "Our reef"})), By: "test"}))
	must(s.Edit("test", now).CreateDevice(ctx, store.Device{ID: "head", SiteID: "here", TankID: "reef", Name: "Head", CredentialHash: "x"}))
	var frame uint64
	say := func(ago time.Duration, channel string, value float64) {
		t.Helper()
		frame++
		must(m.Take(ctx, []wire.Frame{{Sequence: frame, Readings: []wire.Reading{{Site: "here", Device: "head", Channel: channel, At: now.Add(-ago), Received: now, Value: value}}}}))
	}
	say(time.Hour, channel.Level, 0.2)

	tank, err := m.beginRerun("reef")
	must(err)
	if _, err := m.beginRerun("reef"); !errors.Is(err, ErrBusy) {
		t.Errorf("a second import at once: %v", err)
	}
	enters := func(id string, at time.Time) {
		must(m.Hear(ctx, store.HandEntry{By: "test", At: now, HandReading: store.HandReading{ID: id, TankID: "reef", At: at,
			Quantity: "salinity", Value: 34, Instrument: "conductivity meter"}}))
	}
	enters("before the records are read", now.Add(-50*time.Minute))
	enters("by a clock that is ahead", now.Add(40*time.Second))
	k, err := m.workThrough(ctx, "reef", tank.spec.Load().sheet, now)
	must(err)
	if !k.began.Equal(now.Add(-time.Hour)) || len(k.heard) != 2 {
		t.Errorf("the records begin at %v, of what was entered %v is heard", k.began, k.heard)
	}
	say(20*time.Minute, channel.Level, 0.21)
	say(10*time.Minute, channel.CeilingLevel, 1)
	enters("after they were read", now.Add(-15*time.Minute))

	described := tank.spec.Load().sheet
	revised := *described
	if done, err := m.replace(ctx, tank, &revised, k); done || err != nil {
		t.Errorf("described otherwise in between, it was replaced: %v, %v", done, err)
	}
	done, err := m.replace(ctx, tank, described, k)
	must(err)
	m.endRerun(tank)
	v, _ := m.Tank("reef")
	if !done || v.Lasts[channel.Level].Value != 0.21 || v.Lasts[channel.CeilingLevel].Value != 1 || !(v.Estimate.SalinityPSU < 34.5) {
		t.Errorf("done %v; of what came in between there is %+v, salinity %v", done, v.Lasts, v.Estimate.SalinityPSU)
	}
	if len(v.Findings) == 0 || v.Findings[0].Code != account.CeilingWet {
		t.Errorf("the findings are %+v", v.Findings)
	}
	// What was entered is neither lost nor doubled: all of it worked through again says the same.
	_, err = m.beginRerun("reef")
	must(err)
	must(m.rerun(ctx, tank))
	m.endRerun(tank)
	if once, _ := m.Tank("reef"); once.Estimate.SalinitySD != v.Estimate.SalinitySD {
		t.Errorf("salinity is known to %v, worked through again to %v", v.Estimate.SalinitySD, once.Estimate.SalinitySD)
	}
	// And so it is kept.
	again, err := Open(ctx, Options{Store: s, Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return now }, TankOf: m.tankOf})
	must(err)
	must(again.TakeUp(ctx))
	if kept, _ := again.Tank("reef"); kept.Estimate.SalinityPSU != v.Estimate.SalinityPSU {
		t.Errorf("kept is a salinity of %v, not of %v", kept.Estimate.SalinityPSU, v.Estimate.SalinityPSU)
	}
}
