"""Who sits where, and why."""
