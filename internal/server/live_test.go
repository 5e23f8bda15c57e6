package server

import (
	"fmt"
	"net"
	"net/http"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"isohaline/internal/server/api"
	"isohaline/internal/server/monitor"
	"isohaline/internal/tankfile"
	"isohaline/internal/wire"
)

// list is Rounds as a browser has it, put together from what the stream brought.
type list struct {
	need  map[string]api.RoundRow
	quiet map[string]api.Quiet
	order []string
}

func (l *list) take(t *testing.T, e *api.RoundsEvent) {
	t.Helper()
	if e.Whole {
		*l = list{need: map[string]api.RoundRow{}, quiet: map[string]api.Quiet{}}
	}
	for _, id := range e.Gone {
		delete(l.need, id)
		delete(l.quiet, id)
	}
	for _, row := range e.NeedPerson {
		delete(l.quiet, row.Tank.ID)
		l.need[row.Tank.ID] = row
	}
	for _, row := range e.Quiet {
		delete(l.need, row.Tank.ID)
		l.quiet[row.Tank.ID] = row
	}
	l.order = e.Order
}

// names are the tanks as the list shows them: those that need a person in their
// order, and the quiet ones.
func (l *list) names() (need, quiet []string) {
	for _, id := range l.order {
		need = append(need, l.need[id].Tank.Name+": "+l.need[id].Finding.Code+" "+l.need[id].AlarmState)
	}
	for _, row := range l.quiet {
		quiet = append(quiet, row.Tank.Name)
	}
	slices.Sort(quiet)
	return need, quiet
}

func namesOf(r *api.Rounds) (need, quiet []string) {
	for _, row := range r.NeedPerson {
		need = append(need, row.Tank.Name+": "+row.Finding.Code+" "+row.AlarmState)
	}
	for _, row := range r.Quiet {
		quiet = append(quiet, row.Tank.Name)
	}
	return need, quiet
}

// TestRoundsComeAsChanges: a browser gets the list once and then the rows that
// change, and what it puts together is the list.
func TestRoundsComeAsChanges(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	events := olga.follow("view=rounds")
	var l list
	var e api.RoundsEvent
	next := func(what string, is func() bool) {
		t.Helper()
		events.await(t, "rounds", &e, func() bool {
			l.take(t, &e)
			ok := is()
			if !ok {
				e = api.RoundsEvent{}
			}
			return ok
		})
		var whole api.Rounds
		olga.want(http.StatusOK, "GET", "/api/rounds", nil, &whole)
		need, quiet := l.names()
		wantNeed, wantQuiet := namesOf(&whole)
		if d := cmp.Diff([][]string{wantNeed, wantQuiet}, [][]string{need, quiet}); d != "" {
			t.Errorf("%s (-want +got):\n%s", what, d)
		}
		e = api.RoundsEvent{}
	}
	next("at first", func() bool {
		if !e.Whole || len(e.Quiet) != 2 {
			t.Errorf("the first event is %+v", e)
		}
		return true
	})
	heads := map[string]api.Credentials{} // by tank
	say := func(tankID, channel string, value float64, is func() bool) {
		t.Helper()
		made, known := heads[tankID]
		if !known {
			olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": tankID, "name": "Head"}, &made)
			heads[tankID] = made
		}
		post(t, h, made, fmt.Sprintf(`[{"n":%q,"vb":%v}]`, channel, value != 0), http.StatusOK)
		next(tankID+" "+channel, func() bool {
			if n := len(e.NeedPerson) + len(e.Quiet); e.Whole || n != 1 {
				t.Errorf("%d rows came, the whole list: %v", n, e.Whole)
			}
			return is()
		})
	}
	say("reef", "ceiling", 1, func() bool { return len(e.NeedPerson) == 1 && e.NeedPerson[0].Tank.ID == "reef" })
	say("other", "floor", 1, func() bool { return len(e.Order) == 2 })
	say("reef", "ceiling", 0, func() bool { return len(e.Quiet) == 1 && len(e.Order) == 1 })

	third := jsonMap{"siteId": "here", "siteName": "Here", "tankId": "third", "file": string(tankfile.Starter(tankfile.Answers{Name: "Third reef"}))}
	olga.want(http.StatusCreated, "POST", "/api/tanks", third, nil)
	next("a new tank", func() bool { return len(e.Quiet) == 1 && e.Quiet[0].Tank.Name == "Third reef" })

	events = olga.follow("view=rounds") // a line that broke
	next("looking again", func() bool { return e.Whole && len(e.Quiet) == 2 && len(e.NeedPerson) == 1 })
}

// TestLiveBringsWhatIsLookedAt: a browser gets nothing of tanks that it does not
// look at, and none that its person may not see.
func TestLiveBringsWhatIsLookedAt(t *testing.T) {
	h := furnished(t)
	olga, carla := h.as("olga"), h.as("carla")
	for _, path := range []string{"/api/live?tank=other", "/api/live?tank=none"} {
		carla.want(http.StatusNotFound, "GET", path, nil, nil)
	}
	carla.want(http.StatusUnprocessableEntity, "GET", "/api/live?view=everything", nil, nil)
	tank, alarms, nothing := olga.follow("tank=reef"), carla.follow("view=alarms"), olga.follow("")
	var beat api.BeatEvent
	for _, s := range []*stream{tank, alarms, nothing} {
		s.await(t, "beat", &beat, func() bool { return !beat.At.IsZero() })
	}
	for _, id := range []string{"other", "reef"} {
		var made api.Credentials
		olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": id, "name": "Head"}, &made)
		post(t, h, made, `[{"n":"ceiling","vb":true}]`, http.StatusOK)
	}
	var reading api.ReadingEvent
	tank.await(t, "reading", &reading, func() bool { return true })
	var alarm api.AlarmEvent
	alarms.await(t, "alarm", &alarm, func() bool { return true })
	if reading.TankID != "reef" || alarm.Alarm.TankID != "reef" {
		t.Errorf("the first reading was of %q, the first alarm of %q", reading.TankID, alarm.Alarm.TankID)
	}
}

// TestAStuckBrowser: a browser that does not read holds up nobody, and another one
// gets the latest.
func TestAStuckBrowser(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	req, err := http.NewRequestWithContext(t.Context(), "GET", h.Address()+"/api/live?tank=reef", nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range olga.client.Jar.Cookies(req.URL) {
		req.AddCookie(c)
	}
	stuck, err := net.Dial("tcp", req.URL.Host)
	if err != nil {
		t.Fatal(err)
	}
	defer stuck.Close()
	if err := req.Write(stuck); err != nil {
		t.Fatal(err)
	}
	looking := olga.follow("tank=reef")
	eventually(t, "both look", func() bool { return h.Monitor.Feed.Subscribers() == 2 })

	const n = 100_000 // many times what the network holds
	for i := range n {
		r := wire.Reading{Site: "here", Device: "head", Channel: fmt.Sprintf("channel-%d", i%100), Value: float64(i), At: time.Unix(int64(i), 0)}
		e := monitor.Event{TankID: "reef", SiteID: "here", Reading: &r}
		h.Monitor.Feed.Publish(e.Topic(), e)
	}
	var reading api.ReadingEvent
	looking.await(t, "reading", &reading, func() bool { return reading.Value == n-1 })
}
