// Package page serves the front end: the built pages where there are some in the
// program, and a page that says how to build them where not.
//
// The front end is built into pages/built here, which git ignores; beside it
// stands the page for a program without it, so a clean clone compiles without
// Node.
package page

import (
	"bytes"
	"embed"
	"errors"
	"io/fs"
	"net/http"
	"path"
	"strings"
	"time"
)

//go:embed pages
var pages embed.FS

// Handler serves the pages. A path that is no file is one of the front end's own
// addresses and gets its first page.
func Handler() (http.Handler, error) {
	files, err := fs.Sub(pages, "pages")
	if err != nil {
		return nil, err
	}
	return handler(files)
}

// handler serves the pages in built, or else unbuilt.html.
func handler(files fs.FS) (http.Handler, error) {
	built, err := fs.Sub(files, "built")
	if err != nil {
		return nil, err
	}
	first, err := fs.ReadFile(built, "index.html")
	if errors.Is(err, fs.ErrNotExist) {
		first, err = fs.ReadFile(files, "unbuilt.html")
	}
	if err != nil {
		return nil, err
	}
	serve := http.FileServerFS(built)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			w.Header().Set("Allow", "GET, HEAD")
			http.Error(w, "pages are only read: use GET", http.StatusMethodNotAllowed)
			return
		}
		protect(w.Header())
		name := strings.TrimPrefix(path.Clean(r.URL.Path), "/")
		if info, err := fs.Stat(built, name); err == nil && !info.IsDir() {
			if strings.HasPrefix(name, "assets/") { // their names change with their content
				w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
			}
			serve.ServeHTTP(w, r)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Header().Set("Cache-Control", "no-cache")
		http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(first))
	}), nil
}

// protect says what a browser may do with the pages: nothing from elsewhere, in
// no frame. Drawings carry their own style inside.
func protect(h http.Header) {
	h.Set("Content-Security-Policy", "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; frame-ancestors 'none'; base-uri 'none'; form-action 'self'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "same-origin")
}
