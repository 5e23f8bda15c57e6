package edge

import (
	"context"
	"math"
	"sync"
	"time"

	"isohaline/internal/edge/lease"
	"isohaline/internal/edge/line"
	"isohaline/internal/edge/wiring"
	"isohaline/internal/guard"
	"isohaline/internal/plant"
)

// Simulation is wires to a simulated tank, which lives at the agent's pace.
type Simulation struct {
	mu   sync.Mutex
	live *plant.Live
	pace *Pace
	last time.Duration
	out  plant.Outputs
}

// Simulate begins with a tank.
func Simulate(live *plant.Live, pace *Pace) *Simulation {
	return &Simulation{live: live, pace: pace, last: pace.Moment().Clock}
}

// Exchange lets the water move on to now, and switches.
func (s *Simulation) Exchange(_ context.Context, out lease.Outputs) (line.Inputs, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	now := s.pace.Moment().Clock
	s.live.Advance(now-s.last, s.out)
	s.last, s.out = now, plant.Outputs{Pump: out.Pump, Valve: out.Valve}
	g := s.live.Inputs()
	in := line.Inputs{Contacts: map[wiring.Input]guard.Contact{
		wiring.Watch: g.Watch, wiring.Ceiling: g.Ceiling, wiring.Floor: g.Floor,
		wiring.Reservoir: g.ReservoirLow, wiring.ReturnPump: g.ReturnPump,
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
