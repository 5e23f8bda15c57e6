// Command accountbench makes the labelled corpus of tank-histories, lets the
// account and the rules that people use today go through it, and prints how long
// each took to find what was wrong, how often it was right, and how often it
// called for nothing.
//
//	go run ./cmd/accountbench [--rounds N] [examples/*.yaml]
package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"

	"github.com/schollz/progressbar/v3"

	"isohaline/internal/corpus"
	"isohaline/internal/tankfile"
)

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "accountbench:", err)
		os.Exit(1)
	}
}

func run() error {
	rounds := flag.Int("rounds", 8, "how many rounds of the corpus to judge")
	flag.Parse()
	files := flag.Args()
	if len(files) == 0 {
		for _, name := range []string{"reading-room", "window-nano", "grand-lobby"} {
			files = append(files, filepath.Join("examples", name+".yaml"))
		}
	}
	var tanks []*tankfile.Tank
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			return fmt.Errorf("%w: run it from the repository's root, or name tank files", err)
		}
		s, _, err := tankfile.Read(file, data)
		if err != nil {
			return err
		}
		tanks = append(tanks, s)
	}
	designs, err := corpus.NewDesigns(tanks)
	if err != nil {
		return err
	}
	bar := progressbar.Default(1, "histories")
	result, err := designs.Bench(*rounds, func(done, total int) {
		bar.ChangeMax(total)
		_ = bar.Set(done)
	})
	if err != nil {
		return err
	}
	_ = bar.Close()
	return result.Write(os.Stdout)
}
