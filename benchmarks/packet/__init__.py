"""The packet's numbers: ``python -m benchmarks.packet``."""
