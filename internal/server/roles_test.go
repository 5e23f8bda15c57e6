package server

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"isohaline/internal/server/api"
	"isohaline/internal/store"
	"isohaline/internal/tankfile"
	"isohaline/internal/wire"
)

// who may use each route, by the route's name in the document. A route that is
// not here fails the test: whoever adds one has to say who may use it.
var who = map[string][]string{
	"firstRun": {"nobody", "carla", "timo", "olga"},
	"setUp":    {"nobody", "carla", "timo", "olga"}, // refused by the token, not by the role
	"signIn":   {"nobody", "carla", "timo", "olga"},
	"readings": {"nobody", "carla", "timo", "olga"}, // a device's own credentials

	"me":             {"carla", "timo", "olga"},
	"signOut":        {"carla", "timo", "olga"},
	"setUnits":       {"carla", "timo", "olga"},
	"rounds":         {"carla", "timo", "olga"},
	"hub":            {"carla", "timo", "olga"},
	"live":           {"carla", "timo", "olga"},
	"sites":          {"carla", "timo", "olga"},
	"tank":           {"carla", "timo", "olga"},
	"tankSection":    {"carla", "timo", "olga"},
	"channels":       {"carla", "timo", "olga"},
	"measures":       {"carla", "timo", "olga"},
	"series":         {"carla", "timo", "olga"},
	"ledger":         {"carla", "timo", "olga"},
	"events":         {"carla", "timo", "olga"},
	"findings":       {"carla", "timo", "olga"},
	"handReadings":   {"carla", "timo", "olga"},
	"tankFile":       {"carla", "timo", "olga"},
	"versions":       {"carla", "timo", "olga"},
	"version":        {"carla", "timo", "olga"},
	"alarms":         {"carla", "timo", "olga"},
	"setPassword":    {"carla", "timo", "olga"},
	"beliefs":        {"carla", "timo", "olga"},
	"designForm":     {"carla", "timo", "olga"},
	"exportReadings": {"carla", "timo", "olga"},
	"edge":           {"carla", "timo", "olga"},

	"tankBench":     {"carla", "timo", "olga"},
	"tankBenchHand": {"carla", "timo", "olga"},
	"benchUse":      {"carla", "timo", "olga"},
	"benchCorrect":  {"carla", "timo", "olga"},
	"benchSalt":     {"carla", "timo", "olga"},
	"benchChange":   {"carla", "timo", "olga"},
	"benchShock":    {"carla", "timo", "olga"},
	"benchLime":     {"carla", "timo", "olga"},
	"benchConvert":  {"carla", "timo", "olga"},
	"benchAgree":    {"carla", "timo", "olga"},
	"benchFluid":    {"carla", "timo", "olga"},
	"benchSource":   {"carla", "timo", "olga"},

	"newTank":        {"timo", "olga"},
	"keepTank":       {"timo", "olga"},
	"keepSite":       {"timo", "olga"},
	"archive":        {"timo", "olga"},
	"addHandReading": {"timo", "olga"},
	"addRefill":      {"timo", "olga"},
	"addWaterChange": {"timo", "olga"},
	"saveTankFile":   {"timo", "olga"},
	"checkDraft":     {"timo", "olga"},
	"draftOdds":      {"timo", "olga"},
	"draftSection":   {"timo", "olga"},
	"devices":        {"timo", "olga"},
	"newDevice":      {"timo", "olga"},
	"device":         {"timo", "olga"},
	"revokeDevice":   {"timo", "olga"},
	"newEdge":        {"timo", "olga"},
	"renewKey":       {"timo", "olga"},
	"askEdge":        {"timo", "olga"},
	"acknowledge":    {"timo", "olga"},
	"reset":          {"timo", "olga"},
	"shelve":         {"timo", "olga"},
	"unshelve":       {"timo", "olga"},

	"editDraft":      {"timo", "olga"},
	"previewImport":  {"timo", "olga"},
	"importReadings": {"timo", "olga"},
	"alarmNotices":   {"timo", "olga"},
	"notices":        {"timo", "olga"},
	"plan":           {"timo", "olga"},
	"savePlan":       {"timo", "olga"},
	"tryDelivery":    {"timo", "olga"},

	"people":            {"olga"},
	"newPerson":         {"olga"},
	"editPerson":        {"olga"},
	"setPersonPassword": {"olga"},
	"audit":             {"olga"},
	"delivery":          {"olga"},
	"saveDelivery":      {"olga"},
	"retention":         {"olga"},
	"saveRetention":     {"olga"},
	"signOfLife":        {"olga"},
	"saveSignOfLife":    {"olga"},
	"trySignOfLife":     {"olga"},
}

