// Package demo is an invented fleet of tanks to look at: sites, ninety days of
// history from the physical twin, troubles that are under way, and devices that
// go on reporting over real MQTT.
//
// Everything comes out of package plant by a seed, so the same day shows the
// same fleet. People, places and tanks are invented.
package demo
