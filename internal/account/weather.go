package account

import (
	"math"
	"time"
)

// Weather is how much the tank's evaporation comes and goes by itself. One room
// is a cellar and the next a kitchen: what is a sign in one is a Tuesday in the
// other, so every tank shows its own.
type Weather struct {
	// Var is the variance of what passes within days, as a share squared.
	Var float64
	// Past are the multipliers weatherEvery apart, the newest last.
	Past [weatherLag + 1]float64
	Seen int
}

const (
	weatherEvery = 6 * time.Hour
	// weatherLag times weatherEvery apart, two multipliers are compared.
	weatherLag = 2
	// weatherMemory is over how many comparisons the variance is remembered.
	weatherMemory = 60
	// unreadFrac is what comes and goes that no reading of the room's air
	// explains: doors, people, lights. leastOfPrior of what was expected at first,
	// and mostWeather, bound what is learned.
	unreadFrac   = 0.09
	leastOfPrior = 0.6
	mostWeather  = 0.40
	// cappedWeather: one comparison counts for no more than so many variances; a
	// leak that begins is no weather.
	cappedWeather = 6.0
)

// weatherFrac is the weather to expect of a tank before it has shown its own.
func (t *tank) weatherFrac() float64 { return math.Hypot(unreadFrac, t.thirst.airFrac) }

// follow takes the present multiplier, as a share of the tank's own; least is the
// smallest standard deviation to believe.
func (h *Weather) follow(level, least float64) {
	copy(h.Past[:], h.Past[1:])
	h.Past[weatherLag] = level
	if h.Seen++; h.Seen <= weatherLag {
		return
	}
	// The variance of a difference over a lag, for a process that forgets.
	lagDays := weatherLag * weatherEvery.Hours() / 24
	share := 2 * (1 - math.Exp(-lagDays/weatherDays))
	seen := square(h.Past[weatherLag]-h.Past[0]) / share
	h.Var += (min(seen, cappedWeather*h.Var) - h.Var) / weatherMemory
	h.Var = min(max(h.Var, square(least)), square(max(mostWeather, least)))
}

// forget drops the past after a change that was no weather.
func (h *Weather) forget() { h.Seen = 0 }

// normalMemory is over how many steps of weatherEvery the normal multiplier is
// remembered: ten days.
const normalMemory = 40

// followWeather learns what is usual, every weatherEvery.
func (w *clerk) followWeather() {
	s := w.s
	f, r := &s.Base, &s.Rhythm
	if r.Marks <= learnedMarks {
		r.Normal = f.X[evap]
		return
	}
	least := leastOfPrior * w.tank.weatherFrac()
	if s.At.Sub(s.AirAt) < airFreshFor {
		least = leastOfPrior * unreadFrac
	}
	s.Weather.follow((f.X[evap]+f.X[weather])/max(f.X[evap], leastAir), least)
	if s.Rivals == nil && s.find(EvaporationChanged) == nil {
		r.Normal += (f.X[evap] + f.X[weather] - r.Normal) / normalMemory
	}
}
