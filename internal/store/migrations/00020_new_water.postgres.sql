-- The salinity of a water change's new water as a number; it was text in the note.

-- +goose Up
ALTER TABLE hand_readings ADD COLUMN salinity_psu DOUBLE PRECISION;
UPDATE hand_readings SET salinity_psu = CAST(substr(note, 4, length(note) - 7) AS DOUBLE PRECISION), note = ''
WHERE quantity = 'water-change' AND note ~ '^of [0-9]+([.][0-9]+)?(e[+-]?[0-9]+)? PSU$';
