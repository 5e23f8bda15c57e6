// Package api is the HTTP interface: which routes there are, who may use them,
// what goes in and what comes out, as an OpenAPI 3.1 document that is made from
// the same declarations.
//
// Every route is declared by a route value that names the access it needs, and
// access is enforced in one place, guard in access.go, before a handler runs. A
// handler therefore never asks who may; it only asks for what it needs.
//
// Every error that reaches a client passes through one place, problem in
// problem.go, and leaves as RFC 9457 problem+json with the field, the value and
// the fix.
//
// Numbers are in the units that their names end in: litres, PSU, °C, mm.
package api
