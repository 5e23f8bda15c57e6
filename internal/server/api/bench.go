package api

import (
	"context"
	"errors"
	"strings"

	"isohaline/internal/bench"
)

// tagBench groups the questions of the water bench. A question's body is the
// bench's own struct: its tags are the document.
const tagBench = "Bench"

type questionIn[Q any] struct{ Body Q }

// registerBench declares a route for each question, by the command line's name.
func (a *API) registerBench() {
	add(a, viewers, route("POST", "/api/bench/use", "benchUse", tagBench, "What a tank uses up a day, from a log of readings, water changes and doses"), ask[bench.Consumption](a))
	add(a, viewers, route("POST", "/api/bench/correct", "benchCorrect", tagBench, "What puts alkalinity, calcium and magnesium right: which salts, how many grams a day"), ask[bench.Correction](a))
	add(a, viewers, route("POST", "/api/bench/salt", "benchSalt", tagBench, "What brings a tank to another salinity: litres, grams, days"), ask[bench.SalinityMove](a))
	add(a, viewers, route("POST", "/api/bench/change", "benchChange", tagBench, "What a series of water changes does, against one large one"), ask[bench.WaterChanges](a))
	add(a, viewers, route("POST", "/api/bench/shock", "benchShock", tagBench, "What giving fresh water does at once, and what a month of it is like by hand"), ask[bench.TopOffShock](a))
	add(a, viewers, route("POST", "/api/bench/lime", "benchLime", tagBench, "What lime water in the reservoir gives, and what it must not do"), ask[bench.LimeSupply](a))
	add(a, viewers, route("POST", "/api/bench/convert", "benchConvert", tagBench, "What an instrument's reading means, and what every other would show"), ask[bench.Conversion](a))
	add(a, viewers, route("POST", "/api/bench/agree", "benchAgree", tagBench, "What several readings of one water say together, and which instrument is off"), ask[bench.Agreement](a))
	add(a, viewers, route("POST", "/api/bench/fluid", "benchFluid", tagBench, "A fluid of table salt to calibrate with"), ask[bench.CalibrationFluid](a))
	add(a, viewers, route("POST", "/api/bench/source", "benchSource", tagBench, "What an RO/DI unit gives, wastes, and when its parts are due"), ask[bench.SourceWater](a))
	add(a, viewers, route("POST", "/api/tanks/{tank}/bench/hand", "tankBenchHand", tagBench, "What a month is like at a tank, topped off by hand and by its controller"), a.tankBenchHand)
	add(a, viewers, route("GET", "/api/tanks/{tank}/bench", "tankBench", tagBench, "The questions of the bench, filled in with what is known of a tank"), a.tankBench)
}

type handIn struct {
	TankIn
	Body bench.HandTopOff
}

// tankBenchHand asks the one question that is about a site as built.
func (a *API) tankBenchHand(ctx context.Context, in *handIn) (*reply[bench.BenchAnswer], error) {
	v, err := a.view(in.Tank)
	if err != nil {
		return nil, err
	}
	in.Body.Tank = v.Sheet.Tank
	return ask[bench.HandTopOff](a)(ctx, &questionIn[bench.HandTopOff]{in.Body})
}

// ask answers a question, in the units of whoever asks.
func ask[Q any, P interface {
	*Q
	bench.Question
}](a *API) func(context.Context, *questionIn[Q]) (*reply[bench.BenchAnswer], error) {
	return func(ctx context.Context, in *questionIn[Q]) (*reply[bench.BenchAnswer], error) {
		answer, err := bench.Ask(P(&in.Body), bench.Circumstances{Units: systemOf(personOf(ctx)), Now: a.now()})
		if refusal := new(bench.Refusal); errors.As(err, &refusal) {
			refusal.Field = strings.TrimSuffix("body."+refusal.Field, ".")
		}
		if err != nil {
			return nil, err
		}
		return &reply[bench.BenchAnswer]{Body: *answer}, nil
	}
}
