package api

import (
	"bytes"
	"encoding/json"
	"net/http"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"
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

func newHuma(mux *http.ServeMux) huma.API {
	config := huma.DefaultConfig("Isohaline", "1")
	config.Info.Description = "The live watch over top-off systems of saltwater aquariums."
	config.OpenAPIPath = "/api/openapi"
	config.DocsPath = "" // no page that loads scripts from elsewhere
	config.SchemasPath = ""
	config.CreateHooks = nil // no $schema in bodies
	return humago.New(mux, config)
}
