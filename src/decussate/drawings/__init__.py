"""Drawings as SVG text, each with its side convention written on it."""
