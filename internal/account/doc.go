// Package account is the live twin of one tank: it keeps the water account and
// the salt account from whatever readings arrive, and turns change into
// findings that carry their evidence.
//
//	a, err := account.New(site, account.Settings{})
//	state := a.Begin(now)
//	for observation := range observations {
//		findings, err := a.Observe(&state, observation)
//		// tell people what began and what ended, save the state
//	}
//
// # What it knows
//
// Water that evaporates leaves its salt behind; water that leaks takes its salt
// along. The top-off replaces both with fresh water. So litres alone cannot tell
// a leak from a dry week, and salinity alone cannot tell a leak from a wrong
// mix, but the two together can. The account keeps both in one Kalman filter
// (package belief), whose only sure reading is the simplest one: each time the
// pump stops, the level is back at the watch sensor. A tank with nothing but a
// float switch and a pump tells that much.
//
// # How it decides
//
// What is believed is one filter, the base. Beside it run filters that each
// suppose one change (a leak, a drier room, a weaker pump) and gather the
// evidence for it as a likelihood ratio that restarts whenever it falls to
// nothing: Page's test for each hypothesis (package suspicion). A hypothesis is
// believed when its score passes a threshold that fixes the rate of false alarms,
// never when a quantity passes a limit. docs/account.md has the equations, the
// rates and the sources.
//
// # Its packages
//
// Imports go down this list. This package takes observations in, at their time.
//
//	words       findings, with harm, evidence and a sentence
//	judgement   which explanation holds; what began and ended
//	finding     codes, findings, records and the facts they are told with
//	design      the tank as drawn
//	suspicion   hypotheses and their tests
//	reservoir   the reservoir's mass balance
//	belief      the filter: state, process, measurements
//
// # Purity
//
// It reads no clock and keeps no globals. Time comes with the observations; the
// State is a plain value that can be saved and taken up by another process
// (MarshalBinary). Observations may come a little out of order and more than once
// (order.go). One State belongs to one tank and one goroutine at a time; an
// Account is only read and may be shared.
package account
