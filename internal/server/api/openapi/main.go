// Command openapi writes the OpenAPI document of the HTTP interface into the
// file it is given, for the front end's generated client.
package main

import (
	"fmt"
	"os"

	"isohaline/internal/server/api"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: openapi FILE")
		os.Exit(2)
	}
	document, err := api.Document()
	if err == nil {
		err = os.WriteFile(os.Args[1], document, 0o644)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "openapi:", err)
		os.Exit(1)
	}
}
