package account_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"isohaline/internal/account"
)

// fill gives every field of a value something: a slice two elements, a pointer a
// target, a map an entry. A kind of field that it does not know fails the test.
func fill(t *testing.T, v reflect.Value, path string, n *int) {
	t.Helper()
	*n++
	if v.Type() == reflect.TypeFor[time.Time]() {
		v.Set(reflect.ValueOf(start.Add(time.Duration(*n) * time.Second)))
		return
	}
	switch v.Kind() {
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Int, reflect.Int64:
		v.SetInt(int64(*n))
	case reflect.Uint8:
		v.SetUint(1)
	case reflect.Float64:
		v.SetFloat(math.Sqrt(float64(*n))) // needs all of a float's digits
	case reflect.String:
		v.SetString(fmt.Sprint("text ", *n))
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(t, v.Elem(), path, n)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 4))
		fallthrough
	case reflect.Array:
		for i := range v.Len() {
			fill(t, v.Index(i), fmt.Sprintf("%s[%d]", path, i), n)
		}
	case reflect.Map:
		key, value := reflect.New(v.Type().Key()).Elem(), reflect.New(v.Type().Elem()).Elem()
		fill(t, key, path+" key", n)
		fill(t, value, path+" value", n)
		v.Set(reflect.MakeMap(v.Type()))
		v.SetMapIndex(key, value)
	case reflect.Struct:
		for i := range v.NumField() {
			field := v.Type().Field(i)
			if !field.IsExported() {
				t.Fatalf("%s.%s is not exported: it would not be saved", path, field.Name)
			}
			fill(t, v.Field(i), path+"."+field.Name, n)
		}
	default:
		t.Fatalf("%s is a %v: say here what a copy of it must not share", path, v.Kind())
	}
}

// shared names the fields of two values that have their memory in common.
func shared(a, b reflect.Value, path string) (paths []string) {
	if a.Type() == reflect.TypeFor[time.Time]() {
		return nil // its zone is never written to
	}
	same := func() bool { return a.Pointer() == b.Pointer() && !a.IsNil() }
	switch a.Kind() {
	case reflect.Pointer:
		if same() {
			return []string{path}
		}
		return shared(a.Elem(), b.Elem(), path)
	case reflect.Map:
		if same() {
			return []string{path}
		}
		for _, key := range a.MapKeys() {
			paths = append(paths, shared(a.MapIndex(key), b.MapIndex(key), path)...)
		}
	case reflect.Slice:
		if same() {
			return []string{path}
		}
		fallthrough
	case reflect.Array:
		for i := range a.Len() {
			paths = append(paths, shared(a.Index(i), b.Index(i), fmt.Sprintf("%s[%d]", path, i))...)
		}
	case reflect.Struct:
		for i := range a.NumField() {
			paths = append(paths, shared(a.Field(i), b.Field(i), path+"."+a.Type().Field(i).Name)...)
		}
	}
	return paths
}

// TestCloneSharesNothing: a state with something in every field, and its clone,
// are equal and have no memory in common. A new slice, pointer or map that Clone
// forgets fails here.
func TestCloneSharesNothing(t *testing.T) {
	var s account.State
	n := 0
	fill(t, reflect.ValueOf(&s).Elem(), "State", &n)
	c := s.Clone()
	if d := cmp.Diff(s, c); d != "" {
		t.Errorf("another state:\n%s", d)
	}
	if paths := shared(reflect.ValueOf(&s).Elem(), reflect.ValueOf(&c).Elem(), "State"); paths != nil {
		t.Errorf("state and clone share %v", paths)
	}
	// The check itself: a plain copy shares.
	c = s
	if paths := shared(reflect.ValueOf(&s).Elem(), reflect.ValueOf(&c).Elem(), "State"); !slices.Contains(paths, "State.Window.Pending") {
		t.Errorf("a plain copy is said to share only %v", paths)
	}
}

// TestCloneStepsAlone: what is observed on a clone leaves the state as it was,
// byte for byte, and gives what it would have given on the state.
func TestCloneStepsAlone(t *testing.T) {
	a := newAccount(t, "reading-room", account.Settings{Heartbeat: 15 * time.Minute})
	rapid.Check(t, func(t *rapid.T) {
		all := someDays(rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 10)), 2)
		cut := rapid.IntRange(0, len(all)).Draw(t, "cut")
		s := a.Begin(start)
		for _, o := range all[:cut] {
			if _, err := a.Observe(&s, o); err != nil {
				t.Fatal(err)
			}
		}
		before, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		c := s.Clone()
		told := feed(t, a, &c, all[cut:])
		if after, _ := json.Marshal(s); string(after) != string(before) {
			t.Fatal("a step of the clone changed the state")
		}
		toldByState := feed(t, a, &s, all[cut:])
		same(t, c, s, told, toldByState)
	})
}

// BenchmarkClone is a copy of an ordinary tank's state, beside the observation
// that it is made for.
func BenchmarkClone(b *testing.B) {
	a := newAccount(b, "reading-room", account.Settings{Heartbeat: 15 * time.Minute})
	s := a.Begin(start)
	feed(b, a, &s, someDays(rand.New(rand.NewPCG(1, 1)), 60))
	b.ReportAllocs()
	for b.Loop() {
		c := s.Clone()
		if c.Done != s.Done {
			b.Fatal("another time")
		}
	}
}
