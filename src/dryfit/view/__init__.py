"""From a report to words, rows and digits, shared by the command line and the workbench."""
