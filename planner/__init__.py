"""Haysel: which hours suit which turf job, and what the weather is about to spoil."""

__version__ = "0.2.0"
