package edgeio

import (
	"context"
	"math"
	"sync"
	"time"

	"isohaline/internal/edge/lease"
	"isohaline/internal/guard"
	"isohaline/internal/plant"
)

// Simulation is wires to a simulated tank, which lives at the agent's pace. It is all
// of a tank's wires or none: no wiring file can name it, because a real pump on an
// imagined sensor is a flood.
type Simulation struct {
	mu   sync.Mutex
	live *plant.Live
	now  func() time.Duration
	last time.Duration
	out  plant.Outputs
}

// Simulate begins with a tank, by a clock.
func Simulate(live *plant.Live, now func() time.Duration) *Simulation {
	return &Simulation{live: live, now: now, last: now()}
}

// Exchange lets the water move on to now, and switches.
func (s *Simulation) Exchange(_ context.Context, out lease.Outputs) (Inputs, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	now := s.now()
	s.live.Advance(now-s.last, s.out)
	s.last, s.out = now, plant.Outputs{Pump: out.Pump, Valve: out.Valve}
	g := s.live.Inputs()
	in := Inputs{Contacts: map[Input]guard.Contact{
		Watch: g.Watch, Ceiling: g.Ceiling, Floor: g.Floor,
		Reservoir: g.ReservoirLow, ReturnPump: g.ReturnPump,
	}}
	if !math.IsNaN(g.LevelMM) {
		in.LevelMM, in.LevelRead = g.LevelMM, true
	}
	return in, nil
}

// Sample is the water now.
func (s *Simulation) Sample() plant.Sample {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.live.Sample()
}

// Close leaves the tank as it is, outputs off.
func (s *Simulation) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.out = plant.Outputs{}
	return nil
}
