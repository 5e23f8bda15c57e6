// Package auth knows how people prove who they are: passwords, the one-time
// token of the first run, and how often somebody may guess. It stores nothing
// and reads no clock.
package auth
