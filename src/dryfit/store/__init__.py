"""The project document (TOML) and the ledger (SQLite)."""
