"""``decussate serve``: the bedside pages, on this machine only."""

from __future__ import annotations

from pathlib import Path

import click

__all__ = ["serve"]

HOST = "127.0.0.1"
"""Never another address: the pages hold patients' findings and ask for no password yet."""


@click.command()
@click.option("--demo", is_flag=True, help="Begin with an invented patient.")
@click.option("--port", type=click.IntRange(1, 65535), default=8000, show_default=True)
@click.option(
    "--database",
    type=click.Path(dir_okay=False, path_type=Path),
    default=Path("decussate.sqlite"),
    show_default=True,
    help="Where examinations are kept.",
)
def serve(demo: bool, port: int, database: Path) -> None:
    """Serve the bedside pages to a browser on this machine."""
    import uvicorn

    from decussate.web.app import create_app

    click.echo(f"Open http://{HOST}:{port}/ in a browser; Ctrl-C stops.")
    uvicorn.run(create_app(database=database, demo=demo), host=HOST, port=port, log_level="warning")
