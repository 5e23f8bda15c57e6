package server

import (
	"net/http"
	"testing"
	"time"

	"isohaline/internal/server/api"
)

// TestContactsOfSeveralDevices: a floor is wet as long as any device says so. What
// another device says does not make it dry, and a device whose credentials were
// taken away is asked no longer.
func TestContactsOfSeveralDevices(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	var mat, head api.Credentials
	olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Floor mat"}, &mat)
	olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Head"}, &head)
	say := func(who api.Credentials, wet bool) {
		t.Helper()
		body := `[{"n":"floor","vb":false}]`
		if wet {
			body = `[{"n":"floor","vb":true}]`
		}
		post(t, h, who, body, http.StatusOK)
		at, err := h.readings.Head(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		eventually(t, "the word is taken in", func() bool { return h.Monitor.Taken() >= at })
	}
	wet := func(what string, want bool) {
		t.Helper()
		present := false
		for _, a := range h.Monitor.Alarms() {
			present = present || a.Tank == "reef" && a.Code == "floor-wet" && a.Present
		}
		if present != want {
			t.Errorf("%s: the alarm's condition is present: %v", what, present)
		}
		v, _ := h.Monitor.Tank("reef")
		found := false
		for _, f := range v.Findings {
			found = found || f.Code == "floor-wet"
		}
		if found != want {
			t.Errorf("%s: the finding is there: %v", what, found)
		}
	}
	say(mat, true)
	wet("the mat is wet", true)
	say(head, false)
	wet("another device is dry", true)
	h.pass(2 * time.Minute)
	wet("two minutes later", true)
	olga.want(http.StatusNoContent, "DELETE", "/api/devices/"+mat.User, nil, nil)
	h.pass(2 * time.Minute)
	wet("the mat is revoked", false)

	say(head, true)
	wet("the head is wet", true)
	say(head, false)
	wet("the head is dry", false)
}
