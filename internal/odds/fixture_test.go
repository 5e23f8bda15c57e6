package odds

import (
	"os"
	"path/filepath"
	"sync"
	"testing"

	"isohaline/internal/longtest"
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/verify"
)

// example reads one of the example tanks.
func example(tb testing.TB, name string) *tankfile.Tank {
	tb.Helper()
	data, err := os.ReadFile(filepath.Join("../../examples", name+".yaml"))
	if err != nil {
		tb.Fatal(err)
	}
	s, _, err := tankfile.Read(name, data)
	if err != nil {
		tb.Fatal(err)
	}
	return s
}

var (
	checkedMu sync.Mutex
	checked   = map[string]*verify.Report{}
)

// reportOf checks an example once for all tests; they only read it.
func reportOf(tb testing.TB, name string) *verify.Report {
	tb.Helper()
	checkedMu.Lock()
	defer checkedMu.Unlock()
	if r, ok := checked[name]; ok {
		return r
	}
	checked[name] = check(tb, example(tb, name))
	return checked[name]
}

func check(tb testing.TB, s *tankfile.Tank) *verify.Report {
	tb.Helper()
	r, err := verify.Check(tb.Context(), s, verify.Options{})
	if err != nil {
		tb.Fatal(err)
	}
	return r
}

// nano is the smallest example, the quickest to check; plumbed is the one that
// single faults bring down, whose check takes seconds to look for changes.
const nano, plumbed = "window-nano", "plumbed-line"

// quick are the examples to run something on: the smallest only, unless the long tests
// are asked for.
func quick() []string {
	if longtest.Asked() {
		return []string{nano, plumbed}
	}
	return []string{nano}
}

func forestOf(tb testing.TB, r *verify.Report, o Options) *forest {
	tb.Helper()
	f, err := plantForest(tb.Context(), r, o)
	if err != nil {
		tb.Fatal(err)
	}
	return f
}

func estimate(tb testing.TB, r *verify.Report, o Options) *Answer {
	tb.Helper()
	a, err := Estimate(tb.Context(), r, o)
	if err != nil {
		tb.Fatal(err)
	}
	return a
}

// onlyThese gives every other fault of the tank the rate 0.
func onlyThese(s *tankfile.Tank, rates map[string]string) map[string]string {
	all := map[string]string{}
	for _, f := range plant.FaultsOf(s) {
		all[f.ID] = "0/yr"
	}
	for id, rate := range rates {
		all[id] = rate
	}
	return all
}
