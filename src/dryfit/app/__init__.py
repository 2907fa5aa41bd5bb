"""Use cases: one module per thing that a user wants to get done."""
