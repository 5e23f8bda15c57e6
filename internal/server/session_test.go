package server

import (
	"net/http"
	"strings"
	"testing"

	"isohaline/internal/server/api"
)

type jsonMap = map[string]any

func TestFirstRun(t *testing.T) {
	h := open(t, t.TempDir())
	b := h.nobody()
	var first api.FirstRun
	b.want(http.StatusOK, "GET", "/api/first-run", nil, &first)
	if !first.Needed || h.Token == "" {
		t.Fatalf("needed %v, token %q", first.Needed, h.Token)
	}
	account := jsonMap{"token": "guessed", "name": "ada", "password": password}
	b.want(http.StatusForbidden, "POST", "/api/first-run", account, nil)
	account["token"] = h.Token
	account["password"] = "too short"
	b.want(http.StatusUnprocessableEntity, "POST", "/api/first-run", account, nil)
	account["password"] = password
	var p api.Person
	b.want(http.StatusOK, "POST", "/api/first-run", account, &p)
	if p.Name != "ada" || p.Role != api.RoleOperator {
		t.Errorf("made %+v", p)
	}
	b.want(http.StatusOK, "GET", "/api/session", nil, &p) // signed in by it

	account["name"] = "eve"
	h.nobody().want(http.StatusConflict, "POST", "/api/first-run", account, nil)
	b.want(http.StatusOK, "GET", "/api/first-run", nil, &first)
	if first.Needed {
		t.Error("the first run is still needed")
	}
}

func TestSession(t *testing.T) {
	h := furnished(t)
	b := h.nobody()
	b.want(http.StatusUnauthorized, "POST", "/api/session", jsonMap{"name": "olga", "password": "wrong"}, nil)
	b.want(http.StatusUnauthorized, "POST", "/api/session", jsonMap{"name": "nobody-here", "password": password}, nil)
	b.want(http.StatusOK, "POST", "/api/session", jsonMap{"name": "olga@example.org", "password": password}, nil)
	var p api.Person
	b.want(http.StatusOK, "PUT", "/api/session/units", jsonMap{"units": "us"}, &p)
	b.want(http.StatusOK, "GET", "/api/session", nil, &p)
	if p.Units != "us" {
		t.Errorf("units are %q", p.Units)
	}
	b.want(http.StatusNoContent, "DELETE", "/api/session", nil, nil)
	b.want(http.StatusUnauthorized, "GET", "/api/session", nil, nil)
}

func TestTheCookie(t *testing.T) {
	h := furnished(t)
	resp := h.nobody().do("POST", "/api/session", jsonMap{"name": "olga", "password": password})
	resp.Body.Close()
	cookies := resp.Cookies()
	if len(cookies) != 1 {
		t.Fatalf("%d cookies", len(cookies))
	}
	if c := cookies[0]; !c.HttpOnly || c.SameSite != http.SameSiteLaxMode {
		t.Errorf("the cookie is %v", c)
	}
}

func TestADisabledPersonIsOutAtOnce(t *testing.T) {
	h := furnished(t)
	b := h.as("timo")
	u, err := h.Store.User(t.Context(), "timo")
	if err != nil {
		t.Fatal(err)
	}
	u.Disabled = true
	if err := h.Store.Edit("test", h.now()).UpdateUser(t.Context(), u); err != nil {
		t.Fatal(err)
	}
	b.want(http.StatusUnauthorized, "GET", "/api/session", nil, nil)
	b.want(http.StatusUnauthorized, "POST", "/api/session", jsonMap{"name": "timo", "password": password}, nil)
}

func TestGuessingIsLimited(t *testing.T) {
	h := furnished(t)
	b := h.nobody()
	wrong := jsonMap{"name": "olga", "password": "guess"}
	for range 5 {
		b.want(http.StatusUnauthorized, "POST", "/api/session", wrong, nil)
	}
	b.want(http.StatusTooManyRequests, "POST", "/api/session", wrong, nil)
	right := jsonMap{"name": "olga", "password": password}
	b.want(http.StatusTooManyRequests, "POST", "/api/session", right, nil)
	h.as("timo") // another name is not held up by it
	h.ahead.Add(int64(61e9))
	b.want(http.StatusOK, "POST", "/api/session", right, nil)
}

