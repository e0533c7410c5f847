"""Everything that reads what others wrote, as targets for hostile inputs.

A target may accept an input or refuse it with `BadInput`; anything else is a fault. What it accepts
is carried on to whatever the program would do with it next.
"""

from __future__ import annotations

import functools
import hashlib
import itertools
import json
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml
from hypothesis import strategies as st

from decussate.cohort.source import entries
from decussate.documents.fhir import read_bundle, write_bundle
from decussate.documents.letter import referral_letter
from decussate.documents.letter_details import read_details
from decussate.documents.note import write_note
from decussate.documents.typesetting import as_html, as_pdf
from decussate.errors import BadInput
from decussate.examination.record import read_examination, write_examination
from decussate.examination.shorthand import read_shorthand
from decussate.localisation import localise
from decussate.measures.audiogram import audiogram_from_csv, audiogram_to_csv
from decussate.measures.visual_field_points import read_perimetry_csv
from decussate.records import Store
from decussate.records.demo import load_demo
from decussate.records.importing import import_records
from decussate.records.transfer import export_records
from decussate.sides import Side
from decussate.urgency import evaluate
from fhir_strategies import full_examinations
from fuzz_inputs import hostile_json, hostile_text

__all__ = ["TARGETS", "Target"]

CASES = sorted((Path(__file__).parent / "published" / "cases").glob("*.json"))
LINES = Path(__file__).parent / "examination" / "shorthand_lines.yaml"


@dataclass(frozen=True, slots=True)
class Target:
    """One reader.

    Parameters
    ----------
    name : str
        What it reads.
    inputs : SearchStrategy
        What it is given.
    read : Callable
        Reads one input and returns whether it was accepted; anything raised is a fault.
    share : float
        Its part of the inputs of a long run.
    """

    name: str
    inputs: Callable[[], st.SearchStrategy[Any]]
    read: Callable[[Any], bool]
    share: float


def refusing(read: Callable[[Any], object]) -> Callable[[Any], bool]:
    """Let a reader refuse with `BadInput`, whose sentence must be one."""

    @functools.wraps(read)
    def tried(text: Any) -> bool:
        try:
            read(text)
        except BadInput as problem:
            refusal = problem
        else:
            return True
        assert 10 < len(refusal.sentence) < 5000
        return False

    return tried


@functools.cache
def shorthand_seeds() -> tuple[str, ...]:
    table = yaml.load(LINES.read_text("utf-8"), Loader=yaml.CSafeLoader)
    rows = [row for setting in table.values() for row in setting if isinstance(row, dict)]
    lines = [row["line"] for row in rows]
    whole = ["\n".join(lines[start : start + 12]) for start in range(0, len(lines), 12)]
    return (*lines, *whole)


@functools.cache
def document_seeds() -> tuple[str, ...]:
    return tuple(case.read_text("utf-8") for case in CASES[:25])


@functools.cache
def bundle_seeds() -> tuple[str, ...]:
    made = []
    for text in document_seeds()[:4]:
        examination = read_examination(text)
        few = examination.model_copy(update={"findings": examination.findings[:3]})
        located = localise(few)
        made.append(write_bundle(few, located, evaluate(few, located)))
    return tuple(made)


AUDIOGRAM = "ear,frequency_hz,conduction,level_db_hl,masked,no_response\n" + "".join(
    f"{ear},{hz},{way},{level},no,no\n"
    for ear, level in (("right", 20), ("left", 45))
    for way in ("air", "bone")
    for hz in (500, 1000, 2000, 4000)
)
DETAILS = """patient_name: An invented person
to: Clinic of eye movements
reason: Double vision
copies: [Ward 3, Records]
"""
PERIMETRY = "x,y,dB\n" + "".join(
    f"{x},{y},{30 - (abs(x) + abs(y)) // 3}\n" for x in range(-21, 22, 6) for y in range(-9, 10, 6)
)


def read_shorthand_whole(text: str) -> None:
    examination = read_shorthand(text).examination("fuzz")
    assert sum(len(piece.text) for piece in examination.unread) <= len(text)
    write_examination(examination).encode("utf-8")


def read_document(text: str) -> None:
    examination = read_examination(text)
    assert read_examination(write_examination(examination)) == examination


