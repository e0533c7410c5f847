"""Bedside observations turned into measurements: one module a measurement, each usable alone."""
