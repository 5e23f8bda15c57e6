package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"strconv"
	"strings"

	"isohaline/internal/odds"
	"isohaline/internal/report"
	"isohaline/internal/tankfile"
	"isohaline/internal/verify"
)

// oddsFlags ask how likely the harm is, beyond what every check says.
type oddsFlags struct {
	Rate    []string `sep:"none" placeholder:"FAULT=RATE" help:"How often a fault comes here: \"0.2/yr\", or a range for 90 % of the belief, \"0.1/yr to 0.5/yr\"."`
	Improve bool     `help:"Try every change by itself and say what it takes away of the serious harm; as long as a dozen checks."`
	Price   []string `sep:"none" placeholder:"CHANGE=AMOUNT" help:"What a change costs, in your money: ranks the changes by what they buy for it."`
	Prices  string   `placeholder:"FILE" help:"The same from a file: one CHANGE=AMOUNT a line, # before remarks."`
	Lived   *int     `placeholder:"YEARS" help:"Live through so many tank-years too, and say where that tells another story."`
	Tally   string   `placeholder:"FILE" help:"Keep the years lived in this file, and go on from it."`
	Seed    uint64   `placeholder:"N" help:"Draws the bands and the years lived."`
}

// inquiry is what was asked about odds, read and checked.
type inquiry struct {
	odds.Options
	improve bool
	prices  map[string]float64
	years   int // 0: none to live
	tally   string
	// asked: by the person, so that no answer is a failure. Otherwise the report
	// only says why there is none.
	asked bool
}

// inquiry reads the flags for a tank.
func (f *oddsFlags) inquiry(s *tankfile.Tank, singles bool) (*inquiry, error) {
	if err := statedFaults(s); err != nil {
		return nil, err
	}
	q := &inquiry{Options: odds.Options{Seed: f.Seed}, tally: f.Tally}
	var err error
	if q.Rates, err = f.rates(s); err != nil {
		return nil, err
	}
	if q.prices, err = f.allPrices(); err != nil {
		return nil, err
	}
	q.improve = f.Improve || len(q.prices) > 0
	switch {
	case f.Lived != nil && *f.Lived < 1:
		return nil, fmt.Errorf("--lived: %d years; give 1 or more, like 30000", *f.Lived)
	case f.Lived != nil:
		q.years = *f.Lived
	case f.Tally != "":
		return nil, errors.New("--tally: no years to keep; give --lived YEARS")
	}
	q.asked = len(q.Rates) > 0 || q.improve || q.years > 0
	if q.asked && singles {
		return nil, errors.New("--singles: no odds without pairs; leave it out, or --rate, --improve, --price and --lived")
	}
	return q, nil
}

// statedFaults refuses what the file says of faults that the tank cannot have:
// package tankfile does not know them.
func statedFaults(s *tankfile.Tank) error {
	for i, r := range s.Rates {
		if _, err := faultOf(s, fmt.Sprintf("rates[%d].fault", i+1), r.Fault); err != nil {
			return err
		}
	}
	for i := range s.CommonCauses {
		for _, id := range s.CommonCauses[i].FaultIDs() {
			if _, err := faultOf(s, fmt.Sprintf("common causes[%d].faults", i+1), id); err != nil {
				return err
			}
		}
	}
	return nil
}

func (f *oddsFlags) rates(s *tankfile.Tank) (map[string]string, error) {
	rates, err := assignments("--rate", f.Rate, `watch-stuck-dry="0.1/yr to 0.5/yr"`)
	if err != nil {
		return nil, err
	}
	for id := range rates {
		if _, err := faultOf(s, "--rate", id); err != nil {
			return nil, err
		}
	}
	return rates, nil
}

