"""Puts this folder on the import path, so that the tests share the builders in building/."""
