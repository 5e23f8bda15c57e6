package server

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"isohaline/internal/server/api"
	"isohaline/internal/store"
)

// rounds are the tanks of Rounds by id, and whether each needs a person.
func rounds(b *browser) map[string]bool {
	b.h.t.Helper()
	var r api.Rounds
	b.want(http.StatusOK, "GET", "/api/rounds", nil, &r)
	all := map[string]bool{}
	for _, row := range r.NeedPerson {
		all[row.Tank.ID] = true
	}
	for _, row := range r.Quiet {
		all[row.Tank.ID] = false
	}
	return all
}

func keep(name string, archived bool) jsonMap { return jsonMap{"name": name, "archived": archived} }

// TestRenaming: a tank's name is that of its tank file, whose versions tell of it; a
// site's is its own. Both stay after a restart and are in the audit log.
func TestRenaming(t *testing.T) {
	dir := t.TempDir()
	const odd = `Tom's "big" reef: #2`
	t.Run("renamed", func(t *testing.T) {
		h := furnishedIn(t, dir)
		timo := h.as("timo")
		timo.want(http.StatusNoContent, "PUT", "/api/tanks/reef", keep(odd, false), nil)
		timo.want(http.StatusNoContent, "PUT", "/api/sites/here", keep("Harbour", false), nil)
		for _, bad := range []jsonMap{keep("", false), keep("  ", false), keep(strings.Repeat("x", 121), false), {"name": "x"}, {"archived": true}} {
			timo.want(http.StatusUnprocessableEntity, "PUT", "/api/tanks/reef", bad, nil)
			timo.want(http.StatusUnprocessableEntity, "PUT", "/api/sites/here", bad, nil)
		}
		timo.want(http.StatusNotFound, "PUT", "/api/sites/elsewhere", keep("Mine", false), nil)
		var versions struct{ Versions []api.Version }
		timo.want(http.StatusOK, "GET", "/api/tanks/reef/versions", nil, &versions)
		if len(versions.Versions) != 2 || versions.Versions[0].By != "timo" || versions.Versions[0].Note != "renamed" {
			t.Errorf("the versions are %+v", versions.Versions)
		}
		var audit struct{ Lines []api.AuditLine }
		h.as("olga").want(http.StatusOK, "GET", "/api/audit", nil, &audit)
		said := map[string]bool{}
		for _, l := range audit.Lines {
			said[l.By+" "+l.Did] = true
		}
		if !said["timo update site"] || !said["timo save description"] {
			t.Errorf("the audit log says %v", said)
		}
	})
	h := open(t, dir)
	var tank api.Tank
	h.as("carla").want(http.StatusOK, "GET", "/api/tanks/reef", nil, &tank)
	if tank.Name != odd || tank.SiteName != "Harbour" {
		t.Errorf("after a restart the tank is %q at %q", tank.Name, tank.SiteName)
	}
}

