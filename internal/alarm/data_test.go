package alarm_test

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
)

// TestKinds: the catalogue passes its own check, and knows every finding.
func TestKinds(t *testing.T) {
	kinds := alarm.Kinds()
	if err := alarm.CheckKinds(kinds); err != nil {
		t.Fatal(err)
	}
	declared := map[account.Code]bool{}
	for _, k := range kinds {
		declared[k.Code] = true
	}
	source, err := os.ReadFile("../account/finding/finding.go")
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, line := range strings.Split(string(source), "\n") {
		if _, after, ok := strings.Cut(line, `Code = "`); ok {
			found++
			code, _, _ := strings.Cut(after, `"`)
			if !declared[account.Code(code)] {
				t.Errorf("the finding %s is no kind of alarm", code)
			}
		}
	}
	if found < 15 {
		t.Errorf("only %d findings seen in the account's source", found)
	}
}

// TestNothingSilencesWater: what says that water is where it must not be is
// never explained away.
func TestNothingSilencesWater(t *testing.T) {
	water := 0
	for _, k := range alarm.Kinds() {
		switch k.Code {
		case alarm.FloorWet, account.CeilingWet, account.EndlessFill, account.TankLeak, account.FreshLeak:
			water++
			if len(k.SilencedBy) > 0 {
				t.Errorf("%s is silenced by %v", k.Code, k.SilencedBy)
			}
			if !strings.Contains(k.Caution, "breaker") {
				t.Errorf("%s lacks the caution about mains near water: %q", k.Code, k.Caution)
			}
		}
	}
	if water != 5 {
		t.Errorf("%d kinds about water, want 5", water)
	}
}

func TestCheckKindsFinds(t *testing.T) {
	good := func() []alarm.Kind {
		return []alarm.Kind{
			{Code: "a", Title: "A", OnDelay: time.Minute, OffDelay: time.Hour},
			{Code: "b", Title: "B", OnDelay: time.Minute, OffDelay: time.Hour, SilencedBy: []account.Code{"a"}},
			{Code: "c", Title: "C", OnDelay: time.Minute, OffDelay: time.Hour, SilencedBy: []account.Code{"b"}, Gathers: "a"},
		}
	}
	if err := alarm.CheckKinds(good()); err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		name  string
		spoil func(k []alarm.Kind)
		want  string
	}{
		{"no code", func(k []alarm.Kind) { k[0].Code = "" }, "code is empty"},
		{"twice", func(k []alarm.Kind) { k[1].Code = "a" }, "declared twice"},
		{"no title", func(k []alarm.Kind) { k[0].Title = "" }, "title is empty"},
		{"on-delay below", func(k []alarm.Kind) { k[0].OnDelay = -1 }, "on-delay -1ns"},
		{"on-delay above", func(k []alarm.Kind) { k[0].OnDelay = 24*time.Hour + 1 }, "use 0 to 24h"},
		{"off-delay below", func(k []alarm.Kind) { k[2].OffDelay = -1 }, "off-delay -1ns"},
		{"off-delay above", func(k []alarm.Kind) { k[0].OffDelay = 24*time.Hour + 1 }, "use 0 to 24h"},
		{"unknown cause", func(k []alarm.Kind) { k[1].SilencedBy[0] = "x" }, "silenced by x, which is not declared"},
		{"slow cause", func(k []alarm.Kind) { k[1].OnDelay = time.Minute - 1 }, "shorter than that of its cause a"},
		{"short cause", func(k []alarm.Kind) { k[1].OffDelay = time.Hour + 1 }, "longer than that of its cause a"},
		{"circle", func(k []alarm.Kind) { k[0].SilencedBy = []account.Code{"c"} }, "silences itself"},
		{"circle beside", func(k []alarm.Kind) { k[1].SilencedBy = []account.Code{"c", "a"} }, "silences itself"},
		{"own cause", func(k []alarm.Kind) { k[0].SilencedBy = []account.Code{"a"} }, "silences itself"},
		{"unknown gathered", func(k []alarm.Kind) { k[2].Gathers = "x" }, "gathers x, which is not declared"},
		{"gathers a gatherer", func(k []alarm.Kind) { k[0].Gathers = "b" }, "gathers itself"},
	} {
		kinds := good()
		row.spoil(kinds)
		if err := alarm.CheckKinds(kinds); err == nil || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%s: %v, want %q", row.name, err, row.want)
		}
	}
}

