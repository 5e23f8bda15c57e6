package tankfile

import (
	"fmt"
	"strings"
)

// Reference is the reference of the file format in Markdown: a section for each
// group of keys, made from the tables that Read and Write follow.
func Reference() string {
	var b strings.Builder
	referTo(&b, "The file itself", "", tankFields(new(Tank)))
	return b.String()
}

func referTo(b *strings.Builder, title, about string, fields []field) {
	fmt.Fprintf(b, "### %s\n\n", title)
	if about != "" {
		fmt.Fprintf(b, "%s\n\n", about)
	}
	b.WriteString("| key | value | range | when missing | meaning |\n|---|---|---|---|---|\n")
	for _, f := range fields {
		r := f.describe()
		span := r.span
		if span == "" {
			span = "—"
		}
		fmt.Fprintf(b, "| `%s` | %s | %s | %s | %s |\n", r.key, r.form, span, r.standard, r.about)
	}
	b.WriteString("\n")
	for _, f := range fields {
		if r := f.describe(); len(r.below) > 0 {
			path := r.key
			if title != "The file itself" {
				path = strings.Trim(title, "`") + "." + r.key
			}
			referTo(b, "`"+path+"`", r.about, r.below)
		}
	}
}

// Keys lists every path of the format.
func Keys() []string {
	var keys []string
	var walk func(path string, fields []field)
	walk = func(path string, fields []field) {
		for _, f := range fields {
			r := f.describe()
			keys = append(keys, keyPath(path, r.key))
			walk(keyPath(path, r.key), r.below)
		}
	}
	walk("", tankFields(new(Tank)))
	return keys
}
