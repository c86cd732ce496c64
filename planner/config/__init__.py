"""Config files: TOML in, frozen domain objects out, all faults of a file on one list; no network or store."""
