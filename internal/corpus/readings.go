package corpus

import (
	"math"
	"math/rand/v2"
	"slices"
	"sort"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/plant"
)

// at is the plant at a time, on the straight line between two samples.
func (t *teller) at(at time.Duration) plant.Sample {
	s := t.samples
	i := sort.Search(len(s), func(i int) bool { return s[i].SinceOnset >= at })
	switch {
	case len(s) == 0:
		return plant.Sample{SalinityPSU: t.b.site.Water.SalinityPSU}
	case i == 0:
		return s[0]
	case i == len(s):
		return s[len(s)-1]
	}
	a, b := s[i-1], s[i]
	share := float64(at-a.SinceOnset) / float64(b.SinceOnset-a.SinceOnset)
	b.ChamberM = a.ChamberM + share*(b.ChamberM-a.ChamberM)
	b.SalinityPSU = a.SalinityPSU + share*(b.SalinityPSU-a.SalinityPSU)
	return b
}

// scaleEndPSU is where instruments for salinity end.
const scaleEndPSU = 50.0

// readings are what instruments and people read.
func (t *teller) readings() {
	r := t.r
	handSD, handBias := uniform(r, 0.2, 0.45), biasPSU*r.NormFloat64()
	salinity := func(at time.Duration, instrument string, bias, sd float64) {
		if t.at(at).SalinityPSU > scaleEndPSU {
			return // no instrument goes further, and no tank lives
		}
		t.told = append(t.told, account.Observation{At: Start.Add(at).Truncate(time.Second), Kind: account.Salinity, SD: sd,
			Value: t.at(at).SalinityPSU + bias + sd*r.NormFloat64(), Instrument: instrument})
	}
	f := t.h.Fault
	for at := time.Duration(uniform(r, 0, 1) * float64(day)); at < t.length; {
		salinity(at, "hand", handBias, handSD)
		at += time.Duration(uniform(r, 0.85, 1.15) * readEveryDays * float64(day))
	}
	if t.h.Kit < Full {
		return
	}
	probeBias := biasPSU * r.NormFloat64()
	for at := 5 * time.Hour; at < t.length; at += probeEvery {
		bias := probeBias
		if f != nil && f.reads && t.faultAt(at) {
			bias += f.Severity[t.h.Severity]
		}
		salinity(at, "probe", bias, probePSU)
	}
	zeroMM := uniform(r, -4, 4)
	for at := time.Duration(0); at < t.length; at += gaugeEvery {
		mm := t.at(at).ChamberM*1000 + zeroMM + gaugeMM*r.NormFloat64()
		if f != nil && f.gauges && t.faultAt(at) {
			mm += f.Severity[t.h.Severity]
		}
		t.say(at, account.Level, math.Round(mm*10)/10)
	}
	for at := 7 * time.Minute; at < t.length; at += airEvery {
		hour := int(at / time.Hour)
		t.told = append(t.told, account.Observation{At: Start.Add(at), Kind: account.RoomAir,
			Value: t.w.airC[hour] + roomReadC*r.NormFloat64(), Second: min(max(t.w.rhFrac[hour]+roomReadRH*r.NormFloat64(), 0), 1)})
	}
}

// schedule is what is told by the clock: heartbeats, the return pump, water
// changes and the power.
func (t *teller) schedule() {
	if w := t.b.site.WaterChange; w != nil && t.diary.notesChanges {
		every := time.Duration(w.EveryDays * float64(day))
		for at := every; at < t.length; at += every {
			mix := 0.0
			if t.diary.measuresMix {
				mix = w.SalinityPSU + 0.3*t.r.NormFloat64()
			}
			t.note(at, account.WaterChange, w.VolumeM3*litresPerM3*(1+0.05*t.r.NormFloat64()), mix)
		}
	}
	if t.h.Kit < Switches {
		return
	}
	for at := heartbeat; at < t.length; at += heartbeat {
		t.say(at, account.Heartbeat, 0)
	}
	returns, power := true, true
	for _, at := range append(t.breaks(), t.length) {
		c := t.conditions(at)
		on := c.PowerOff.On == 0
		if running := on && c.ReturnOff.On == 0; running != returns && t.b.site.HasSump() {
			returns = running
			t.say(at, account.ReturnPump, oneIf(running))
		}
		if on != power {
			if power = on; on {
				t.say(at, account.PowerRestored, 0)
			}
		}
	}
}

// byHand are kinds that people write down, whatever the devices do.
func byHand(o *account.Observation) bool {
	return o.Kind == account.ReservoirFilled || o.Kind == account.WaterChange || o.Kind == account.Salinity && o.Instrument == "hand"
}

// deliver is the link: it loses what is said in a gap, in a silence and without
// power, brings some twice, and a few out of order. A device that comes back says
// again how all its contacts and its pump stand.
func (t *teller) deliver(r *rand.Rand) {
	slices.SortStableFunc(t.told, func(a, b account.Observation) int { return a.At.Compare(b.At) })
	type arrival struct {
		at time.Time
		o  account.Observation
	}
	var arrivals []arrival
	arrive := func(o account.Observation) {
		late := time.Duration(r.Float64() * r.Float64() * float64(maxDelay))
		arrivals = append(arrivals, arrival{o.At.Add(late), o})
		if r.Float64() < twiceFrac {
			arrivals = append(arrivals, arrival{o.At.Add(late + time.Second), o})
		}
	}
	var stands [standings]account.Observation
	cut, back := false, time.Time{}
	for _, o := range t.told {
		since := o.At.Sub(Start)
		if !back.IsZero() && o.At.After(back) {
			for _, s := range stands {
				if s.Kind != 0 {
					s.At = back
					arrive(s)
				}
			}
			back = time.Time{}
		}
		if byHand(&o) {
			arrive(o)
			continue
		}
		if i := standing(o.Kind); i >= 0 {
			stands[i] = o
		}
		lost := t.lost(since)
		if cut && !lost && t.h.Kit >= Switches {
			back = o.At.Add(reconnect)
		}
		if cut = lost; !lost {
			arrive(o)
		}
	}
	slices.SortStableFunc(arrivals, func(a, b arrival) int { return a.at.Compare(b.at) })
	t.h.Observations = make([]account.Observation, len(arrivals))
	for i, a := range arrivals {
		t.h.Observations[i] = a.o
	}
}

// lost says whether what a device says then arrives.
func (t *teller) lost(since time.Duration) bool {
	f := t.h.Fault
	return anyHolds(t.diary.gaps, since) || f != nil && f.silences && t.faultAt(since) || !t.powered(since)
}

// reconnect is how long a device takes to say how things stand.
const reconnect = 2 * time.Second

// standings is how many things a device says again when it comes back.
const standings = 6

// standing is the place of a kind among them; -1: it is none.
func standing(k account.Kind) int {
	switch k {
	case account.Watch:
		return 0
	case account.Ceiling:
		return 1
	case account.Floor:
		return 2
	case account.ReservoirLow:
		return 3
	case account.ReturnPump:
		return 4
	case account.PumpOn, account.PumpOff:
		return 5
	}
	return -1
}
