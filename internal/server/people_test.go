package server

import (
	"net/http"
	"strconv"
	"testing"

	"isohaline/internal/server/api"
)

// TestEditingPeople: what an operator changes counts at once, and is written
// down.
func TestEditingPeople(t *testing.T) {
	h := furnished(t)
	olga, timo := h.as("olga"), h.as("timo")
	timo.want(http.StatusNotFound, "GET", "/api/tanks/other", nil, nil)
	var p api.Person
	olga.want(http.StatusOK, "PUT", "/api/people/timo", jsonMap{"mail": "t@example.org", "role": "client", "siteIds": []string{"elsewhere"}}, &p)
	if p.Mail != "t@example.org" || p.Role != "client" || len(p.SiteIDs) != 1 || p.SiteIDs[0] != "elsewhere" || p.Disabled {
		t.Errorf("changed, he is %+v", p)
	}
	timo.want(http.StatusOK, "GET", "/api/tanks/other", nil, nil)
	timo.want(http.StatusNotFound, "GET", "/api/tanks/reef", nil, nil)
	timo.want(http.StatusForbidden, "GET", "/api/devices", nil, nil)
	p = api.Person{}
	olga.want(http.StatusOK, "PUT", "/api/people/timo", jsonMap{"role": "client"}, &p)
	if p.Mail != "" || len(p.SiteIDs) != 0 {
		t.Errorf("without mail and sites, he is %+v", p)
	}

	olga.want(http.StatusOK, "PUT", "/api/people/timo", jsonMap{"role": "client", "disabled": true}, &p)
	if !p.Disabled {
		t.Errorf("disabled, he is %+v", p)
	}
	timo.want(http.StatusUnauthorized, "GET", "/api/session", nil, nil)
	timo.want(http.StatusUnauthorized, "POST", "/api/session", jsonMap{"name": "timo", "password": password}, nil)
	olga.want(http.StatusOK, "PUT", "/api/people/timo", jsonMap{"role": "technician"}, nil)
	timo.want(http.StatusUnauthorized, "GET", "/api/session", nil, nil) // the old session does not come back
	h.as("timo")

	olga.want(http.StatusNotFound, "PUT", "/api/people/somebody", jsonMap{"role": "client"}, nil)
	olga.want(http.StatusNotFound, "PUT", "/api/people/timo", jsonMap{"role": "client", "siteIds": []string{"nowhere"}}, nil)
	olga.want(http.StatusConflict, "PUT", "/api/people/timo", jsonMap{"role": "client", "mail": "olga@example.org"}, nil)
	olga.want(http.StatusUnprocessableEntity, "PUT", "/api/people/timo", jsonMap{"role": "king"}, nil)
}

// TestTheLastOperatorStays: somebody must be left who can let others in.
func TestTheLastOperatorStays(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	for what, change := range map[string]jsonMap{
		"demoted":  {"role": "technician", "siteIds": []string{"here"}},
		"disabled": {"role": "operator", "disabled": true},
	} {
		var problem api.Problem
		olga.want(http.StatusConflict, "PUT", "/api/people/olga", change, &problem)
		if problem.Errors[0].Fix == "" {
			t.Errorf("%s: %+v says too little", what, problem)
		}
	}
	olga.want(http.StatusOK, "PUT", "/api/people/timo", jsonMap{"role": "operator"}, nil)
	olga.want(http.StatusOK, "PUT", "/api/people/olga", jsonMap{"role": "technician", "siteIds": []string{"here"}}, nil)
	olga.want(http.StatusForbidden, "GET", "/api/people", nil, nil)
	h.as("timo").want(http.StatusConflict, "PUT", "/api/people/timo", jsonMap{"role": "operator", "disabled": true}, nil)
}

