package main

import (
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"isohaline/internal/longtest"
)

// onlyTestsUse is what may stand in the program for tests alone, and why.
var onlyTestsUse = map[string]string{
	"internal/account.Codes":      "guides, stories and corpora of three packages are held to the whole list",
	"internal/bench/salts.Charge": "two packages' tests hold every set of ions to be neutral by it",
	"internal/freeport":           "is for tests as a whole: reserves ports",
	"internal/longtest":           "is for tests as a whole: holds the long ones back",
	"internal/refcheck":           "is for tests as a whole: reads tables of published values",
	"internal/store/pgtest":       "is for tests as a whole: a PostgreSQL server",
	"seawater/purewater.Liquid":   "IAPWS R13-08's published table needs it, to check the salt's part of seawater",
}

// calledByLibraries are methods that only libraries call, through their
// interfaces: encoding, cbor, log/slog, container/heap, scs, the brokers, prometheus, huma.
var calledByLibraries = []string{
	"MarshalText", "UnmarshalText", "MarshalBinary", "UnmarshalBinary", "MarshalJSON", "GoString", "LogValue", "Less", "Swap", "Commit", "CommitCtx", "DeleteCtx", "FindCtx",
	"Noticef", "Warnf", "Debugf", "Tracef", "Provides", "Describe", "GetStatus",
}

// TestNothingIsUnreached: every function is reached from one of the programs,
// and every exported name under internal/ is used outside of tests.
func TestNothingIsUnreached(t *testing.T) {
	longtest.Only(t, "it reads the whole program")
	t.Parallel()
	allowed := func(path, name string) bool {
		path = strings.TrimPrefix(path, "isohaline/")
		_, whole := onlyTestsUse[path]
		_, one := onlyTestsUse[path+"."+name]
		return whole || one
	}
	out, err := exec.Command("go", "tool", "deadcode", "-json", "isohaline/...").Output()
	if exit := new(exec.ExitError); errors.As(err, &exit) {
		t.Fatalf("%v: %s", err, exit.Stderr)
	} else if err != nil {
		t.Fatal(err)
	}
	var packages []struct {
		Path  string
		Funcs []struct {
			Name     string
			Position struct {
				File string
				Line int
			}
		}
	}
	if err := json.Unmarshal(out, &packages); err != nil {
		t.Fatal(err)
	}
	for _, p := range packages {
		for _, f := range p.Funcs {
			if !allowed(p.Path, f.Name) {
				t.Errorf("%s:%d: no program reaches %s; delete it, or move it to the tests that use it", f.Position.File, f.Position.Line, f.Name)
			}
		}
	}
	declared, used := names(t)
	for place, name := range declared {
		path, _, _ := strings.Cut(place, "#")
		if !used[name] && !allowed(path, name) && !slices.Contains(calledByLibraries, name) {
			t.Errorf("%s: nothing but tests uses %s; delete it, or move it to the tests that use it", path, name)
		}
	}
}

// names are the exported names under internal/, methods too, by "package#name":
// deadcode keeps every method of a type that any library might call by
// reflection. With them comes every name that the program's files use in any
// way but to declare it. Names are not told apart by package: a name declared twice and
// used once passes.
func names(t *testing.T) (declared map[string]string, used map[string]bool) {
	t.Helper()
	out, err := exec.Command("go", "list", "-f", `{{$p := .}}{{range .GoFiles}}{{$p.ImportPath}} {{$p.Dir}}/{{.}}{{"\n"}}{{end}}`, "isohaline/...").Output()
	if err != nil {
		t.Fatal(err)
	}
	declared, used = map[string]string{}, map[string]bool{}
	for line := range strings.Lines(string(out)) {
		path, file, ok := strings.Cut(strings.TrimSpace(line), " ")
		if !ok {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), filepath.Clean(file), nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		declares := map[*ast.Ident]bool{}
		for _, d := range f.Decls {
			if m, ok := d.(*ast.FuncDecl); ok {
				declares[m.Name] = true
				continue
			}
			g := d.(*ast.GenDecl)
			for _, spec := range g.Specs {
				switch s := spec.(type) {
				case *ast.TypeSpec:
					declares[s.Name] = true
				case *ast.ValueSpec:
					for _, name := range s.Names {
						declares[name] = true
					}
				}
			}
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if name, ok := n.(*ast.Ident); ok && !declares[name] {
				used[name.Name] = true
			}
			return true
		})
		if strings.HasPrefix(path, "isohaline/internal/") {
			for name := range declares {
				if name.IsExported() {
					declared[path+"#"+name.Name] = name.Name
				}
			}
		}
	}
	return declared, used
}
