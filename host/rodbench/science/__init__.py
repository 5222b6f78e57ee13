"""Plain functions on numbers and arrays: no link, no clock, no settings."""
