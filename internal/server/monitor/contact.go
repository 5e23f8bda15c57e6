package monitor

import (
	"fmt"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/channel"
	"isohaline/internal/wire"
)

// Water where it must not be needs no estimate: a contact that says so is
// believed at once, while the account still waits for what may come late.

// plain is a contact that is a condition by itself.
type plain struct {
	channel string
	code    account.Code
	// class is the harm it leads to, harmIn how soon; negative: by itself not.
	class  int
	harmIn time.Duration
	// words continue the tank's name.
	words string
}

// plains are those contacts. Classes are judgements: water at the ceiling level
// means that something has failed and the margin is being used; water on the
// floor is harm already; a tank whose guard has latched drinks its margin of
// salinity.
var plains = []plain{
	{channel.CeilingLevel, account.CeilingWet, 2, -1, "has water at its ceiling level"},
	{channel.Floor, alarm.FloorWet, 3, 0, "has water on the floor"},
	{channel.Latched, alarm.GuardLatched, 2, -1, "has a guard that tripped and gives no water until somebody at the tank has looked and cleared it"},
}

// unaccounted says whether the account has no word for a condition.
func unaccounted(c account.Code) bool { return c == alarm.FloorWet || c == alarm.GuardLatched }

// touched is the condition that a reading begins or ends, and whether it does.
func (t *tank) touched(r *wire.Reading) (account.Finding, bool) {
	for i := range plains {
		p := &plains[i]
		if p.channel != r.Channel {
			continue
		}
		old, there := t.plain[p.code]
		switch {
		case r.Value != 0 && !there:
			f := p.finding(t.sheet, r.At)
			t.plain[p.code] = f
			return f, true
		case r.Value == 0 && there:
			delete(t.plain, p.code)
			old.Ended = r.At
			return old, true
		}
	}
	return account.Finding{}, false
}

// recallPlain finds out which conditions there are from what was said last.
func (t *tank) recallPlain() {
	t.plain = map[account.Code]account.Finding{}
	for i := range plains {
		p := &plains[i]
		if last, ok := t.lasts[p.channel]; ok && last.Value != 0 {
			t.plain[p.code] = p.finding(t.sheet, last.At)
		}
	}
}

func (p *plain) finding(sheet *Sheet, since time.Time) account.Finding {
	const certain = 0.99 // a contact can lie
	return account.Finding{Code: p.code, Since: since, Found: since, Confidence: certain, Class: p.class, HarmIn: p.harmIn,
		Sentence: fmt.Sprintf("%s %s, since %s.", sheet.Tank.Name, p.words, account.Clock(since, sheet.Zone))}
}
