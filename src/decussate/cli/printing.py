"""Printing results as JSON."""

from __future__ import annotations

import json
from dataclasses import asdict, is_dataclass

import click

__all__ = ["print_json"]


def print_json(value: object) -> None:
    """Print a value, dataclasses within it as objects, as indented JSON."""
    click.echo(json.dumps(value, default=_plain, indent=2, ensure_ascii=False))


def _plain(value: object) -> object:
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    raise TypeError(f"{type(value).__name__} has no JSON form")
