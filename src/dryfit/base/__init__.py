"""Errors, units, estimates and citations: what every other layer stands on."""