func TestPlanCheck(t *testing.T) {
	contact := func(name string) alarm.Contact {
		return alarm.Contact{Person: name, Channel: alarm.Mail, Address: name + "@example.org"}
	}
	good := func() alarm.Plan {
		return alarm.Plan{High: alarm.Route{
			Rungs:  []alarm.Rung{{Contacts: []alarm.Contact{contact("Ines")}}, {Wait: time.Minute, Contacts: []alarm.Contact{contact("Jon"), contact("Ines")}}},
			Repeat: time.Hour, Rounds: 3,
		}}
	}
	plan := good()
	if err := plan.Check(); err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		name  string
		spoil func(r *alarm.Route)
		want  string
	}{
		{"too many rungs", func(r *alarm.Route) { r.Rungs = make([]alarm.Rung, 9) }, "9 rungs, use at most 8"},
		{"negative wait", func(r *alarm.Route) { r.Rungs[0].Wait = -1 }, "rung 1: wait -1ns"},
		{"endless wait", func(r *alarm.Route) { r.Rungs[1].Wait = 25 * time.Hour }, "rung 2: wait 25h"},
		{"waits do not rise", func(r *alarm.Route) { r.Rungs[0].Wait = time.Minute }, "rung 2: wait 1m0s is not after"},
		{"nobody", func(r *alarm.Route) { r.Rungs[1].Contacts = nil }, "rung 2: nobody to tell"},
		{"a crowd", func(r *alarm.Route) { r.Rungs[1].Contacts = make([]alarm.Contact, 9) }, "9 contacts, use at most 8"},
		{"no name", func(r *alarm.Route) { r.Rungs[0].Contacts[0].Person = "" }, "rung 1, contact 1: person is empty"},
		{"no channel", func(r *alarm.Route) { r.Rungs[0].Contacts[0].Channel = "pigeon" }, `channel "pigeon", use "mail" or "webhook"`},
		{"no address", func(r *alarm.Route) { r.Rungs[0].Contacts[0].Address = "" }, "address of Ines is empty"},
		{"twice", func(r *alarm.Route) { r.Rungs[1].Contacts[1] = contact("Jon") }, "Jon is there twice"},
		{"negative rounds", func(r *alarm.Route) { r.Rounds = -1 }, "-1 rounds"},
		{"too many rounds", func(r *alarm.Route) { r.Rounds = 13 }, "13 rounds"},
		{"repeat within a round", func(r *alarm.Route) { r.Repeat = time.Minute }, "repeat 1m0s"},
		{"repeat too rare", func(r *alarm.Route) { r.Repeat = 8 * 24 * time.Hour }, "repeat 192h"},
	} {
		plan := good()
		row.spoil(&plan.High)
		err := plan.Check()
		if err == nil || !strings.Contains(err.Error(), row.want) || !strings.HasPrefix(err.Error(), "plan for high alarms") {
			t.Errorf("%s: %v, want %q", row.name, err, row.want)
		}
	}
}

// TestBackoff: the waits double and stay bounded.
func TestBackoff(t *testing.T) {
	for i, want := range []time.Duration{30 * time.Second, time.Minute, 2 * time.Minute, 4 * time.Minute, 5 * time.Minute, 5 * time.Minute} {
		if got := alarm.Backoff(i + 1); got != want {
			t.Errorf("after %d failures: %v, want %v", i+1, got, want)
		}
	}
}

// guide is the reader's guide to this package.
const guide = "../../docs/alarms.md"

// TestGuide: the guide shows the catalogue, the priorities, the limits and the
// words of the states as they are.
func TestGuide(t *testing.T) {
	text, err := os.ReadFile(guide)
	if err != nil {
		t.Fatal(err)
	}
	var want []string
	for _, k := range alarm.Kinds() {
		latches, causes := "no", "-"
		if k.Latches {
			latches = "yes"
		}
		if len(k.SilencedBy) > 0 {
			causes = strings.ReplaceAll(strings.Trim(fmt.Sprint(k.SilencedBy), "[]"), " ", ", ")
		}
		want = append(want, fmt.Sprintf("| %s | %s | %s | %s | %s | %s |", k.Code, k.Title, short(k.OnDelay), short(k.OffDelay), latches, causes))
	}
	for class := range 5 {
		row := fmt.Sprintf("| %d |", class)
		for _, left := range []time.Duration{100 * time.Hour, 72 * time.Hour, 12 * time.Hour, time.Hour} {
			row += fmt.Sprintf(" %v |", alarm.PriorityOf(class, left))
		}
		want = append(want, row)
	}
	for p := alarm.Low; p <= alarm.Critical; p++ {
		want = append(want, fmt.Sprintf("| %v | %s |", p, short(alarm.ShelveMax(p))))
	}
	for s := alarm.Normal; s <= alarm.OutOfService; s++ {
		want = append(want, fmt.Sprintf("| %s | %v |", s.Letter(), s))
	}
	for _, row := range want {
		if !strings.Contains(string(text), row) {
			t.Errorf("%s lacks the row\n%s", guide, row)
		}
	}
}
