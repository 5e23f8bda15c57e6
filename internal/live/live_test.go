package live_test

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	gocmp "github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/channel"
	"isohaline/internal/live"
	"isohaline/internal/tankfile"
	"isohaline/internal/wire"
)

var start = time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)

// told is the condition that each contact tells by itself, as docs/wire.md has it.
var told = map[string]account.Code{
	channel.CeilingLevel: account.CeilingWet, channel.Floor: alarm.FloorWet, channel.Latched: alarm.GuardLatched,
}

var devices = []string{"head", "spare", "floor-mat"}

type fataler interface {
	Helper()
	Fatal(args ...any)
}

func starter(t fataler) *live.Sheet {
	t.Helper()
	s, err := live.Read("reef", string(tankfile.Starter(tankfile.Answers{Name: "Our reef"})))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func newTank(t fataler) *live.Tank {
	t.Helper()
	tank, err := starter(t).Live("reef", "here")
	if err != nil {
		t.Fatal(err)
	}
	return tank
}

func encoded(t fataler, v *live.Value) []byte {
	t.Helper()
	data, err := v.Encode()
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// contactWords are readings of contacts that are conditions by themselves.
func contactWords() *rapid.Generator[*wire.Reading] {
	return rapid.Custom(func(t *rapid.T) *wire.Reading {
		minute := rapid.IntRange(0, 60).Draw(t, "minute")
		device := rapid.SampledFrom(devices).Draw(t, "device")
		name := rapid.SampledFrom([]string{channel.CeilingLevel, channel.Floor, channel.Latched}).Draw(t, "channel")
		// One device says one thing at one time: a reading's key has one value.
		seed := rapid.SampledFrom([]int{1, 3, 5}).Draw(t, "spread")
		minute -= minute % seed
		on := (minute/3+len(device)+len(name))%2 == 0
		return say(device, name, on, start.Add(time.Duration(minute)*time.Minute))
	})
}

func say(device, name string, on bool, at time.Time) *wire.Reading {
	r := &wire.Reading{Site: "here", Device: device, Channel: name, At: at, Received: at}
	if on {
		r.Value = 1
	}
	return r
}

// anyWords are readings of every channel, some late, some twice, some that the
// account does not take.
func anyWords() *rapid.Generator[[]*wire.Reading] {
	return rapid.Custom(func(t *rapid.T) []*wire.Reading {
		at := start
		out := make([]*wire.Reading, rapid.IntRange(0, 60).Draw(t, "readings"))
		for i := range out {
			if i > 0 && rapid.IntRange(0, 9).Draw(t, "again") == 0 {
				out[i] = out[rapid.IntRange(0, i-1).Draw(t, "which")]
				continue
			}
			at = at.Add(time.Duration(rapid.IntRange(0, 1800).Draw(t, "seconds later")) * time.Second)
			late := time.Duration(rapid.SampledFrom([]int{0, 0, 0, 1, 30, 3600, 90_000}).Draw(t, "late")) * time.Second
			c := rapid.SampledFrom(channel.List()).Draw(t, "channel")
			r := &wire.Reading{Site: "here", Device: rapid.SampledFrom(devices).Draw(t, "device"), Channel: c.Name, At: at.Add(-late), Received: at}
			if c.Contact {
				r.Value = float64(rapid.IntRange(0, 1).Draw(t, "on"))
			} else {
				r.Value = rapid.Float64Range(c.Min, c.Max).Draw(t, "value")
			}
			out[i] = r
		}
		return out
	})
}

// TestNothingChangesAValue: whatever is done with a value leaves it as it was, to
// the byte.
func TestNothingChangesAValue(t *testing.T) {
	tank := newTank(t)
	rapid.Check(t, func(t *rapid.T) {
		all := anyWords().Draw(t, "readings")
		cut := rapid.IntRange(0, len(all)).Draw(t, "cut")
		v, _ := tank.Step(tank.Begin(start), all[:cut], time.Time{})
		before := encoded(t, v)
		unchanged := func(what string) {
			t.Helper()
			if !bytes.Equal(before, encoded(t, v)) {
				t.Fatalf("%s changed the value that it was given", what)
			}
		}
		now := start.Add(time.Duration(rapid.IntRange(0, 50).Draw(t, "hours")) * time.Hour)
		next, _ := tank.Step(v, all[cut:], now)
		unchanged("Step")
		after := encoded(t, next)
		if _, _, err := tank.Hear(v, account.Observation{At: now, Kind: account.Salinity, Value: rapid.Float64Range(20, 70).Draw(t, "salinity")}, now); err == nil {
			unchanged("Hear")
		}
		unchanged("a refused Hear")
		tank.Forget(v, func(device string) bool { return device == "head" }, now)
		unchanged("Forget")
		tank.Adopt(v, now)
		next.Over(v)
		tank.Findings(v)
		tank.Estimate(v)
		unchanged("looking at it")
		// And what was done with the old value did nothing to the next one.
		tank.Step(v, all[cut:], now.Add(time.Hour))
		if !bytes.Equal(after, encoded(t, next)) {
			t.Fatal("a step of the old value changed the next one")
		}
	})
}

// TestEnteredAhead: what a person enters before all that the tank said until then has
// come makes nothing late, and tells the same when it has come.
func TestEnteredAhead(t *testing.T) {
	tank := newTank(t)
	rapid.Check(t, func(t *rapid.T) {
		all := anyWords().Draw(t, "readings")
		cut := rapid.IntRange(0, len(all)).Draw(t, "cut")
		now := start.Add(50 * time.Hour)
		o := account.Observation{At: start.Add(time.Duration(rapid.IntRange(0, 50).Draw(t, "hour")) * time.Hour), Kind: account.Salinity,
			Value: rapid.Float64Range(30, 40).Draw(t, "salinity")}

		v, _ := tank.Step(tank.Begin(start), all[:cut], time.Time{})
		v, told, err := tank.Hear(v, o, o.At.Add(-time.Minute))
		if err != nil || !told.Quiet() {
			t.Fatalf("entered ahead of time: %+v, %v", told, err)
		}
		kept, err := live.Decode(encoded(t, v))
		if err != nil {
			t.Fatal(err)
		}
		got, _ := tank.Step(kept, all[cut:], now)

		want, _ := tank.Step(tank.Begin(start), all, time.Time{})
		if want, _, err = tank.Hear(want, o, now); err != nil {
			t.Fatal(err)
		}
		want, _ = tank.Step(want, nil, now)
		if !bytes.Equal(encoded(t, got), encoded(t, want)) {
			t.Fatal("another value than when it is entered afterwards")
		}
	})
}

// TestBatchesDoNotMatter: readings give the same value and bring the same, in
// whatever batches they come.
func TestBatchesDoNotMatter(t *testing.T) {
	tank := newTank(t)
	rapid.Check(t, func(t *rapid.T) {
		all := anyWords().Draw(t, "readings")
		now := start.Add(50 * time.Hour)
		atOnce, want := tank.Step(tank.Begin(start), all, now)
		v, got := tank.Begin(start), live.Changes{}
		more := func(next *live.Value, c live.Changes) {
			v = next
			got.Findings, got.Conditions, got.Beliefs = append(got.Findings, c.Findings...), append(got.Conditions, c.Conditions...), append(got.Beliefs, c.Beliefs...)
			got.Turned, got.Refused = append(got.Turned, c.Turned...), append(got.Refused, c.Refused...)
			got.Said = got.Said || c.Said
		}
		for rest := all; len(rest) > 0; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "batch")
			more(tank.Step(v, rest[:n], time.Time{}))
			rest = rest[n:]
		}
		more(tank.Step(v, nil, now))
		if !bytes.Equal(encoded(t, atOnce), encoded(t, v)) {
			t.Fatal("another value")
		}
		sameError := gocmp.Comparer(func(a, b error) bool { return a.Error() == b.Error() })
		if d := gocmp.Diff(want, got, cmpopts.EquateEmpty(), cmpopts.EquateNaNs(), sameError); d != "" {
			t.Fatalf("it brings something else (-at once +in batches):\n%s", d)
		}
	})
}

