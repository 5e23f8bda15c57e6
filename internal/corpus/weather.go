package corpus

import (
	"math"
	"math/rand/v2"
	"time"

	"isohaline/internal/plant"
)

// weather is the room's air hour by hour, and what it does to evaporation.
type weather struct {
	airC, rhFrac []float64
	// factor multiplies the season's evaporation; unread is the part of it that
	// no reading of the room's air explains.
	factor []float64
}

// How a room's air and a tank's evaporation vary, one standard deviation.
// Judgements: there is no published record of a room with an aquarium in it.
const (
	roomTempC     = 0.8
	roomRHFrac    = 0.05
	roomDays      = 2.0  // time constant of both
	draughtFrac   = 0.05 // doors, people, curtains
	draughtDays   = 1.0
	gustFrac      = 0.04
	gustDays      = 0.12
	trendFracDay  = 0.002
	dailySwingLo  = 0.01
	dailySwingHi  = 0.07
	hoursPerDay   = 24
	dampestRHFrac = 0.9
	driestRHFrac  = 0.1
)

// walk is a first-order process that forgets with a time constant in hours.
func walk(r *rand.Rand, n int, sd, hours float64) []float64 {
	keep := math.Exp(-1 / hours)
	kick := sd * math.Sqrt(1-keep*keep)
	out := make([]float64, n)
	x := sd * r.NormFloat64()
	for i := range out {
		out[i] = x
		x = keep*x + kick*r.NormFloat64()
	}
	return out
}

func (b *built) weather(seed uint64, length time.Duration) (*weather, error) {
	r := stream(seed, "weather")
	n := int(length/time.Hour) + 2
	season := b.site.Room.Seasons[0]
	temp := walk(r, n, roomTempC, roomDays*hoursPerDay)
	rh := walk(r, n, roomRHFrac, roomDays*hoursPerDay)
	draught := walk(r, n, draughtFrac, draughtDays*hoursPerDay)
	gust := walk(r, n, gustFrac, gustDays*hoursPerDay)
	swing, phase := uniform(r, dailySwingLo, dailySwingHi), uniform(r, 0, 2*math.Pi)
	trend := trendFracDay * r.NormFloat64()
	w := &weather{}
	usual, err := litresPerDay(b, season.AirC, season.RHFrac)
	if err != nil {
		return nil, err
	}
	for i := range n {
		airC := season.AirC + temp[i]
		rhFrac := min(max(season.RHFrac+rh[i], driestRHFrac), dampestRHFrac)
		now, err := litresPerDay(b, airC, rhFrac)
		if err != nil {
			return nil, err
		}
		hours := float64(i)
		unread := draught[i] + gust[i] + swing*math.Sin(2*math.Pi*hours/hoursPerDay+phase) + trend*hours/hoursPerDay
		w.airC, w.rhFrac = append(w.airC, airC), append(w.rhFrac, rhFrac)
		w.factor = append(w.factor, b.airFactor*now/usual*math.Exp(unread))
	}
	return w, nil
}

func litresPerDay(b *built, airC, rhFrac float64) (float64, error) {
	season := b.site.Room.Seasons[0]
	season.AirC, season.RHFrac = airC, rhFrac
	display, sump, err := plant.Evaporation(b.site, season)
	return display.LitresPerDay + sump.LitresPerDay, err
}
