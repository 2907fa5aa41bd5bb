"""Frozen domain records: what the program knows, without input or output."""
