"""``decussate places``: every place and process the localisation knows."""

from __future__ import annotations

import click

from decussate.cli.printing import print_json

__all__ = ["places"]


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def places(as_json: bool) -> None:
    """List every place and process: key, name, region, sides."""
    from decussate.anatomy import load_atlas

    rows = [
        {
            "id": place.id,
            "name": place.name,
            "kind": place.kind,
            "region": place.region,
            "sides": "each" if place.paired else "midline",
            "source": place.source,
        }
        for place in load_atlas().places.values()
    ]
    if as_json:
        print_json(rows)
        return
    width = max(len(row["id"]) for row in rows)
    for row in rows:
        sides = "right and left" if row["sides"] == "each" else "no side"
        click.echo(f"{row['id']:<{width}}  {row['name']} ({row['region']}, {sides})")
