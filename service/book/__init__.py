"""A job as an append-only log: what may be recorded, and what the log says now."""
