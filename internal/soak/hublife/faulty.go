package hublife

import (
	"context"
	"errors"

	"isohaline/internal/server/monitor"
	"isohaline/internal/store"
)

// Fault is what goes wrong with a call of the store.
type Fault int

const (
	Sound      Fault = iota
	Refused          // nothing is done
	Unsaid           // it is done, and the answer is an error
	KillBefore       // the process ends before it
	KillAfter        // the process ends after it
	faults
)

var errInjected = errors.New("the store does not answer")

// killed is what a killed process unwinds with.
type killed struct{}

// Faulty is a store whose calls go wrong.
type Faulty struct {
	monitor.Keeper
	// Fault is asked at every call.
	Fault func() Fault
	// Kept is told of every commit that is kept, before anybody else knows.
	Kept func(*store.Commit)
}

// call lets a call go wrong, or not.
func call[T any](f *Faulty, do func() (T, error)) (T, error) {
	var none T
	fault := f.Fault()
	switch fault {
	case Refused:
		return none, errInjected
	case KillBefore:
		panic(killed{})
	}
	v, err := do()
	switch fault {
	case Unsaid:
		return none, errInjected
	case KillAfter:
		panic(killed{})
	}
	return v, err
}

// Commit is Keeper's.
func (f *Faulty) Commit(ctx context.Context, c store.Commit) error {
	_, err := call(f, func() (struct{}, error) {
		err := f.Keeper.Commit(ctx, c)
		if err == nil {
			f.Kept(&c)
		}
		return struct{}{}, err
	})
	return err
}

// Committed is Keeper's.
func (f *Faulty) Committed(ctx context.Context, c store.Commit) (bool, error) {
	return call(f, func() (bool, error) { return f.Keeper.Committed(ctx, c) })
}

// Load is Keeper's.
func (f *Faulty) Load(ctx context.Context) (store.Saved, error) {
	return call(f, func() (store.Saved, error) { return f.Keeper.Load(ctx) })
}

// EnsureChannel is Keeper's.
func (f *Faulty) EnsureChannel(ctx context.Context, device, name string) (store.Channel, error) {
	return call(f, func() (store.Channel, error) { return f.Keeper.EnsureChannel(ctx, device, name) })
}
