"""``decussate openapi``: the description of the read interface."""

from __future__ import annotations

import click

from decussate.cli.printing import print_json

__all__ = ["openapi"]


@click.command()
def openapi() -> None:
    """Print the OpenAPI description of the read interface, as published in docs/api."""
    from decussate.web.api import router
    from decussate.web.api_document import openapi_document

    print_json(openapi_document(router.routes))