def read_cohort(text: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "cohort.ndjson"
        file.write_bytes(text.encode("utf-8", "surrogatepass"))
        for entry in entries(file):
            entry.read()


def read_audiogram(text: str) -> None:
    audiogram = audiogram_from_csv(text)
    assert audiogram_from_csv(audiogram_to_csv(audiogram)) == audiogram


def read_perimetry(text: str) -> None:
    for eye in Side:
        read_perimetry_csv(eye, text)


def read_letter_details(text: str) -> None:
    read_details(text, "details")


def read_fhir(text: str) -> None:
    write_examination(read_bundle(text))


def conclude_and_write(examination: Any) -> None:
    """Take an examination that was accepted through everything that follows from it."""
    examination = read_examination(write_examination(examination))
    located = localise(examination)
    alerts = evaluate(examination, located)
    write_note(examination, located, alerts).encode("utf-8")
    letter = referral_letter(examination, located, alerts)
    as_html(letter).encode("utf-8")
    as_pdf(letter)
    write_bundle(examination, located, alerts)


class Archives:
    """An export, the stores that hostile versions of it are imported into, and those versions."""

    def __init__(self) -> None:
        self.kept = tempfile.TemporaryDirectory(prefix="decussate-fuzz-")  # until the end
        self.folder = Path(self.kept.name)
        self.numbers = itertools.count()
        self.used = Store(self.folder / "used.db")
        load_demo(self.used)
        export_records(self.used, self.folder / "export")
        lines = (self.folder / "export").read_text("utf-8").splitlines()
        kinds: dict[str, list[str]] = {}
        for line in lines[1:-1]:
            kinds.setdefault(next(iter(json.loads(line))), []).append(line)
        self.manifest = json.loads(lines[0])
        self.rows = [line for some in kinds.values() for line in some[:2]]
        self.whole = "\n".join(lines) + "\n"
        self.empty = self._new()

    def _new(self) -> Store:
        return Store(self.folder / f"empty-{next(self.numbers)}.db")

    def inputs(self) -> st.SearchStrategy[str]:
        """Text that is broken, or rows that are broken below a checksum that is right."""
        rows = st.lists(hostile_json(self.rows), max_size=5)
        return st.one_of(rows.map(self.sealed), rows.map(self.sealed), hostile_text([self.whole]))

    def sealed(self, rows: list[str]) -> str:
        counts = dict.fromkeys(("patients", "examinations", "entries", "links"), 0)
        names = {"patient": "patients", "examination": "examinations", "entry": "entries"}
        for row in rows:
            for kind, name in (*names.items(), ("link", "links")):
                counts[name] += row.startswith(f'{{"{kind}"')
        text = "".join(f"{line}\n" for line in (json.dumps(self.manifest | counts), *rows))
        digest = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
        return f'{text}{{"sha256":"{digest}"}}\n'

    def read(self, text: str) -> None:
        file = self.folder / "hostile"
        file.write_bytes(text.encode("utf-8", "surrogatepass"))
        try:
            import_records(self.empty, file)
        except BadInput:
            import_records(self.used, file)
        else:
            assert self.empty.verify().problems == ()
            self.empty.close()
            self.empty = self._new()


@functools.cache
def archives() -> Archives:
    return Archives()


TARGETS = (
    Target(
        "written shorthand",
        lambda: hostile_text(shorthand_seeds()),
        refusing(read_shorthand_whole),
        0.25,
    ),
    Target(
        "examination document",
        lambda: hostile_json(document_seeds()),
        refusing(read_document),
        0.20,
    ),
    Target("cohort, a document a line", lambda: _lines_of_documents(), refusing(read_cohort), 0.10),
    Target("audiogram CSV", lambda: hostile_text([AUDIOGRAM]), refusing(read_audiogram), 0.15),
    Target("perimetry CSV", lambda: hostile_text([PERIMETRY]), refusing(read_perimetry), 0.10),
    Target(
        "details of a letter", lambda: hostile_text([DETAILS]), refusing(read_letter_details), 0.05
    ),
    Target("FHIR document", lambda: hostile_json(bundle_seeds()), refusing(read_fhir), 0.10),
    Target(
        "records file", lambda: archives().inputs(), refusing(lambda t: archives().read(t)), 0.03
    ),
    Target(
        "accepted examination, all that follows",
        lambda: full_examinations,
        refusing(conclude_and_write),
        0.007,
    ),
)


def _lines_of_documents() -> st.SearchStrategy[str]:
    short = [json.dumps(json.loads(text)) for text in document_seeds()[:6]]
    return st.lists(hostile_json(short), max_size=4).map("\n".join)
