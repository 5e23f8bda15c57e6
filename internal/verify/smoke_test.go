package verify

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"isohaline/internal/site"
)

func TestSmoke(t *testing.T) {
	files, _ := filepath.Glob("../../examples/*.yaml")
	for _, f := range files {
		data, _ := os.ReadFile(f)
		s, w, err := site.Read(f, data)
		if err != nil {
			t.Error(err)
			continue
		}
		fmt.Println("=====", f, w)
		start := time.Now()
		r, err := Check(context.Background(), s, Options{})
		if err != nil {
			t.Error(err)
			continue
		}
		took := time.Since(start)
		for _, w := range r.Water {
			fmt.Printf("%s: %.2f (%.2f..%.2f) L/d %.2f%%\n", w.Season.Name, w.Total.LitresPerDay, w.Total.LowLitresPerDay, w.Total.HighLitresPerDay, w.FracDay*100)
		}
		for _, i := range r.Settings.Items {
			fmt.Printf("  %-44s %-10s %v %s\n", i.Name, i.Value, i.Given, i.Reason)
		}
		fmt.Printf("%+v\n", r.Geometry)
		fmt.Println(r.AsBuilt.Class, r.AsBuilt.Unattended, r.AsBuilt.Sentence)
		for _, row := range r.Singles {
			fmt.Printf("%d/%d %-10s %s\n", row.Class, row.Unattended, row.Season, row.Sentence)
		}
		n := [5]int{}
		for _, row := range r.Pairs {
			n[row.Class]++
		}
		fmt.Println("pairs by class", n)
		for _, row := range r.Pairs[:5] {
			fmt.Printf("%d/%d %-10s %s\n", row.Class, row.Unattended, row.Season, row.Sentence)
		}
		fmt.Printf("%+v\n", r.Verdict)
		for _, c := range r.Changes {
			fmt.Printf("  change %+v\n", c)
		}
		fmt.Println(took, r.TankYears, "tank-years,", r.TankYears/took.Seconds(), "per second")
	}
}
