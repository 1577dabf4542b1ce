//! Everything that is written out: schedules, sheets, renders and woven toolpaths.
