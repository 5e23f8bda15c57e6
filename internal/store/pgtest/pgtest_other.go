//go:build !linux

package pgtest

import "errors"

// Start is for Linux only.
func Start(Options) (*Server, error) { return nil, errors.New("set ISOHALINE_TEST_PG") }
