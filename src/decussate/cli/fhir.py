"""``decussate fhir``: an examination as an HL7 FHIR document, and back."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import click

from decussate.cli.printing import write_file
from decussate.cli.reading import file_argument, read_file

__all__ = ["fhir"]


@click.command()
@file_argument
@click.option("--read", "reading", is_flag=True, help="FILE is a FHIR Bundle: read it back.")
@click.option("--publish", is_flag=True, help="FILE is a folder: write our code systems there.")
def fhir(file: str, reading: bool, publish: bool) -> None:
    """Write an examination as an HL7 FHIR R4 document, or read one back."""
    from decussate.documents.fhir import code_systems, read_bundle, write_bundle

    if reading and publish:
        raise click.UsageError("Choose --read or --publish.")
    if publish:
        for system in code_systems():
            path = Path(file) / f"CodeSystem-{system['id']}.json"
            text = json.dumps(system, indent=1, ensure_ascii=False)
            write_file(path, f"{text}\n".encode())
            click.echo(path)
        return
    if reading:
        from decussate.examination.record import write_examination

        source = sys.stdin.buffer.read() if file == "-" else Path(file)
        click.echo(write_examination(read_bundle(source)), nl=False)
        return
    from decussate.localisation import localise
    from decussate.urgency import evaluate

    examination = read_file(file)
    located = localise(examination)
    click.echo(write_bundle(examination, located, evaluate(examination, located)), nl=False)
