package api

import (
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"
)

// Problem is every error's body: problem+json, RFC 9457, with what is wrong
// field by field.
type Problem struct {
	Title  string  `json:"title" example:"Unprocessable Entity"`
	Status int     `json:"status" example:"422"`
	Detail string  `json:"detail" doc:"in a sentence, with the fix"`
	Errors []Wrong `json:"errors" doc:"field by field, if fields are to blame"`
}

// Wrong is one thing that has to be mended.
type Wrong struct {
	Field  string `json:"field" example:"body.value"`
	Value  string `json:"value,omitempty" doc:"what stands there"`
	Reason string `json:"reason" example:"is below 5 PSU"`
	Fix    string `json:"fix,omitempty" example:"give 5 to 42 PSU"`
	Line   int    `json:"line,omitempty" doc:"in a site file, from 1"`
	Column int    `json:"column,omitempty"`
}

func (p *Problem) Error() string { return p.Detail }

// GetStatus is the HTTP status.
func (p *Problem) GetStatus() int { return p.Status }

// ContentType is that of RFC 9457.
func (p *Problem) ContentType(string) string { return "application/problem+json" }

// The library takes its error type and whether lists may be null from package
// variables; they are set once, before any API is made.
func init() {
	huma.DefaultArrayNullable = false
	huma.NewError = func(status int, detail string, errs ...error) huma.StatusError {
		p := &Problem{Title: http.StatusText(status), Status: status, Detail: detail, Errors: []Wrong{}}
		for _, err := range errs {
			p.Errors = append(p.Errors, wrong(err))
		}
		return p
	}
}

// wrong is one of the library's own complaints about a request.
func wrong(err error) Wrong {
	d, ok := err.(huma.ErrorDetailer)
	if !ok {
		return Wrong{Reason: err.Error()}
	}
	detail := d.ErrorDetail()
	return Wrong{Field: detail.Location, Value: shown(detail.Value), Reason: detail.Message}
}

// maxShownLen cuts a value that a problem quotes.
const maxShownLen = 40

func shown(value any) string {
	if value == nil {
		return ""
	}
	text := []rune(fmt.Sprint(value))
	if len(text) > maxShownLen {
		return string(text[:maxShownLen]) + "…"
	}
	return string(text)
}