// operation is one route of the document.
type operation struct{ id, method, path string }

func operations(t *testing.T) []operation {
	text, err := api.Document()
	if err != nil {
		t.Fatal(err)
	}
	var document struct {
		Paths map[string]map[string]struct{ OperationID string }
	}
	if err := json.Unmarshal(text, &document); err != nil {
		t.Fatal(err)
	}
	var all []operation
	for path, methods := range document.Paths {
		for method, op := range methods {
			all = append(all, operation{op.OperationID, strings.ToUpper(method), path})
		}
	}
	return all
}

// things are what paths name at a site.
type things struct{ site, tank, device, alarm string }

func (th things) in(path string) string {
	return strings.NewReplacer("{tank}", th.tank, "{device}", th.device, "{alarm}", th.alarm, "{site}", th.site, "{version}", "1", "{person}", "carla").Replace(path)
}

// furnish gives a tank a device, an edge and an alarm, so that every path has something
// to name.
func (h *house) furnish(siteID, tankID string) things {
	h.t.Helper()
	d, _, err := h.Devices.New(h.t.Context(), h.Store.Edit("test", time.Now()), store.Device{SiteID: siteID, TankID: tankID, Name: "head"})
	if err != nil {
		h.t.Fatal(err)
	}
	if _, _, err := h.Devices.NewEdge(h.t.Context(), h.Store.Edit("test", time.Now()), store.Device{SiteID: siteID, TankID: tankID, Name: "edge"}); err != nil {
		h.t.Fatal(err)
	}
	now := h.now()
	h.take(wire.Reading{Site: siteID, Device: d.ID, Channel: "ceiling", Value: 1, At: now})
	h.pass(time.Minute)
	if len(h.Monitor.Alarms()) == 0 {
		h.t.Fatalf("a wet ceiling made no alarm at %s", tankID)
	}
	return things{siteID, tankID, d.ID, siteID + ":" + tankID + "::ceiling-wet"}
}

// TestWhoMayDoWhat tries every route as everybody.
func TestWhoMayDoWhat(t *testing.T) {
	h := furnished(t)
	here, elsewhere := h.furnish("here", "reef"), h.furnish("elsewhere", "other")
	limited := map[string]bool{"carla": true, "timo": true}
	for _, name := range []string{"nobody", "carla", "timo", "olga"} {
		b := h.nobody()
		if name != "nobody" {
			b = h.as(name)
		}
		for _, op := range operations(t) {
			may, declared := who[op.id]
			if !declared {
				t.Errorf("%s: say in the table who may use it", op.id)
			}
			if op.id == "signOut" && name != "nobody" {
				continue // it would end the test; TestSession has it
			}
			admitted := false
			for _, m := range may {
				admitted = admitted || m == name
			}
			status := b.status(op.method, here.in(op.path))
			refused := status == http.StatusUnauthorized || status == http.StatusForbidden
			switch {
			case len(may) == 4: // open: what they refuse is not about the role
			case admitted && (refused || status == http.StatusNotFound || status >= http.StatusInternalServerError):
				t.Errorf("%s as %s: got %d, and may use it", op.id, name, status)
			case !admitted && name == "nobody" && status != http.StatusUnauthorized:
				t.Errorf("%s as nobody: got %d, want 401", op.id, status)
			case !admitted && name != "nobody" && status != http.StatusForbidden:
				t.Errorf("%s as %s: got %d, want 403", op.id, name, status)
			}
			if !admitted || !limited[name] || here.in(op.path) == elsewhere.in(op.path) {
				continue
			}
			if status := b.status(op.method, elsewhere.in(op.path)); status != http.StatusNotFound {
				t.Errorf("%s as %s, of another site: got %d, want 404", op.id, name, status)
			}
		}
	}
}

