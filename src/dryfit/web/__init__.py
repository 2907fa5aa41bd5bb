"""The workbench: the same use cases as the command line, on a local page."""
