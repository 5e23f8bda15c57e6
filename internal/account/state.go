package account

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/fxamacker/cbor/v2"

	"isohaline/internal/account/belief"
	"isohaline/internal/account/judgement"
	"isohaline/internal/account/reservoir"
)

// State is all that the account remembers of a tank: a plain value that can be
// saved and taken up by another process, which then gives the same findings. Its
// fields are for saving, not for use; Estimate and Findings say what they mean.
type State struct {
	judgement.State
	Window
	NextTick time.Time
	WaterC   float64
	Run      Run
}

// Run is the present run of the top-off pump, or the last one.
type Run struct {
	On    bool
	Since time.Time
	// DrySeen says that the watch level was seen dry since the last fill.
	DrySeen bool
	// Dip says that the run began in the dip after a restart, before a fill was due.
	Dip bool
	// FromL is the deficit as it began, FromSD how well that is known.
	FromL, FromSD float64
	// FromMM is the gauge's level then; NaN cannot be saved, so FromMMKnown.
	FromMM      float64
	FromMMKnown bool
	// BucketS is the pump time that the controller's daily budget counted at
	// BucketAt.
	BucketS  float64
	BucketAt time.Time
	// CutShort says that the last run was cut short by the day's budget, Spent that
	// the account has drawn its lesson from a spent budget.
	CutShort, Spent bool
	// Far counts the runs in a row that ended well, but too soon to have reached
	// the level.
	Far int
	// UnboundL is what was pumped since the watch sensor last said something.
	UnboundL float64
	// Failed counts runs that did not reach the watch level, since FailedAt.
	Failed   int
	FailedAt time.Time
	EndedAt  time.Time
	// Waits says that the run, of RanFor, ended with the watch sensor dry as far
	// as was heard, and that its word may yet come.
	Waits  bool
	RanFor time.Duration
	// SourceL is what the source can still give, in litres of the design's flow:
	// a pump that runs dry moves nothing.
	SourceL float64
	// OverAt is when the device was first heard after a run had become longer
	// than any run may be.
	OverAt time.Time
}

// Clone returns a copy that shares no memory with the state: an observation on one
// never changes the other.
func (s *State) Clone() State {
	c := *s
	c.Pending = slices.Clone(s.Pending)
	c.LateHand = slices.Clone(s.LateHand)
	c.Instruments = slices.Clone(s.Instruments)
	c.Open = slices.Clone(s.Open)
	if s.Question != nil {
		q := *s.Question
		c.Question = &q
	}
	return c
}

// Version is that of a saved state: one more whenever what is saved changes its
// shape or meaning. A test holds the shape of each version.
const Version = 2

// ErrVersion says that another version of the program saved the state. The caller
// begins with an empty state and works through the records again.
var ErrVersion = errors.New("account: the state was saved by another version of the program")

// saved is a state on its way to or from bytes.
type saved[S any] struct {
	_       struct{} `cbor:",toarray"`
	Version int
	State   S
}

// encoding keeps every bit of a number and every nanosecond of a time.
var encoding = func() cbor.EncMode {
	o := cbor.CoreDetEncOptions()
	o.Time, o.NaNConvert, o.InfConvert = cbor.TimeRFC3339NanoUTC, cbor.NaNConvertPreserveSignal, cbor.InfConvertFloat16
	m, err := o.EncMode()
	if err != nil {
		panic(err) // the options are constants
	}
	return m
}()

// plain is a State that is encoded field by field.
type plain State

// MarshalBinary returns the state as CBOR (RFC 8949), for UnmarshalBinary.
func (s *State) MarshalBinary() ([]byte, error) {
	data, err := encoding.Marshal(saved[*plain]{Version: Version, State: (*plain)(s)})
	if err != nil {
		return nil, fmt.Errorf("account: saving the state: %w", err)
	}
	return data, nil
}

// UnmarshalBinary reads a state. The error wraps ErrVersion where another version of
// the program saved it; any other means damaged bytes.
func (s *State) UnmarshalBinary(data []byte) error {
	var v saved[cbor.RawMessage]
	if err := cbor.Unmarshal(data, &v); err != nil || v.Version != Version {
		return fmt.Errorf("%w (%d bytes, version %d; this is %d)", ErrVersion, len(data), v.Version, Version)
	}
	var p plain
	if err := cbor.Unmarshal(v.State, &p); err != nil {
		return fmt.Errorf("account: reading the state: %w", err)
	}
	for _, o := range slices.Concat(p.Pending, p.LateHand) {
		if o.Kind == 0 || o.Kind >= kinds {
			return fmt.Errorf("account: reading the state: an observation's Kind is %d, which there is not", o.Kind)
		}
	}
	*s = State(p)
	return nil
}

// Begin returns the state of a tank of which nothing has been heard before now.
func (a *Account) Begin(now time.Time) State {
	now = now.UTC().Round(0)
	t := &a.tank
	e := &t.Evaporation
	s := State{Window: Window{Newest: now}, NextTick: now.Truncate(time.Hour).Add(time.Hour)}
	s.Began, s.Done, s.At = now, now.Add(-time.Nanosecond), now
	s.PredictedLDay, s.WaterC = e.UsualLDay, e.WaterC
	s.Inputs.LastSeen = now
	b := &s.Base
	b.X[belief.Evaporation], b.X[belief.Flow], b.X[belief.Band], b.X[belief.Salt] = e.Factor, 1, 1, t.TargetPSU
	priorSD := belief.Vector{
		belief.Deficit:     t.BandL,
		belief.Evaporation: meanDeviationSD*e.BandFrac*e.Factor + e.SeasonFrac,
		belief.Weather:     t.WeatherFrac(),
		belief.Flow:        math.Hypot(judgement.DrawnFlowFrac, judgement.DrawnBandFrac),
		belief.Leak:        usualLossFrac * t.SystemL,
		belief.Salt:        startSaltPSU,
		belief.Gauge:       gaugeZeroMM * t.LitresPerMM,
	}
	for i, sd := range priorSD {
		b.P[i][i] = sd * sd
	}
	s.Usual.Dispersion, s.Usual.OutlierFrac = 1, belief.OutlierFrac
	s.Weather = belief.NewWeatherNoise(t.WeatherFrac())
	s.Reservoir.Base = reservoir.Outflow{Scale: 1, ScaleVar: judgement.DrawnBandFrac * judgement.DrawnBandFrac}
	s.Reservoir.Suppose(e.UsualLDay, now)
	s.RestartAll(&t.Model)
	return s
}

const (
	// meanDeviationSD is a standard deviation in mean deviations of a normal
	// law: sqrt(pi/2).
	meanDeviationSD = 1.2533
	// usualLossFrac is the system's water a day that leaves with its salt
	// unnoticed: splash, creep, wet hands. Judgements, as what follows.
	usualLossFrac = 0.0003
	startSaltPSU  = 1.0
	gaugeZeroMM   = 8.0
)
