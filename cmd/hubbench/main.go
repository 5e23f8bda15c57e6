// Command hubbench measures the whole way of a reading as a user has it: published
// over MQTT at QoS 1 to the real program, acknowledged, and seen in the live updates
// of a browser; what that costs in processor time and in bytes written; and beside
// it, in the same run, a general-purpose broker (mosquitto) from publisher to
// subscriber, which checks, keeps and concludes nothing.
//
//	go build -o isohaline ./cmd/isohaline && go run ./cmd/hubbench -program ./isohaline
//	    [-tanks 100] [-rates 1000,10000] [-for 1m] [-pages 10] [-history 48h]
//
// The load comes from this process, on the same machine.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"
)

// options say what is measured.
type options struct {
	program string
	tanks   int
	rates   []int // readings a second, of all tanks
	length  time.Duration
	pages   int           // how many tanks are looked at
	history time.Duration // how much of the past a tank's account has taken in before
}

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "hubbench:", err)
		os.Exit(1)
	}
}

func run() error {
	var o options
	flag.StringVar(&o.program, "program", "./isohaline", "the built isohaline program")
	flag.IntVar(&o.tanks, "tanks", 100, "how many tanks")
	rates := flag.String("rates", "1000,10000", "readings a second of all tanks together, each measured by itself")
	flag.DurationVar(&o.length, "for", time.Minute, "how long each rate lasts")
	flag.IntVar(&o.pages, "pages", 10, "how many tanks are looked at by a browser each")
	flag.DurationVar(&o.history, "history", 48*time.Hour, "how much of the past each tank has before")
	flag.Parse()
	for word := range strings.SplitSeq(*rates, ",") {
		rate, err := strconv.Atoi(word)
		if err != nil || rate < 1 || rate > 1_000_000 {
			return fmt.Errorf("-rates: %q is no rate; give whole readings a second, like 1000,10000", word)
		}
		o.rates = append(o.rates, rate)
	}
	switch {
	case o.tanks < 1 || o.tanks > 10_000:
		return fmt.Errorf("-tanks is %d: give 1 to 10000", o.tanks)
	case o.pages < 1 || o.pages > o.tanks:
		return fmt.Errorf("-pages is %d: give 1 to -tanks", o.pages)
	case o.length < time.Second:
		return fmt.Errorf("-for is %v: give a second at least", o.length)
	case o.history < 0:
		return fmt.Errorf("-history is %v: give 0 or more", o.history)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	results, err := measureAll(ctx, o, os.Stderr)
	if err != nil {
		return err
	}
	return table(os.Stdout, results)
}

// measureAll measures the program, and the broker where there is one, at every rate.
func measureAll(ctx context.Context, o options, progress io.Writer) ([]result, error) {
	dir, err := os.MkdirTemp("", "hubbench-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	h, err := startHub(ctx, o.program, filepath.Join(dir, "hub"))
	if err != nil {
		return nil, err
	}
	defer h.stop()
	began := time.Now()
	fleet, err := h.furnish(ctx, o)
	if err != nil {
		return nil, err
	}
	fmt.Fprintf(progress, "%d tanks with %v of their past each, made in %v\n", o.tanks, o.history, time.Since(began).Round(time.Second))
	targets := []target{h}
	b, err := startBroker(ctx, filepath.Join(dir, "broker"))
	switch {
	case errors.Is(err, exec.ErrNotFound):
		fmt.Fprintln(progress, "mosquitto, the yardstick, is not installed: the program is measured alone")
	case err != nil:
		return nil, err
	default:
		defer b.stop()
		targets = append(targets, b)
	}
	var results []result
	for _, rate := range o.rates {
		for _, t := range targets {
			fmt.Fprintf(progress, "%s: %d readings/s for %v\n", t.name(), rate, o.length)
			r, err := measure(ctx, t, fleet, rate, o)
			if err != nil {
				return nil, fmt.Errorf("%s at %d readings/s: %w", t.name(), rate, err)
			}
			if err := table(progress, []result{r}); err != nil {
				return nil, err
			}
			results = append(results, r)
		}
	}
	return results, nil
}

func table(w io.Writer, results []result) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "what\treadings/s\tacknowledged\tto the acknowledgement p50, p99\tto be seen p50, p99, longest\tseen\tbehind at the end\tprocessor time a reading\twritten a reading")
	for _, r := range results {
		fmt.Fprintf(t, "%s\t%d\t%d of %d\t%s, %s\t%s, %s, %s\t%d\t%s\t%.1f µs\t%.2f kB\n", r.name, r.rate, len(r.acks), r.sent,
			ms(quantile(r.acks, 0.5)), ms(quantile(r.acks, 0.99)), ms(quantile(r.seen, 0.5)), ms(quantile(r.seen, 0.99)), ms(quantile(r.seen, 1)), len(r.seen), ms(r.behind),
			float64(r.cpu.Microseconds())/float64(r.sent), float64(r.written)/1000/float64(r.sent))
	}
	return t.Flush()
}

func ms(d time.Duration) string { return fmt.Sprintf("%.1f ms", d.Seconds()*1000) }
