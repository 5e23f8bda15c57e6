package corpus

import (
	"cmp"
	"fmt"
	"io"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"text/tabwriter"
	"time"

	"isohaline/internal/account"
)

// Result is a corpus judged, by the account and by the naive rules.
type Result struct {
	Histories, Observations int
	Naive                   Naive
	// ReplayTime is the account's own time over all observations.
	ReplayTime time.Duration
	judged     []judged
}

type judged struct {
	kit            Kit
	fault          *Fault
	severity       int
	account, naive Verdict
}

// Bench tunes the naive rules on the tuning seeds and judges rounds of the
// corpus from the report seeds. progress, if set, is told how many of how many
// histories are done, from several goroutines.
func (d *Designs) Bench(rounds int, progress func(done, total int)) (*Result, error) {
	total := TuningSeeds + rounds*RoundSize()
	var done atomic.Int64
	step := func() {
		if progress != nil {
			progress(int(done.Add(1)), total)
		}
	}
	tuning := make([]*History, TuningSeeds)
	err := parallel(TuningSeeds, func(i int) error {
		defer step()
		h, err := d.Make(uint64(i)+1, 0)
		tuning[i] = h
		return err
	})
	if err != nil {
		return nil, err
	}
	r := &Result{Histories: rounds * RoundSize(), Naive: TuneNaive(tuning, falseGoal)}
	r.judged = make([]judged, r.Histories)
	var observations, replay atomic.Int64
	err = parallel(r.Histories, func(i int) error {
		defer step()
		h, err := d.Make(ReportSeeds+1+uint64(i), 0)
		if err != nil {
			return err
		}
		began := time.Now()
		found, err := Replay(h)
		if err != nil {
			return err
		}
		replay.Add(int64(time.Since(began)))
		observations.Add(int64(len(h.Observations)))
		r.judged[i] = judged{h.Kit, h.Fault, h.Severity, h.Judge(found), h.Judge(r.Naive.Run(h))}
		return nil
	})
	r.Observations, r.ReplayTime = int(observations.Load()), time.Duration(replay.Load())
	return r, err
}

// parallel does n things on every core and returns the first error.
func parallel(n int, do func(i int) error) error {
	var next atomic.Int64
	var wg sync.WaitGroup
	errs := make([]error, n)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				errs[i] = do(i)
			}
		})
	}
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// The goals.
const (
	falseGoal    = 0.2 // false findings a tank-year
	foundGoal    = 36 * time.Hour
	namedGoal    = 10 * day
	shareGoal    = 0.9
	goalLeakPct  = 2.0
	percentOfAll = 100
)

// tally is how a rule did on some histories.
type tally struct {
	n, found, named, misnamed int
	foundInGoal, namedInGoal  int
	delays                    []time.Duration
}

func (t *tally) add(v *Verdict) {
	t.n++
	if v.FoundAfter >= 0 {
		t.found++
		t.delays = append(t.delays, v.FoundAfter)
	} else {
		t.delays = append(t.delays, 1<<62)
	}
	if v.ToldAfter >= 0 {
		t.named++
	}
	if v.FoundAfter >= 0 && v.FoundAfter <= foundGoal {
		t.foundInGoal++
	}
	if v.ToldAfter >= 0 && v.ToldAfter <= namedGoal && !v.Misnamed {
		t.namedInGoal++
	}
	if v.Misnamed {
		t.misnamed++
	}
}

// delay is the delay that a share of all histories stays within; "never" when
// fewer were found.
func (t *tally) delay(share float64) string {
	if t.n == 0 {
		return ""
	}
	slices.SortFunc(t.delays, func(a, b time.Duration) int { return cmp.Compare(a, b) })
	at := int(share*float64(t.n)+0.999999) - 1
	d := t.delays[max(at, 0)]
	if d > 1<<61 {
		return "never"
	}
	if d < 2*day {
		return fmt.Sprintf("%.1f h", d.Hours())
	}
	return fmt.Sprintf("%.1f d", d.Hours()/24)
}

func share(k, n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("%.0f %%", percentOfAll*float64(k)/float64(n))
}

// Write prints the result: the goals, then every fault, then the false findings.
func (r *Result) Write(out io.Writer) error {
	fmt.Fprintf(out, "%d histories from seeds above %d, %d observations, %.2f µs each in the account.\n",
		r.Histories, ReportSeeds, r.Observations, float64(r.ReplayTime.Microseconds())/float64(max(r.Observations, 1)))
	fmt.Fprintf(out, "Naive rules, tuned on seeds 1 to %d: a day's litres above %.3g times the usual, no top-off for %.3g times\nthe longest usual pause, a salinity reading %.3g PSU from the usual.\n\n",
		TuningSeeds, r.Naive.LitresTimes, r.Naive.PauseTimes, r.Naive.SaltPSU)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	r.goals(w)
	if err := w.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(out)
	fmt.Fprintln(w, "\t\t\taccount\t\t\t\t\t|\tnaive\t\t\t\t")
	fmt.Fprintln(w, "fault\tseverity\tn\tmedian\t90 %\tfound\tnamed\tmisnamed\t|\tmedian\t90 %\tfound\tnamed\tmisnamed")
	for i := range Faults {
		f := &Faults[i]
		for severity := range f.Severity {
			if severity > 0 && f.Severity[severity] == f.Severity[0] {
				continue // one kind of it
			}
			a, n := r.of(func(j *judged) bool { return j.fault == f && f.Severity[j.severity] == f.Severity[severity] })
			r.line(w, f.Name, fmt.Sprintf("%g %s", f.Severity[severity], f.Unit), a, n)
		}
	}
	fmt.Fprintln(w, strings.Repeat("\t", 13))
	for k := range kits {
		a, n := r.of(func(j *judged) bool { return j.fault != nil && j.kit == k })
		r.line(w, "all faults", "kit: "+k.String(), a, n)
	}
	a, n := r.of(func(j *judged) bool { return j.fault != nil })
	r.line(w, "all faults", "", a, n)
	if err := w.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(out)
	r.false(w)
	return w.Flush()
}