// TestArchivingATank: it is gone from Rounds with its alarm, what its device says is
// kept and alarms nobody, also after a restart; brought back, what goes on there is
// told, and its history is there.
func TestArchivingATank(t *testing.T) {
	dir := t.TempDir()
	var made api.Credentials
	wet := `[{"n":"floor","vb":true}]`
	t.Run("archived", func(t *testing.T) {
		h := furnishedIn(t, dir)
		olga := h.as("olga")
		olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Head"}, &made)
		post(t, h, made, wet, http.StatusOK)
		eventually(t, "the floor is wet", func() bool { return rounds(olga)["reef"] })
		h.pass(time.Minute)
		if len(h.Monitor.Alarms()) != 1 {
			t.Fatalf("alarms: %+v", h.Monitor.Alarms())
		}
		olga.want(http.StatusNoContent, "PUT", "/api/tanks/reef", keep("Old reef", true), nil)
		if all := rounds(olga); len(all) != 1 || len(h.Monitor.Alarms()) != 0 {
			t.Errorf("Rounds %v, alarms %+v", all, h.Monitor.Alarms())
		}
		said, err := h.Store.Transitions(t.Context(), "here", time.Unix(0, 0), h.now().Add(time.Hour))
		if err != nil || len(said) == 0 || said[len(said)-1].Reason != "its tank is no longer watched" {
			t.Errorf("the transitions are %+v, %v", said, err)
		}
		// Nothing of it can be changed, and all of it can be read.
		olga.want(http.StatusConflict, "POST", "/api/tanks/reef/refills", jsonMap{"litres": 5}, nil)
		olga.want(http.StatusConflict, "PUT", "/api/tanks/reef/file", jsonMap{"text": "x", "base": 2}, nil)
		olga.want(http.StatusUnprocessableEntity, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Another"}, nil)
		olga.want(http.StatusOK, "GET", "/api/tanks/reef/versions", nil, nil)
		olga.want(http.StatusOK, "GET", "/api/tanks/reef/hand-readings?from=2026-01-01T00:00:00Z&to=2027-01-01T00:00:00Z", nil, nil)
	})
	t.Run("still", func(t *testing.T) {
		h := open(t, dir)
		olga := h.as("olga")
		var archive api.Archive
		olga.want(http.StatusOK, "GET", "/api/archive", nil, &archive)
		if len(archive.Sites) != 0 || len(archive.Tanks) != 1 || archive.Tanks[0].Name != "Old reef" || archive.Tanks[0].SiteName != "Here" || archive.Tanks[0].Since.IsZero() {
			t.Errorf("the archive is %+v", archive)
		}
		var d api.Device
		olga.want(http.StatusOK, "GET", "/api/devices/"+made.Device.ID, nil, &d)
		if !d.Unwatched {
			t.Error("its device does not say that nobody is alarmed")
		}
		post(t, h, made, `[{"n":"level","u":"m","v":0.2}]`, http.StatusOK)
		post(t, h, made, wet, http.StatusOK)
		eventually(t, "the reading is kept", func() bool { return h.levels() == 1 })
		h.pass(time.Hour)
		if all := rounds(olga); len(all) != 1 || len(h.Monitor.Alarms()) != 0 {
			t.Errorf("Rounds %v, alarms %+v", all, h.Monitor.Alarms())
		}
		olga.want(http.StatusNoContent, "PUT", "/api/tanks/reef", keep("Our reef", false), nil)
		olga.want(http.StatusNoContent, "PUT", "/api/tanks/reef", keep("Our reef", false), nil) // as it is
		h.pass(time.Minute)
		if all := rounds(olga); !all["reef"] || len(h.Monitor.Alarms()) != 1 {
			t.Errorf("brought back with a wet floor, Rounds are %v and alarms %+v", all, h.Monitor.Alarms())
		}
		if n := h.levels(); n != 1 {
			t.Errorf("%d readings of the level, want 1", n)
		}
		// The process ends after the store has an archiving, and before its alarms
		// are gone.
		tank, err := h.Store.Tank(t.Context(), "reef")
		if err == nil {
			tank.Archived = h.now()
			err = h.Store.Edit("olga", h.now()).UpdateTank(t.Context(), tank)
		}
		if err != nil {
			t.Fatal(err)
		}
	})
	h := open(t, dir)
	if all := rounds(h.as("olga")); len(all) != 1 || len(h.Monitor.Alarms()) != 0 {
		t.Errorf("after such an end Rounds are %v and alarms %+v", all, h.Monitor.Alarms())
	}
}

// TestArchivingASite: with its tanks, and back without those that were archived
// themselves.
func TestArchivingASite(t *testing.T) {
	dir := t.TempDir()
	t.Run("archived", func(t *testing.T) {
		h := furnishedIn(t, dir)
		h.furnish("here", "reef") // its ceiling is wet
		olga, timo := h.as("olga"), h.as("timo")
		olga.want(http.StatusNoContent, "PUT", "/api/sites/here", keep("There", true), nil)
		if all := rounds(olga); len(all) != 1 || len(h.Monitor.Alarms()) != 0 {
			t.Errorf("Rounds %v, alarms %+v", all, h.Monitor.Alarms())
		}
		var archive api.Archive
		timo.want(http.StatusOK, "GET", "/api/archive", nil, &archive)
		if len(archive.Sites) != 1 || archive.Sites[0].Name != "There" || len(archive.Tanks) != 0 {
			t.Errorf("the archive is %+v", archive)
		}
		olga.want(http.StatusConflict, "PUT", "/api/tanks/reef", keep("Our reef", false), nil)
		olga.want(http.StatusConflict, "PUT", "/api/sites/here/plan", jsonMap{}, nil)
	})
	h := open(t, dir)
	olga := h.as("olga")
	if all := rounds(olga); len(all) != 1 {
		t.Errorf("after a restart Rounds are %v", all)
	}
	olga.want(http.StatusNoContent, "PUT", "/api/sites/here", keep("There", false), nil)
	h.pass(time.Minute)
	if all := rounds(olga); !all["reef"] || len(all) != 2 || len(h.Monitor.Alarms()) != 1 {
		t.Errorf("brought back, Rounds are %v and alarms %+v", all, h.Monitor.Alarms())
	}
	var sites struct{ Sites []store.Site }
	olga.want(http.StatusOK, "GET", "/api/sites", nil, &sites)
	if len(sites.Sites) != 2 || sites.Sites[1].Name != "There" {
		t.Errorf("the sites are %+v", sites)
	}
}