// wantConditions is the model: for every contact's condition whether any device's
// last word, by the device's own time, is on.
func wantConditions(words []*wire.Reading) map[account.Code]bool {
	type contact struct{ channel, device string }
	last := map[contact]*wire.Reading{}
	for _, r := range words {
		if l := last[contact{r.Channel, r.Device}]; l == nil || r.At.After(l.At) {
			last[contact{r.Channel, r.Device}] = r
		}
	}
	on := map[account.Code]bool{}
	for c, r := range last {
		if r.Value != 0 {
			on[told[c.channel]] = true
		}
	}
	return on
}

func conditionsOf(v *live.Value) map[account.Code]bool {
	on := map[account.Code]bool{}
	for code := range v.Conditions {
		on[code] = true
	}
	return on
}

// follow takes what a step told of conditions, each of which must begin and end in
// turn.
func follow(t fataler, open map[account.Code]bool, changes live.Changes) {
	t.Helper()
	for _, f := range changes.Conditions {
		if began := f.Ended.IsZero(); began == open[f.Code] {
			t.Fatal(fmt.Sprintf("%s is told to begin: %v, and goes on already: %v", f.Code, began, open[f.Code]))
		}
		open[f.Code] = f.Ended.IsZero()
		if !open[f.Code] {
			delete(open, f.Code)
		}
	}
}