func (r *Result) line(w io.Writer, name, severity string, a, n tally) {
	fmt.Fprintf(w, "%s\t%s\t%d\t%s\t%s\t%s\t%s\t%s\t|\t%s\t%s\t%s\t%s\t%s\n", name, severity, a.n, a.delay(0.5), a.delay(0.9),
		share(a.found, a.n), share(a.named, a.n), share(a.misnamed, a.n), n.delay(0.5), n.delay(0.9), share(n.found, n.n), share(n.named, n.n), share(n.misnamed, n.n))
}

func (r *Result) of(which func(*judged) bool) (a, n tally) {
	for i := range r.judged {
		if j := &r.judged[i]; which(j) {
			a.add(&j.account)
			n.add(&j.naive)
		}
	}
	return a, n
}

// Goals are the figures that were aimed at.
type Goals struct {
	FalseAYear, FoundInTime, NamedInTime float64
	// AirCalledLeak is how often drier air was called a leak: who calls
	// everything a leak names every leak.
	AirCalledLeak float64
}

// Goals are the account's and the naive rules' figures.
func (r *Result) Goals() (ours, naive Goals) {
	leak := func(j *judged) bool { return j.fault != nil && j.fault.Name == leakFault }
	twoPercent := func(j *judged) bool { return leak(j) && j.fault.Severity[j.severity] == goalLeakPct }
	a, n := r.of(twoPercent)
	ours.FoundInTime, naive.FoundInTime = ratio(a.foundInGoal, a.n), ratio(n.foundInGoal, n.n)
	ours.NamedInTime, naive.NamedInTime = ratio(a.namedInGoal, a.n), ratio(n.namedInGoal, n.n)
	years, air := 0.0, 0
	leaks := func(v *Verdict) float64 {
		if slices.ContainsFunc(v.Wrong, func(f account.Finding) bool { return f.Code == account.TankLeak }) {
			return 1
		}
		return 0
	}
	for i := range r.judged {
		j := &r.judged[i]
		if j.fault != nil && j.fault.Name == airFault {
			air++
			ours.AirCalledLeak += leaks(&j.account)
			naive.AirCalledLeak += leaks(&j.naive)
		}
		ours.FalseAYear += float64(len(j.account.False))
		naive.FalseAYear += float64(len(j.naive.False))
		years += j.account.Years
	}
	ours.FalseAYear, naive.FalseAYear = ours.FalseAYear/years, naive.FalseAYear/years
	ours.AirCalledLeak, naive.AirCalledLeak = ours.AirCalledLeak/float64(max(air, 1)), naive.AirCalledLeak/float64(max(air, 1))
	return ours, naive
}

func ratio(k, n int) float64 { return float64(k) / float64(max(n, 1)) }

func (r *Result) goals(w io.Writer) {
	ours, naive := r.Goals()
	met := func(ok bool) string {
		if ok {
			return "met"
		}
		return "MISSED"
	}
	fmt.Fprintln(w, "goal\taccount\tnaive\t")
	fmt.Fprintf(w, "at most %.1f false findings a tank-year\t%.2f\t%.2f\t%s\n", falseGoal, ours.FalseAYear, naive.FalseAYear, met(ours.FalseAYear <= falseGoal))
	fmt.Fprintf(w, "a leak of 2 %% a day found within 36 h, of all\t%.0f %%\t%.0f %%\t%s\n", percentOfAll*ours.FoundInTime, percentOfAll*naive.FoundInTime, met(ours.FoundInTime >= shareGoal))
	fmt.Fprintf(w, "and told from evaporation within 10 days, of all\t%.0f %%\t%.0f %%\t%s\n", percentOfAll*ours.NamedInTime, percentOfAll*naive.NamedInTime, met(ours.NamedInTime >= shareGoal))
	fmt.Fprintf(w, "drier air called a leak, of all\t%.0f %%\t%.0f %%\t\n", percentOfAll*ours.AirCalledLeak, percentOfAll*naive.AirCalledLeak)
}

// false lists the false findings by code.
func (r *Result) false(w io.Writer) {
	years, wrongYears := 0.0, 0
	counts, naive := map[account.Code]int{}, map[account.Code]int{}
	for i := range r.judged {
		j := &r.judged[i]
		years += j.account.Years
		wrongYears += len(j.account.Wrong)
		for _, f := range j.account.False {
			counts[f.Code]++
		}
		for _, f := range j.naive.False {
			naive[f.Code]++
		}
	}
	fmt.Fprintf(w, "false findings in %.0f tank-years\taccount\tnaive\n", years)
	var codes []account.Code
	for c := range counts {
		codes = append(codes, c)
	}
	for c := range naive {
		if counts[c] == 0 {
			codes = append(codes, c)
		}
	}
	slices.Sort(codes)
	for _, c := range codes {
		fmt.Fprintf(w, "%s\t%d\t%d\n", c, counts[c], naive[c])
	}
	fmt.Fprintf(w, "after an onset, findings that are neither the fault nor follow from it\t%d\n", wrongYears)
}
