package api

import "time"

// AuditLine is one change that somebody made.
type AuditLine struct {
	At   time.Time `json:"at"`
	By   string    `json:"by"`
	Did  string    `json:"did" example:"revoke device"`
	To   string    `json:"to" example:"k3f9-level"`
	More string    `json:"more,omitempty"`
}

type auditOut struct {
	Body struct {
		Lines []AuditLine `json:"lines" doc:"newest first"`
	}
}

type auditIn struct {
	Limit int `query:"limit" default:"200" minimum:"1" maximum:"1000"`
}