// TestConditions: a condition is there exactly if some device's last word by its
// own time says so, in whatever order words come, however late, and how often; and
// every beginning and end is told. So it is with a tank that has no account too.
func TestConditions(t *testing.T) {
	for _, tank := range []*live.Tank{newTank(t), {ID: "bare", SiteID: "here", Name: "A tank that cannot be read"}} {
		t.Run(tank.ID, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				words := rapid.SliceOfN(contactWords(), 0, 40).Draw(t, "words")
				v, open := tank.Begin(start), map[account.Code]bool{}
				for i, w := range words {
					next, changes := tank.Step(v, []*wire.Reading{w}, time.Time{})
					v = next
					follow(t, open, changes)
					want := wantConditions(words[:i+1])
					if d := gocmp.Diff(want, conditionsOf(v)); d != "" {
						t.Fatalf("after %d words (-want +got):\n%s", i+1, d)
					}
					if d := gocmp.Diff(want, open); d != "" {
						t.Fatalf("after %d words it is told (-want +got):\n%s", i+1, d)
					}
				}
				findings := map[account.Code]bool{}
				for _, f := range tank.Findings(v) {
					findings[f.Code] = true
				}
				for code := range open {
					if !findings[code] || !v.Open()[code] {
						t.Fatalf("%s goes on and is no finding of %v", code, findings)
					}
				}
				if tank.Account == nil && len(findings) != len(open) {
					t.Fatalf("the findings are %v, the conditions %v", findings, open)
				}

				slices.Reverse(words)
				backwards, _ := tank.Step(tank.Begin(start), words, time.Time{})
				if d := gocmp.Diff(conditionsOf(v), conditionsOf(backwards)); d != "" {
					t.Fatalf("backwards (-want +got):\n%s", d)
				}
			})
		})
	}
}

// TestForget: what only devices told that are gone ends, and is told to end; what
// another device tells goes on.
func TestForget(t *testing.T) {
	tank := newTank(t)
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOfN(contactWords(), 0, 40).Draw(t, "words")
		stay := map[string]bool{}
		for _, d := range devices {
			stay[d] = rapid.Bool().Draw(t, d+" stays")
		}
		v, changes := tank.Step(tank.Begin(start), words, time.Time{})
		open := map[account.Code]bool{}
		follow(t, open, changes)
		now := start.Add(2 * time.Hour)
		next, changes := tank.Forget(v, func(device string) bool { return stay[device] }, now)
		follow(t, open, changes)
		left := slices.DeleteFunc(slices.Clone(words), func(r *wire.Reading) bool { return !stay[r.Device] })
		want := wantConditions(left)
		if d := gocmp.Diff(want, conditionsOf(next)); d != "" {
			t.Fatalf("what goes on (-want +got):\n%s", d)
		}
		if d := gocmp.Diff(want, open); d != "" {
			t.Fatalf("what is told (-want +got):\n%s", d)
		}
		for _, f := range changes.Conditions {
			if !f.Ended.Equal(now) {
				t.Fatalf("%s ended at %v", f.Code, f.Ended)
			}
		}
		if len(left) == len(words) && next != v {
			t.Fatal("nothing was to be forgotten, and there is another value")
		}
		if again, _ := tank.Forget(next, func(device string) bool { return stay[device] }, now); again != next {
			t.Fatal("forgotten twice")
		}
	})
}

