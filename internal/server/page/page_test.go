package page

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/fstest"
)

func TestHandler(t *testing.T) {
	built := fstest.MapFS{
		"built/index.html":       {Data: []byte("first page")},
		"built/assets/app-1a.js": {Data: []byte("script")},
		"unbuilt.html":           {Data: []byte("built without its pages")},
	}
	bare := fstest.MapFS{"unbuilt.html": built["unbuilt.html"]}
	for _, row := range []struct {
		what   string
		files  fstest.MapFS
		method string
		path   string
		status int
		body   string // part of it
		cache  string
	}{
		{"first page", built, "GET", "/", 200, "first page", "no-cache"},
		{"an address of the front end", built, "GET", "/tanks/lobby", 200, "first page", "no-cache"},
		{"a file", built, "GET", "/assets/app-1a.js", 200, "script", "public, max-age=31536000, immutable"},
		{"a folder", built, "GET", "/assets/", 200, "first page", "no-cache"},
		{"out of the folder", built, "GET", "/../page.go", 200, "first page", "no-cache"},
		{"nothing built", bare, "GET", "/", 200, "built without its pages", "no-cache"},
		{"nothing built, deep", bare, "GET", "/rounds", 200, "built without its pages", "no-cache"},
		{"writing", built, "POST", "/", 405, "use GET", ""},
	} {
		t.Run(row.what, func(t *testing.T) {
			w := httptest.NewRecorder()
			h, err := handler(row.files)
			if err != nil {
				t.Fatal(err)
			}
			h.ServeHTTP(w, httptest.NewRequest(row.method, row.path, nil))
			if w.Code != row.status || !strings.Contains(w.Body.String(), row.body) {
				t.Errorf("got %d %q", w.Code, w.Body)
			}
			if got := w.Header().Get("Cache-Control"); got != row.cache {
				t.Errorf("Cache-Control %q, want %q", got, row.cache)
			}
			if row.status == http.StatusOK && !strings.Contains(w.Header().Get("Content-Security-Policy"), "default-src 'self'") {
				t.Error("no content security policy")
			}
		})
	}
}

func TestTheProgramHasSomePage(t *testing.T) {
	w := httptest.NewRecorder()
	h, err := Handler()
	if err != nil {
		t.Fatal(err)
	}
	h.ServeHTTP(w, httptest.NewRequest("GET", "/", nil))
	if w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "<html") {
		t.Errorf("got %d %q", w.Code, w.Body)
	}
}
