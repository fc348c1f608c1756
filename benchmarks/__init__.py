"""Measurements with their reference in the same run; ``python -m benchmarks.NAME``."""
