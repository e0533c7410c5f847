"""The command: thin shells over the public functions, one module a subcommand."""

from __future__ import annotations

import click

from decussate.cli.attach import attach
from decussate.cli.audit import audit
from decussate.cli.backup import backup
from decussate.cli.check import check
from decussate.cli.cohort import cohort
from decussate.cli.compare import compare
from decussate.cli.encryption import encryption
from decussate.cli.evaluate import evaluate
from decussate.cli.export import export
from decussate.cli.fhir import fhir
from decussate.cli.importing import import_
from decussate.cli.letter import letter
from decussate.cli.localise import localise
from decussate.cli.note import note
from decussate.cli.openapi import openapi
from decussate.cli.people import people
from decussate.cli.places import places
from decussate.cli.restore import restore
from decussate.cli.schema import schema
from decussate.cli.search import search
from decussate.cli.serve import serve
from decussate.cli.tests import tests
from decussate.cli.tokens import tokens
from decussate.errors import BadInput

__all__ = ["main"]


class _PlainErrors(click.Group):
    """A group that answers input it cannot accept with one message and exit code 1."""

    def invoke(self, ctx: click.Context) -> object:
        try:
            return super().invoke(ctx)
        except BadInput as error:
            raise click.ClickException(error.sentence) from error


@click.group(cls=_PlainErrors, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="decussate")
def main() -> None:
    """From a cranial nerve examination to where the lesion is, how urgent, what next.

    FILE is an examination as JSON or as written shorthand; - reads standard input. It informs a
    licensed clinician's judgement and does not diagnose.
    """


for _command in (
    serve,
    localise,
    note,
    letter,
    fhir,
    compare,
    check,
    cohort,
    evaluate,
    places,
    tests,
    schema,
    openapi,
    search,
    attach,
    export,
    import_,
    backup,
    encryption,
    restore,
    audit,
    people,
    tokens,
):
    main.add_command(_command)