// TestEncode: a value comes back as it was, and goes on as it would have gone on.
func TestEncode(t *testing.T) {
	tank := newTank(t)
	rapid.Check(t, func(t *rapid.T) {
		all := anyWords().Draw(t, "readings")
		cut := rapid.IntRange(0, len(all)).Draw(t, "cut")
		v, _ := tank.Step(tank.Begin(start), all[:cut], time.Time{})
		data := encoded(t, v)
		back, err := live.Decode(data)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(data, encoded(t, back)) {
			t.Fatal("another value came back")
		}
		now := start.Add(50 * time.Hour)
		a, _ := tank.Step(v, all[cut:], now)
		b, _ := tank.Step(back, all[cut:], now)
		if !bytes.Equal(encoded(t, a), encoded(t, b)) {
			t.Fatal("it goes on in another way")
		}
	})
}

// TestOtherVersion: a value of another version is refused as such; its tank begins
// afresh. Bytes that are no value at all are another matter.
func TestOtherVersion(t *testing.T) {
	tank := newTank(t)
	v := tank.Begin(start)
	data := encoded(t, v)
	state, err := v.Account.MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	with := func(i, version int) []byte {
		other := bytes.Clone(data)
		other[i] = byte(version)
		return other
	}
	const now = 1 // the version follows the array's head
	inner := bytes.Index(data, state) + now
	for _, other := range [][]byte{with(now, 1), with(now, 3), with(inner, 1), with(inner, 3), []byte(`{"Version":1,"Value":{}}`), []byte(`{}`)} {
		if _, err := live.Decode(other); !errors.Is(err, live.ErrOtherVersion) {
			t.Errorf("%.30q: %v", other, err)
		}
	}
	if _, err := live.Decode(with(now, 2)); err != nil {
		t.Errorf("this version: %v", err)
	}
	if _, err := live.Decode([]byte("no value")); err == nil || errors.Is(err, live.ErrOtherVersion) {
		t.Errorf("no value: %v", err)
	}
}

// FuzzDecode: any bytes are a value or an error; a value takes a step and is saved
// again.
func FuzzDecode(f *testing.F) {
	tank := newTank(f)
	v, _ := tank.Step(tank.Begin(start), []*wire.Reading{say("head", channel.Floor, true, start), say("head", channel.WatchLevel, false, start.Add(time.Hour))}, start.Add(2*time.Hour))
	for _, seed := range [][]byte{encoded(f, v), encoded(f, tank.Begin(start)), []byte("\x82\x02\xa0"), []byte("\x82\x02\xf6"), nil} {
		f.Add(seed)
	}
	bare := &live.Tank{Name: "bare"}
	f.Fuzz(func(t *testing.T, data []byte) {
		v, err := live.Decode(data)
		if err != nil {
			return
		}
		next, _ := bare.Step(v, []*wire.Reading{say("head", channel.Floor, true, start), say("head", channel.Level, true, start)}, start)
		bare.Findings(next)
		next.Open()
		next.Heard()
		if _, err := next.Encode(); err != nil {
			t.Fatal(err)
		}
	})
}

// TestNothingWasSaidBefore: an older word does not take the place of a newer one,
// and only a turn is told.
func TestNothingWasSaidBefore(t *testing.T) {
	tank := newTank(t)
	one := func(at time.Duration, on bool) *wire.Reading { return say("head", channel.Floor, on, start.Add(at)) }
	v, changes := tank.Step(tank.Begin(start), []*wire.Reading{one(time.Hour, true), one(0, false), one(time.Hour, true), one(2*time.Hour, true)}, time.Time{})
	if len(changes.Conditions) != 1 || len(changes.Turned) != 1 || v.Last[channel.Floor].Value != 1 || !v.Heard().Equal(start.Add(2*time.Hour)) {
		t.Errorf("it tells %+v, turned %d, last %+v", changes.Conditions, len(changes.Turned), v.Last)
	}
	if f := changes.Conditions[0]; f.Code != alarm.FloorWet || !f.Since.Equal(start.Add(time.Hour)) ||
		f.Sentence != "Our reef has water on the floor, since Mon 1 Jun 13:00 UTC." {
		t.Errorf("%+v", f)
	}
}

