"""``decussate serve``: the bedside pages, on this machine only."""

from __future__ import annotations

import socket

import click

from decussate.cli.options import by_option, database_option
from decussate.errors import BadInput

__all__ = ["serve"]

HOST = "127.0.0.1"
"""Never another address: the pages hold patients' findings and ask for no password yet."""


@click.command()
@click.option("--demo", is_flag=True, help="Begin with an invented patient.")
@click.option("--port", type=click.IntRange(1, 65535), default=8000, show_default=True)
@database_option
@by_option
def serve(demo: bool, port: int, database: str, by: str | None) -> None:
    """Serve the bedside pages to a browser on this machine."""
    import uvicorn

    from decussate.web.app import create_app

    _require_free(port)
    click.echo(f"Open http://{HOST}:{port}/ in a browser; Ctrl-C stops.")
    app = create_app(database=database, demo=demo)
    if by:
        app.state.store.by = by
    uvicorn.run(app, host=HOST, port=port, log_level="warning")


def _require_free(port: int) -> None:
    with socket.socket() as probe:
        # As the server itself does, so that a port just released counts as free.
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError as error:
            raise BadInput(
                "port",
                port,
                "a port that no other program uses",
                hint=f"{error.strerror}: try --port {port + 1}.",
            ) from error
