"""Is it one unbroken take? Evidence for a person, one module a channel; never a verdict."""
