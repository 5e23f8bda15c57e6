package belief

import (
	"math"
	"time"
)

// WeatherNoise is how much the tank's evaporation comes and goes by itself. One
// room is a cellar and the next a kitchen: what is a sign in one is usual in the
// other, so every tank shows its own.
type WeatherNoise struct {
	// Var is the variance of what passes within days, as a share squared.
	Var float64
	// Past are the multipliers WeatherEvery apart, the newest last.
	Past [weatherLag + 1]float64
	Seen int
}

const (
	weatherDays = 1.5 // time constant of what passes
	// WeatherEvery is how often the multiplier is looked at.
	WeatherEvery = 6 * time.Hour
	// weatherLag times WeatherEvery apart, two multipliers are compared.
	weatherLag = 2
	// weatherMemory is over how many comparisons the variance is remembered.
	weatherMemory = 60
	// UnreadFrac is what comes and goes that no reading of the room's air
	// explains: doors, people, lights. leastOfPrior of what was expected at first,
	// and mostWeather, bound what is learned.
	UnreadFrac   = 0.09
	leastOfPrior = 0.6
	mostWeather  = 0.40
	// cappedWeather: one comparison counts for no more than so many variances; a
	// leak that begins is no weather.
	cappedWeather = 6.0
)

// NewWeatherNoise is what is expected of a tank at first, one standard deviation.
func NewWeatherNoise(frac float64) WeatherNoise { return WeatherNoise{Var: square(frac)} }

// Learn takes the present multiplier, as a share of the tank's own; expected is
// the standard deviation that was expected at first.
func (w *WeatherNoise) Learn(level, expected float64) {
	least := leastOfPrior * expected
	copy(w.Past[:], w.Past[1:])
	w.Past[weatherLag] = level
	if w.Seen++; w.Seen <= weatherLag {
		return
	}
	// The variance of a difference over a lag, for a first-order process.
	lagDays := weatherLag * WeatherEvery.Hours() / 24
	share := 2 * (1 - math.Exp(-lagDays/weatherDays))
	seen := square(w.Past[weatherLag]-w.Past[0]) / share
	w.Var += (min(seen, cappedWeather*w.Var) - w.Var) / weatherMemory
	w.Var = min(max(w.Var, square(least)), square(max(mostWeather, least)))
}

// Forget drops the past after a change that was no weather.
func (w *WeatherNoise) Forget() { w.Seen = 0 }
