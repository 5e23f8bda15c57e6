package demo

import (
	"testing"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/longtest"
)

// TestWhatIsWrongIsFound: over ninety days, by the same way as a user's readings
// go, every trouble of the fleet is found under its name, what follows from it may
// be said, and of a healthy tank nothing is ever said.
func TestWhatIsWrongIsFound(t *testing.T) {
	longtest.Only(t, "90 days of twelve tanks")
	type truth struct {
		is account.Code
		// harm is the class that it leads to.
		harm int
		// follows are findings that are true because of it.
		follows []account.Code
	}
	wrong := map[string]truth{
		"reading-room":      {is: account.TankLeak, harm: 3, follows: []account.Code{account.DemandChanged}},
		"grand-lobby":       {is: account.PumpWeak, harm: 1},
		"breakfast-terrace": {is: account.ReservoirEmptyBy, harm: 3, follows: []account.Code{account.DemandChanged, account.EvaporationChanged}},
		"waiting-room":      {is: account.RestartDip, harm: 1},
		"dentist":           {is: account.SalinityCreeping, harm: 3, follows: []account.Code{account.DemandChanged}},
		"orchid-house":      {is: account.EvaporationChanged, harm: 0, follows: []account.Code{account.DemandChanged}},
		"studio":            {is: account.DeviceSilent, harm: 1},
		"lighthouse":        {is: account.WatchFouled, harm: 1},
	}
	ctx := t.Context()
	d := running(t, Options{})
	troubles := 0
	for _, tank := range Fleet() {
		want, troubled := wrong[tank.ID]
		if troubled {
			troubles++
		}
		told, err := d.Server.Store.Findings(ctx, tank.ID, time.Now().Add(-2*HistoryDays*day), time.Now().Add(day))
		if err != nil {
			t.Fatal(err)
		}
		allowed := map[account.Code]bool{want.is: troubled}
		for _, code := range want.follows {
			allowed[code] = true
		}
		for _, f := range told {
			if !allowed[f.Code] {
				t.Errorf("%s: also said: %s", tank.ID, f.Sentence)
			}
		}
		now, _ := d.Server.Monitor.Tank(tank.ID)
		found := !troubled
		for _, f := range now.Findings {
			if f.Code == want.is {
				found = true
				t.Log(f.Sentence)
				if f.Class != want.harm {
					t.Errorf("%s: harm class %d, want %d: %s", tank.ID, f.Class, want.harm, f.Sentence)
				}
			}
		}
		if !found {
			t.Errorf("%s: %s is not found; said are %v", tank.ID, want.is, now.Findings)
		}
	}
	if troubles != len(wrong) {
		t.Errorf("%d tanks with troubles, want %d", troubles, len(wrong))
	}
}
