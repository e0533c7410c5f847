"""``decussate schema``: the JSON Schema of the examination document."""

from __future__ import annotations

import click

from decussate.cli.printing import print_json

__all__ = ["schema"]


@click.command()
def schema() -> None:
    """Print the JSON Schema of the examination document."""
    from decussate.examination.record import json_schema

    print_json(json_schema())
