//go:build !linux

package store_test

import "errors"

// startPostgres is for Linux only.
func startPostgres() (string, func(), error) {
	return "", nil, errors.New("set ISOHALINE_TEST_PG")
}
