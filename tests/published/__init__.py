"""Figures from outside the project, one file per source."""
