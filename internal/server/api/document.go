package api

import (
	"bytes"
	"encoding/json"
	"net/http"
)

//go:generate go run ./openapi ../../../web/openapi.json

// Document is the OpenAPI 3.1 document of the interface, as indented JSON.
func Document() ([]byte, error) {
	a := API{huma: newHuma(http.NewServeMux())}
	a.register()
	compact, err := json.Marshal(a.huma.OpenAPI())
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	if err := json.Indent(&out, compact, "", "  "); err != nil {
		return nil, err
	}
	out.WriteByte('\n')
	return out.Bytes(), nil
}
