"""Pure computation, one package per topic; no package imports another."""
