package server

import (
	"math"
	"net/http"
	"testing"
	"time"

	"isohaline/internal/server/api"
	"isohaline/internal/server/monitor"
	"isohaline/internal/wire"
)

// told is a tank's device, which says things at times of a test's choosing.
type told struct {
	h      *house
	device string
}

// say takes readings in as if they had come out of the log.
func (d told) say(readings ...wire.Reading) {
	d.h.t.Helper()
	for i := range readings {
		readings[i].Site, readings[i].Device = "here", d.device
	}
	d.h.take(readings...)
}

// toTwentyPast lets time pass to twenty minutes past a full hour, so that it does
// not matter when a test begins.
func (h *house) toTwentyPast() {
	now := h.now()
	h.pass(now.Truncate(time.Hour).Add(80 * time.Minute).Sub(now))
}

// fill is a run of the top-off pump.
func fill(at time.Time, ran time.Duration) []wire.Reading {
	return []wire.Reading{{Channel: "watch", Value: 0, At: at.Add(-10 * time.Second)}, {Channel: "pump", Value: 1, At: at},
		{Channel: "watch", Value: 1, At: at.Add(ran)}, {Channel: "pump", Value: 0, At: at.Add(ran)}}
}

// TestBeliefsOverTime: what the account believes is noted each hour from the
// first reading on, and the ledger shows what was expected on each day and not
// what would be today.
func TestBeliefsOverTime(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	var made api.Credentials
	olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Head"}, &made)
	h.toTwentyPast()
	began := h.now()
	ask := func(path string, from, to time.Time, into any) {
		t.Helper()
		olga.want(http.StatusOK, "GET", "/api/tanks/reef/"+path+"?from="+from.UTC().Format(time.RFC3339)+"&to="+to.UTC().Format(time.RFC3339), nil, into)
	}
	var ledger struct{ Days []api.LedgerDay }
	var b api.Beliefs
	ask("ledger", began.Add(-100*24*time.Hour), began.Add(time.Hour), &ledger)
	ask("beliefs", began.Add(-100*24*time.Hour), began.Add(time.Hour), &b)
	if len(ledger.Days) != 0 || len(b.T) != 0 {
		t.Errorf("nothing was heard, and there are %d days and %d beliefs", len(ledger.Days), len(b.T))
	}

	// Five days with a fill each two hours, the room drier from the third on.
	device := told{h, made.Device.ID}
	h.pass(30 * time.Hour) // a tank that says nothing believes nothing
	first := h.now()
	const hours = 5 * 24
	for hour := range hours {
		if hour%2 == 0 {
			device.say(fill(h.now(), 40*time.Second)...)
		}
		humidity := 55.0
		if hour > hours/2 {
			humidity = 20
		}
		device.say(wire.Reading{Channel: "room-temperature", Value: 22, At: h.now()}, wire.Reading{Channel: "room-humidity", Value: humidity, At: h.now()})
		h.pass(time.Hour)
	}
	h.pass(5 * time.Minute)
	to := h.now()

	// The clock is ahead of whoever is signed in by days, and not by a session.
	ask("beliefs", first.Add(-24*time.Hour), to, &b)
	if len(b.T) != hours || b.StepS != 0 {
		t.Fatalf("%d beliefs in steps of %v s, want one an hour for %d hours", len(b.T), b.StepS, hours)
	}
	for i, at := range b.T {
		if want := first.Truncate(time.Hour).Add(time.Duration(i+1) * time.Hour); int64(at) != want.Unix() {
			t.Fatalf("belief %d is of %v, want %v", i, time.Unix(int64(at), 0).UTC(), want)
		}
		if b.SalinityPSU[i] < 30 || b.SalinitySD[i] <= 0 || b.PumpLitresMin[i] <= 0 || b.PumpSD[i] <= 0 ||
			!(b.ExpectedLitresDayLow[i] < b.ExpectedLitresDay[i] && b.ExpectedLitresDay[i] < b.ExpectedLitresDayHigh[i]) {
			t.Fatalf("belief %d cannot be: salinity %v ± %v, pump %v ± %v, expected %v in %v to %v", i, b.SalinityPSU[i], b.SalinitySD[i],
				b.PumpLitresMin[i], b.PumpSD[i], b.ExpectedLitresDay[i], b.ExpectedLitresDayLow[i], b.ExpectedLitresDayHigh[i])
		}
		if b.ReservoirDays[i] != nil {
			t.Errorf("belief %d knows for how long the reservoir lasts, and nobody said that it was filled", i)
		}
	}
	if damp, dry := b.ExpectedLitresDay[hours/2-2], b.ExpectedLitresDay[hours-1]; dry < 1.2*damp {
		t.Errorf("%v L a day are expected in dry air, and %v in damp", dry, damp)
	}

	ask("ledger", first.Add(-100*24*time.Hour), to.Add(100*24*time.Hour), &ledger)
	days := int(to.Truncate(24*time.Hour).Sub(first.Truncate(24*time.Hour)).Hours()/24) + 1
	if len(ledger.Days) != days || ledger.Days[0].Day != first.Format("2006-01-02") {
		t.Fatalf("the ledger has %d days from %s, want %d from %s", len(ledger.Days), ledger.Days[0].Day, days, first.Format("2006-01-02"))
	}
	fills := 0
	for i, d := range ledger.Days {
		fills += d.Fills
		sum, n := 0.0, 0.0
		for j, at := range b.T {
			if time.Unix(int64(at), 0).UTC().Format("2006-01-02") == d.Day {
				sum, n = sum+b.ExpectedLitresDay[j], n+1
			}
		}
		switch {
		case n == 0 && d.Expected != nil, n > 0 && (d.Expected == nil || math.Abs(d.Expected.Value-sum/n) > 1e-9):
			t.Errorf("day %d: %+v is expected, want the mean of the day's %v beliefs, %v", i, d.Expected, n, sum/n)
		}
	}
	if fills != hours/2 {
		t.Errorf("the ledger has %d fills, want %d", fills, hours/2)
	}

	olga.want(http.StatusNoContent, "POST", "/api/tanks/reef/refills", jsonMap{"litres": 20}, nil)
	h.pass(2 * time.Hour)
	ask("beliefs", to, h.now(), &b)
	if n := len(b.T); n == 0 || b.ReservoirDays[n-1] == nil || *b.ReservoirDays[n-1] <= 0 {
		t.Fatalf("after a refill nobody knows for how long the reservoir lasts: %+v", b)
	}
	last := len(b.T) - 1
	if low, middle, high := *b.ReservoirDaysLow[last], *b.ReservoirDays[last], *b.ReservoirDaysHigh[last]; !(low < middle && middle < high) {
		t.Errorf("the reservoir lasts %v days, in %v to %v", middle, low, high)
	}
}

