"""Self-contained HTML pages: one for a take, one for a season."""