// TestNewPasswords: a new password ends every session but the one in which
// somebody changed their own.
func TestNewPasswords(t *testing.T) {
	h := furnished(t)
	const other = "quite another one"
	phone, laptop, olga := h.as("timo"), h.as("timo"), h.as("olga")
	laptop.want(http.StatusUnprocessableEntity, "PUT", "/api/session/password", jsonMap{"old": "not this one", "new": other}, nil)
	laptop.want(http.StatusUnprocessableEntity, "PUT", "/api/session/password", jsonMap{"old": password, "new": "short"}, nil)
	laptop.want(http.StatusNoContent, "PUT", "/api/session/password", jsonMap{"old": password, "new": other}, nil)
	laptop.want(http.StatusOK, "GET", "/api/session", nil, nil)
	phone.want(http.StatusUnauthorized, "GET", "/api/session", nil, nil)
	phone.want(http.StatusUnauthorized, "POST", "/api/session", jsonMap{"name": "timo", "password": password}, nil)
	phone.want(http.StatusOK, "POST", "/api/session", jsonMap{"name": "timo", "password": other}, nil)

	looking := laptop.follow("view=rounds")
	var first api.RoundsEvent
	looking.await(t, "rounds", &first, func() bool { return true })
	olga.want(http.StatusNoContent, "PUT", "/api/people/timo/password", jsonMap{"password": password}, nil)
	for looking.lines.Scan() { // the live updates end, too; else this waits until the test gives up
	}
	if err := looking.lines.Err(); err != nil {
		t.Errorf("the live updates did not end: %v", err)
	}
	for _, b := range []*browser{phone, laptop} {
		b.want(http.StatusUnauthorized, "GET", "/api/session", nil, nil)
	}
	h.as("timo")
	olga.want(http.StatusNotFound, "PUT", "/api/people/somebody/password", jsonMap{"password": other}, nil)
	olga.want(http.StatusConflict, "PUT", "/api/people/olga/password", jsonMap{"password": other}, nil)

	guesser := h.as("carla")
	for range 4 {
		guesser.want(http.StatusUnprocessableEntity, "PUT", "/api/session/password", jsonMap{"old": "guess", "new": other}, nil)
	}
	guesser.want(http.StatusUnprocessableEntity, "PUT", "/api/session/password", jsonMap{"old": "guess", "new": other}, nil)
	guesser.want(http.StatusTooManyRequests, "PUT", "/api/session/password", jsonMap{"old": password, "new": other}, nil)
}

// TestTheAuditLogInPages: everything once, the newest first, by what it was done
// to and by whom.
func TestTheAuditLogInPages(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	for _, role := range []string{"client", "technician", "client"} {
		olga.want(http.StatusOK, "PUT", "/api/people/timo", jsonMap{"role": role}, nil)
	}
	page := func(query string) []api.AuditLine {
		t.Helper()
		var body struct{ Lines []api.AuditLine }
		olga.want(http.StatusOK, "GET", "/api/audit?"+query, nil, &body)
		return body.Lines
	}
	whole := page("")
	if len(whole) < 8 {
		t.Fatalf("the log has %d lines", len(whole))
	}
	var together []api.AuditLine
	for before := ""; ; {
		part := page("limit=3" + before)
		together = append(together, part...)
		if len(part) < 3 {
			break
		}
		before = "&before=" + strconv.FormatInt(part[len(part)-1].ID, 10)
	}
	if len(together) != len(whole) {
		t.Fatalf("the pages have %d lines, the whole %d", len(together), len(whole))
	}
	for i := range whole {
		if whole[i] != together[i] {
			t.Errorf("line %d: %+v in pages, %+v at once", i, together[i], whole[i])
		}
		if i > 0 && whole[i].ID >= whole[i-1].ID {
			t.Errorf("line %d is no older than the one before", i)
		}
	}
	mine := page("subject=user/timo&by=olga")
	if len(mine) != 3 || mine[0].Did != "update user" || mine[0].By != "olga" || mine[0].At.IsZero() || mine[0].More == "" {
		t.Errorf("what olga did to timo is %+v", mine)
	}
}