// TestEarlierReadingsChangeBeliefs: when records come of the time before, the
// account works through everything again, and what it then believes takes the
// place of what it had believed.
func TestEarlierReadingsChangeBeliefs(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	var made api.Credentials
	olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Head"}, &made)
	device := told{h, made.Device.ID}
	h.toTwentyPast()
	first := h.now()
	const live, earlier = 30, 60 // hours
	for range live {
		device.say(wire.Reading{Channel: "heartbeat", Value: 1, At: h.now()})
		h.pass(time.Hour)
	}
	h.pass(5 * time.Minute)
	from, to := first.Add(-earlier*time.Hour), h.now()
	read := func() (b api.Beliefs) {
		t.Helper()
		olga.want(http.StatusOK, "GET", "/api/tanks/reef/beliefs?from="+from.Format(time.RFC3339)+"&to="+to.Format(time.RFC3339), nil, &b)
		return b
	}
	before := read()
	if len(before.T) != live {
		t.Fatalf("%d beliefs at first, want %d", len(before.T), live)
	}
	var records []wire.Reading
	for hour := range earlier {
		records = append(records, wire.Reading{Site: "here", Device: device.device, Channel: "salinity", Value: 33, At: from.Add(time.Duration(hour) * time.Hour)})
	}
	if added, err := h.Monitor.AddRecords(t.Context(), monitor.Records{TankID: "reef", Readings: records}); err != nil || added.New != earlier {
		t.Fatalf("added %+v: %v", added, err)
	}
	after := read()
	if len(after.T) != earlier+live {
		t.Fatalf("%d beliefs after the records, want %d", len(after.T), earlier+live)
	}
	for i, at := range before.T {
		now := after.SalinityPSU[earlier+i]
		if after.T[earlier+i] != at || math.Abs(now-33) > 1 || math.Abs(before.SalinityPSU[i]-33) < 1 {
			t.Errorf("belief %d was a salinity of %v and is one of %v; the records say 33", i, before.SalinityPSU[i], now)
		}
	}
}