// allPrices are those of the flags and of the file together.
func (f *oddsFlags) allPrices() (map[string]float64, error) {
	lines, err := priceLines(f.Prices)
	if err != nil {
		return nil, err
	}
	const example = "shut-off-valve=85"
	inFile, err := assignments(f.Prices, lines, example)
	if err != nil {
		return nil, err
	}
	given, err := assignments("--price", f.Price, example)
	if err != nil {
		return nil, err
	}
	prices := map[string]float64{}
	maps.Copy(inFile, given) // a flag is nearer than a file
	for change, amount := range inFile {
		if prices[change], err = strconv.ParseFloat(amount, 64); err != nil {
			return nil, fmt.Errorf("price of %s: %q is no amount; give a number, like 85 or 12.50", change, amount)
		}
	}
	return prices, nil
}

// maxPricesBytes is more than any list of prices has.
const maxPricesBytes = 1 << 20

// priceLines are the lines of a file that say something; none without a file.
func priceLines(name string) ([]string, error) {
	if name == "" {
		return nil, nil
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("--prices: %w", err)
	}
	defer f.Close()
	var lines []string
	scanner := bufio.NewScanner(io.LimitReader(f, maxPricesBytes))
	for scanner.Scan() {
		text, _, _ := strings.Cut(scanner.Text(), "#")
		if text = strings.TrimSpace(text); text != "" {
			lines = append(lines, text)
		}
	}
	if err := scanner.Err(); err != nil {
		return nil, fmt.Errorf("--prices: reading %s: %w", name, err)
	}
	return lines, nil
}

// assignments reads NAME=VALUE, each name once.
func assignments(place string, texts []string, example string) (map[string]string, error) {
	out := map[string]string{}
	for _, text := range texts {
		name, value, found := strings.Cut(text, "=")
		name, value = strings.TrimSpace(name), strings.TrimSpace(value)
		if !found || name == "" || value == "" {
			return nil, fmt.Errorf("%s: %q does not say what is what; give it like %s", place, text, example)
		}
		if _, twice := out[name]; twice {
			return nil, fmt.Errorf("%s: %s is there twice; give it once", place, name)
		}
		out[name] = value
	}
	return out, nil
}

// answer works the odds out; nil where pairs were not tried.
func (q *inquiry) answer(ctx context.Context, c *console, r *verify.Report) (*report.Odds, error) {
	if len(r.Pairs) == 0 {
		return nil, nil
	}
	answer, err := odds.Estimate(ctx, r, q.Options)
	switch {
	case err != nil && (q.asked || ctx.Err() != nil):
		return nil, err
	case err != nil:
		return report.NoOdds(err), nil
	}
	likely := &report.Odds{Answer: answer}
	if q.improve {
		improvements, err := odds.Improve(ctx, r, odds.Improving{Options: q.Options, Prices: q.prices, Progress: c.progress("trying changes")})
		if err != nil {
			return nil, err
		}
		likely.Changes = &report.ChangesTried{Improvements: improvements, Prices: q.prices}
	}
	if q.years > 0 {
		tally, err := q.live(ctx, c, r)
		if err != nil {
			return nil, err
		}
		likely.Lived = &tally
	}
	return likely, nil
}

// live lives through the years asked for, from where the tally file stands.
func (q *inquiry) live(ctx context.Context, c *console, r *verify.Report) (odds.Tally, error) {
	s := odds.Simulation{Options: q.Options, Years: q.years, Bias: odds.DefaultBias, Progress: c.progress("living tank-years")}
	if q.tally == "" {
		return odds.Simulate(ctx, r, s)
	}
	file, err := openTally(q.tally, r.Tank, &s)
	if err != nil {
		return odds.Tally{}, err
	}
	s.From, s.Keep = file.Tally, file.keepNowAndThen
	tally, err := odds.Simulate(ctx, r, s)
	if kept := file.keep(tally); kept != nil {
		return tally, errors.Join(err, kept)
	}
	if err != nil {
		fmt.Fprintf(c.Err, "%d tank-years are kept in %s; the same command goes on from there\n", tally.Years(), q.tally)
	}
	return tally, err
}
