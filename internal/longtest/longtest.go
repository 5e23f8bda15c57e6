// Package longtest holds back the tests that take long: whole-demo stories, corpora,
// lives, proofs over every state. They run where the environment variable
// ISOHALINE_LONG is set, as in make test-long and .ci/run.
package longtest

import (
	"os"
	"testing"
)

// Asked tells whether the long tests are to run.
func Asked() bool { return os.Getenv("ISOHALINE_LONG") != "" }

// Only skips a test where the long ones are not asked for.
func Only(tb testing.TB, why string) {
	tb.Helper()
	if !Asked() {
		tb.Skipf("long, runs with make test-long: %s", why)
	}
}