// status is how a bare request is answered.
func (b *browser) status(method, path string) int {
	b.h.t.Helper()
	var body any
	if method == "POST" || method == "PUT" {
		body = map[string]any{}
	}
	resp := b.do(method, path, body)
	defer resp.Body.Close()
	return resp.StatusCode
}

// TestBodiesOfOtherSites: nor may somebody name in a body what is not theirs.
func TestBodiesOfOtherSites(t *testing.T) {
	h := furnished(t)
	file := string(tankfile.Starter(tankfile.Answers{Name: "A third"}))
	for _, row := range []struct {
		path                 string
		mine, others, unseen jsonMap
		status               int
	}{
		{"/api/devices", jsonMap{"tankId": "reef", "name": "x"}, jsonMap{"tankId": "other", "name": "x"}, jsonMap{"tankId": "nowhere", "name": "x"}, http.StatusCreated},
		{"/api/delivery/test", jsonMap{"siteId": "here", "contact": contact("A", "mail", "a@example.org")},
			jsonMap{"siteId": "elsewhere", "contact": contact("A", "mail", "a@example.org")},
			jsonMap{"siteId": "nowhere", "contact": contact("A", "mail", "a@example.org")}, http.StatusOK},
		{"/api/tanks", jsonMap{"siteId": "here", "tankId": "third", "file": file}, jsonMap{"siteId": "elsewhere", "tankId": "fourth", "file": file},
			jsonMap{"siteId": "nowhere", "tankId": "fifth", "file": file}, http.StatusCreated},
	} {
		timo := h.as("timo")
		timo.want(row.status, "POST", row.path, row.mine, nil)
		var others, unseen api.Problem
		ask := func(body jsonMap, into *api.Problem) int {
			resp := timo.do("POST", row.path, body)
			defer resp.Body.Close()
			if err := json.NewDecoder(resp.Body).Decode(into); err != nil {
				t.Fatal(err)
			}
			return resp.StatusCode
		}
		a, b := ask(row.others, &others), ask(row.unseen, &unseen)
		if a < 400 || a >= 500 || a != b {
			t.Errorf("%s: another site's is answered with %d, what is not there with %d", row.path, a, b)
		}
		if len(others.Errors) == 0 || others.Errors[0].Reason != unseen.Errors[0].Reason {
			t.Errorf("%s: the answers tell the two apart: %+v, %+v", row.path, others, unseen)
		}
	}
}

// TestListsHideOtherSites: what the guard cannot see in a path, the lists leave
// out.
func TestListsHideOtherSites(t *testing.T) {
	h := furnished(t)
	h.furnish("here", "reef")
	h.furnish("elsewhere", "other")
	for _, row := range []struct{ name, path, mine, others string }{
		{"carla", "/api/rounds", `"reef"`, `"other"`},
		{"carla", "/api/sites", `"reef"`, `"other"`},
		{"carla", "/api/alarms", `"reef"`, `"other"`},
		{"timo", "/api/devices", `"reef"`, `"other"`},
	} {
		for name, sees := range map[string]bool{row.name: false, "olga": true} {
			var text json.RawMessage
			h.as(name).want(http.StatusOK, "GET", row.path, nil, &text)
			if !strings.Contains(string(text), row.mine) {
				t.Errorf("%s as %s: own tank is missing in %s", row.path, name, text)
			}
			if strings.Contains(string(text), row.others) != sees {
				t.Errorf("%s as %s: sees the other site: %v, want %v: %s", row.path, name, !sees, sees, text)
			}
		}
	}
}