// TestCrossSiteRequests: a browser that is signed in sends its cookie along when
// another page makes it post; what tells is where the request comes from.
func TestCrossSiteRequests(t *testing.T) {
	h := furnished(t)
	for _, row := range []struct {
		what, method, header, value string
		status                      int
	}{
		{"the same page", "PUT", "Sec-Fetch-Site", "same-origin", http.StatusOK},
		{"typed by the person", "PUT", "Sec-Fetch-Site", "none", http.StatusOK},
		{"another site", "PUT", "Sec-Fetch-Site", "cross-site", http.StatusForbidden},
		{"another port of this machine", "PUT", "Sec-Fetch-Site", "same-site", http.StatusForbidden},
		{"an old browser, another origin", "PUT", "Origin", "https://elsewhere.example", http.StatusForbidden},
		{"an old browser, this origin", "PUT", "Origin", h.Address(), http.StatusOK},
		{"no browser", "PUT", "", "", http.StatusOK},
		{"a link from another site", "GET", "Sec-Fetch-Site", "cross-site", http.StatusOK},
	} {
		b := h.as("olga")
		path, body := "/api/session/units", `{"units":"us"}`
		if row.method == "GET" {
			path, body = "/api/session", ""
		}
		req, err := http.NewRequestWithContext(t.Context(), row.method, h.Address()+path, strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		if row.header != "" {
			req.Header.Set(row.header, row.value)
		}
		resp := b.send(req)
		resp.Body.Close()
		if resp.StatusCode != row.status {
			t.Errorf("%s: got %d, want %d", row.what, resp.StatusCode, row.status)
		}
	}
}

func TestProblems(t *testing.T) {
	h := furnished(t)
	b := h.as("olga")
	for _, row := range []struct {
		what, method, path string
		body               any
		status             int
		field              string
	}{
		{"a tank that is not there", "GET", "/api/tanks/nowhere", nil, 404, "tank"},
		{"a series backwards", "GET", "/api/tanks/reef/series?channel=level&from=2026-01-02T00:00:00Z&to=2026-01-01T00:00:00Z", nil, 422, "query.to"},
		{"ten years at once", "GET", "/api/tanks/reef/ledger?from=2016-01-02T00:00:00Z&to=2026-01-01T00:00:00Z", nil, 422, "query.from"},
		{"a salinity of no sea", "POST", "/api/tanks/reef/hand-readings", jsonMap{"kind": "salinity", "value": "350 ppt", "instrument": "refractometer"}, 422, "body.value"},
		{"a salinity in litres", "POST", "/api/tanks/reef/hand-readings", jsonMap{"kind": "salinity", "value": "35 L", "instrument": "refractometer"}, 422, "value"},
		{"no number", "POST", "/api/tanks/reef/hand-readings", jsonMap{"kind": "salinity", "value": "NaN", "instrument": "refractometer"}, 422, "body.value"},
		{"a reading of tomorrow", "POST", "/api/tanks/reef/hand-readings", jsonMap{"kind": "salinity", "value": "35 ppt", "instrument": "refractometer", "at": "2190-01-01T00:00:00Z"}, 422, "body.at"},
		{"a tank file with a slip", "POST", "/api/drafts/check", jsonMap{"text": "isohaline: 1\nname: x\nwater: {salinity: 90 ppt}\n"}, 422, "water.salinity"},
		{"odds of a tank file with a slip", "POST", "/api/drafts/odds", jsonMap{"text": "isohaline: 1\nname: x\nwater: {salinity: 90 ppt}\n"}, 422, "water.salinity"},
		{"a device of no tank", "POST", "/api/devices", jsonMap{"tankId": "nowhere", "name": "x"}, 422, "body.tankId"},
		{"a name that is taken", "POST", "/api/people", jsonMap{"name": "timo", "password": password, "role": "client"}, 409, ""},
	} {
		var p api.Problem
		b.want(row.status, row.method, row.path, row.body, &p)
		if p.Status != row.status || p.Detail == "" || p.Title == "" {
			t.Errorf("%s: %+v says too little", row.what, p)
		}
		if row.field == "" {
			continue
		}
		found := false
		for _, w := range p.Errors {
			found = found || w.Field == row.field && w.Reason != "" && w.Fix != ""
		}
		if !found {
			t.Errorf("%s: no reason and fix for %s in %+v", row.what, row.field, p.Errors)
		}
	}
}
