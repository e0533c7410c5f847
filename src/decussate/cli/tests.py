"""``decussate tests``: the catalogue of bedside tests."""

from __future__ import annotations

import click

from decussate.cli.printing import print_json

__all__ = ["tests"]


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def tests(as_json: bool) -> None:
    """List every test by nerve: key, name, sides, responses."""
    from decussate.examination.catalogue import load_catalogue

    catalogue = load_catalogue()
    if as_json:
        print_json(
            [
                {
                    "id": test.id,
                    "name": test.name,
                    "nerve": test.nerve,
                    "sides": test.sides,
                    "sign": test.sign,
                    "responses": {code: answer.label for code, answer in test.responses.items()},
                }
                for test in catalogue
            ]
        )
        return
    width = max(len(test.id) for test in catalogue)
    for nerve, group in catalogue.groups.items():
        click.echo(nerve)
        for test in group:
            sides = "right and left" if test.paired else "once"
            click.echo(f"  {test.id:<{width}}  {test.name} ({sides}): {', '.join(test.codes)}")
