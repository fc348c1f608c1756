"""Marks, panels and fair scores."""
