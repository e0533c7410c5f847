"""Options that several subcommands share: the database, and who acts."""

from __future__ import annotations

import click

__all__ = ["by_option", "database_option"]

database_option = click.option(
    "--database",
    default="decussate.sqlite",
    show_default=True,
    envvar="DECUSSATE_DATABASE",
    show_envvar=True,
    metavar="FILE|ADDRESS",
    help="Where examinations are kept: a file, or postgresql+psycopg://name@host/database.",
)
"""Where examinations are kept."""

by_option = click.option(
    "--by",
    envvar="DECUSSATE_BY",
    show_envvar=True,
    metavar="NAME",
    help="Who acts, for the audit trail; by default the login name.",
)
"""Who acts."""