// recording is two days of a tank whose chamber's gauge and pump are heard.
func recording() (out []wire.Reading) {
	for minute := 0; minute < 2*24*60; minute += 5 {
		at := start.Add(time.Duration(minute) * time.Minute)
		add := func(name string, value float64, after time.Duration) {
			out = append(out, wire.Reading{Site: "here", Device: "head", Channel: name, Value: value, At: at.Add(after), Received: at.Add(after)})
		}
		add(channel.Heartbeat, 1, 0)
		add(channel.Level, 0.2-0.0001*float64(minute%120), 0)
		if minute%120 == 60 {
			add(channel.TopOffPump, 1, time.Second)
			add(channel.TopOffPump, 0, 31*time.Second)
			add(channel.Salinity, 35, 40*time.Second)
			add(channel.Salinity, 99, 50*time.Second) // the account does not take it
		}
		if minute == 24*60 || minute == 25*60 {
			add(channel.CeilingLevel, float64(25-minute/60), time.Minute)
			add(channel.Floor, float64(25-minute/60), time.Minute)
		}
	}
	slices.SortStableFunc(out, func(a, b wire.Reading) int { return cmp.Compare(a.At.UnixNano(), b.At.UnixNano()) })
	return out
}

// TestReplay: a replay is a walk through the readings, in whatever parts, and finds
// what a tank finds that hears them live.
func TestReplay(t *testing.T) {
	sheet, all := starter(t), recording()
	var seen []int
	got, err := live.Replay(t.Context(), sheet, len(all), slices.Values(all), func(done, total int) {
		if total != len(all) {
			t.Errorf("of %d readings, not %d", total, len(all))
		}
		seen = append(seen, done)
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(seen) == 0 || !slices.IsSorted(seen) || seen[len(seen)-1] != len(all) {
		t.Errorf("progress was %v", seen)
	}
	k, err := live.NewWalk(sheet, all[0].At)
	if err != nil {
		t.Fatal(err)
	}
	for part := range slices.Chunk(all, 7) {
		k.Through(part)
	}
	end := all[len(all)-1].At.Add(account.ReorderWindow)
	k.End(end)
	tank := newTank(t)
	want := &live.Recording{Findings: k.Findings(), NotTaken: k.NotTaken(), Estimate: tank.Estimate(k.Value())}
	if d := gocmp.Diff(want, got, cmpopts.EquateNaNs()); d != "" {
		t.Errorf("(-walk +replay):\n%s", d)
	}

	var pointers []*wire.Reading
	for i := range all {
		pointers = append(pointers, &all[i])
	}
	_, changes := tank.Step(tank.Begin(all[0].At), pointers, end)
	if got.NotTaken != 24 || len(changes.Refused) != 24 {
		t.Errorf("%d were not taken, live %d", got.NotTaken, len(changes.Refused))
	}
	codes := func(list []account.Finding, ended bool) (out []string) {
		for _, f := range list {
			if f.Ended.IsZero() != ended {
				out = append(out, fmt.Sprint(f.Code, f.Since))
			}
		}
		slices.Sort(out)
		return slices.Compact(out)
	}
	floor := func(f account.Finding) bool { return f.Code != alarm.FloorWet }
	changes.Conditions = slices.DeleteFunc(changes.Conditions, floor)
	if d := gocmp.Diff(codes(append(changes.Findings, changes.Conditions...), true), codes(got.Findings, true)); d != "" {
		t.Errorf("what ended (-live +replay):\n%s", d)
	}
	if !slices.ContainsFunc(got.Findings, func(f account.Finding) bool { return f.Code == alarm.FloorWet && !f.Ended.IsZero() }) {
		t.Errorf("no water on the floor among %+v", got.Findings)
	}
}

// TestReplayStops: a replay of nothing finds nothing, and one that is called off
// ends.
func TestReplayStops(t *testing.T) {
	sheet := starter(t)
	if got, err := live.Replay(t.Context(), sheet, 0, slices.Values([]wire.Reading{}), nil); err != nil || len(got.Findings) != 0 {
		t.Errorf("of nothing: %+v, %v", got, err)
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if _, err := live.Replay(ctx, sheet, len(recording()), slices.Values(recording()), nil); !errors.Is(err, context.Canceled) {
		t.Errorf("called off: %v", err)
	}
}
