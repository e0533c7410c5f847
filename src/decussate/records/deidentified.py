"""Examinations without identity, for research and teaching: what is left out, and what remains.

Nothing is searched for names: everything a person may have typed is left out, and only what the
catalogue of tests itself could say is written. Dates are moved by a random span of each patient's
own, which is kept nowhere, so that intervals stay and dates do not.

References
----------
45 CFR 164.514(b)(2), the "Safe Harbor" method: the eighteen identifiers left out; dates, and ages
over 89, in (b)(2)(i)(C); 45 CFR 164.514(c), a code for a person not derived from the person.
"""

from __future__ import annotations

import secrets
from collections import Counter
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import groupby
from pathlib import Path
from uuid import uuid4

from decussate.csv_cells import Cell, csv_line
from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.examination.checking import check_findings
from decussate.examination.document import COULD_NOT_BE_TESTED
from decussate.examination.record import Examination, Finding, Story
from decussate.records.attachments import attachments_of
from decussate.records.line_files import writing_lines
from decussate.records.store import Store

__all__ = ["OLDEST", "Report", "export_without_identity", "without_identity"]

OLDEST = 89
"""Greatest age in years written as it is; older ones are written as 90, which stands for all."""

LONGEST_SHIFT_S = 20 * 365 * 24 * 3600
"""Dates are moved back by a random span up to this."""

COLUMNS = (
    "patient", "examination", "invented", "age", "sex", "onset", "course", "context", "at",
    "test", "side", "response", "value", "unit", "known_old",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Report:
    """What an export without identity holds and what was left out of it.

    Parameters
    ----------
    patients, examinations, findings : int
        How many are in the file.
    left_out : mapping of str to int
        How many of each were left out or changed.
    """

    patients: int
    examinations: int
    findings: int
    left_out: dict[str, int]

    @property
    def text(self) -> str:
        """The report in plain words."""
        lines = [
            f"{self.patients} patients, {self.examinations} examinations, "
            f"{self.findings} findings.",
            "",
            "Left out or changed:",
            *(f"- {what}: {count}" for what, count in sorted(self.left_out.items())),
            "- every date: moved by a random span of each patient’s own, which was kept nowhere",
            "- identities: new ones at random; patients are numbered in a random order",
            "",
            "What remains: tests, sides, responses and measured values of the catalogue, what was "
            "long known, age up to 89 (90 stands for all above), sex, onset, course, context, and "
            "the intervals between findings and between examinations of one patient.",
            "",
            "This leaves out the identifiers of 45 CFR 164.514(b)(2). It does not make a person "
            "impossible to find: a rare combination of findings, age and intervals can. Whether "
            "moved dates are enough, and who may have the file, is for those who answer for the "
            "records to decide.",
        ]
        return "\n".join(lines) + "\n"


def export_without_identity(store: Store, file: Path) -> Report:
    """Write every examination without identity to a new file, and a report beside it.

    Parameters
    ----------
    store : Store
        What to export; that it was is put into its audit trail first.
    file : Path
        A new file: a table with a finding a row if its name ends in ``.csv``, else an examination a
        line as `decussate.cohort` reads them. Not encrypted. The report is beside it, with
        ``.report.txt`` at its end.

    Returns
    -------
    Report

    Raises
    ------
    BadInput
        If the file or its report is there already or cannot be written.
    """
    beside = file.with_name(f"{file.name}.report.txt")
    for path in (file, beside):
        if path.exists():
            raise BadInput("file", str(path), "a new name", hint="Nothing was written.")
    store.record_act("exported", f"{file.name}, without identity")
    counts: Counter[str] = Counter()
    kept = list(without_identity(store, counts))
    part = file.with_name(f"{file.name}.{uuid4().hex}.part")
    try:
        with writing_lines(part, None) as write:
            for line in _table(kept) if file.suffix.lower() == ".csv" else _documents(kept):
                write(line.encode("utf-8"))
        patients = len({number for number, _ in kept})
        findings = sum(len(examination.findings) for _, examination in kept)
        report = Report(patients, len(kept), findings, dict(counts))
        beside.write_text(report.text, encoding="utf-8")
        part.rename(file)
    except OSError as problem:
        raise BadInput(
            "file", str(file), "a place that can be written", hint=f"{problem.strerror}."
        ) from problem
    finally:
        with suppress(OSError):
            part.unlink()  # it has its name by now, or is not whole
    return report


def without_identity(store: Store, counts: Counter[str]) -> Iterator[tuple[int, Examination]]:
    """Give every examination without identity, patient by patient in a random order.

    Parameters
    ----------
    store : Store
        Where they are kept.
    counts : Counter
        Counts what is left out.

    Yields
    ------
    int
        Number of the patient.
    Examination
        As it now stands; earlier findings are kept with it.
    """
    chance = secrets.SystemRandom()
    heads = sorted(store.examinations(), key=lambda head: (head.patient, head.opened_at))
    patients = [list(group) for _, group in groupby(heads, key=lambda head: head.patient)]
    chance.shuffle(patients)
    for number, visits in enumerate(patients, start=1):
        shift = timedelta(seconds=chance.randrange(1, LONGEST_SHIFT_S))
        counts["names of patients"] += 1
        for visit, head in enumerate(visits, start=1):
            counts["attached files"] += len(attachments_of(store, head.id))
            full = store.examination(head.id)
            findings = [_finding(found, shift, counts) for found in full.findings]
            kept = tuple(found for found in findings if found is not None)
            tests = load_catalogue().tests
            counts["texts that were not understood"] += len(full.unread)
            yield (
                number,
                Examination(
                    id=str(uuid4()),
                    label=f"Patient {number}, examination {visit} of {len(visits)}",
                    invented=full.invented,
                    story=_story(full.story, counts),
                    findings=kept,
                    known_old=tuple(pair for pair in full.known_old if pair[0] in tests),
                ),
            )


def _story(story: Story, counts: Counter[str]) -> Story:
    if story.age is None or story.age <= OLDEST:
        return story
    counts["ages above 89, written as 90"] += 1
    return story.model_copy(update={"age": OLDEST + 1.0})


def _finding(found: Finding, shift: timedelta, counts: Counter[str]) -> Finding | None:
    """Return a finding with nothing in it that was typed; None if the catalogue has no such one."""
    for name in ("comment", "reason", "technique", "by"):
        counts[f"{name} of a finding"] += getattr(found, name) is not None
    bare = Finding(
        test=found.test,
        side=found.side,
        response=found.response,
        reason="left out" if found.response == COULD_NOT_BE_TESTED else None,
        at=_moved(found.at, shift, counts),
    )
    if not _is_of_the_catalogue(bare):
        counts["findings of no test of this catalogue"] += 1
        return None
    if found.measurement is None:
        return bare
    measured = bare.model_copy(update={"measurement": found.measurement})
    if _is_of_the_catalogue(measured):
        return measured
    counts["measured values not in the form of the test, or at odds with the response"] += 1
    return bare


def _moved(at: datetime | None, shift: timedelta, counts: Counter[str]) -> datetime | None:
    try:
        return None if at is None else at.astimezone(UTC) - shift
    except OverflowError:
        counts["times before the calendar begins"] += 1
        return None


def _is_of_the_catalogue(found: Finding) -> bool:
    return not check_findings(Examination(id="one", findings=(found,)), load_catalogue())


def _documents(kept: list[tuple[int, Examination]]) -> Iterator[str]:
    for _, examination in kept:
        yield examination.model_dump_json(exclude_none=True) + "\n"


def _table(kept: list[tuple[int, Examination]]) -> Iterator[str]:
    yield csv_line(COLUMNS)
    for number, examination in kept:
        story = examination.story
        old = set(examination.known_old)
        for found in examination.findings:
            measured = found.measurement
            cells: dict[str, Cell] = {
                "patient": number,
                "examination": examination.id,
                "invented": _yes(examination.invented),
                "age": story.age,
                "sex": story.sex,
                "onset": story.onset,
                "course": story.course,
                "context": " ".join(story.context),
                "at": found.at.isoformat() if found.at else None,
                "test": found.test,
                "side": found.side.value if found.side else None,
                "response": found.response,
                "value": measured.value if measured else None,
                "unit": measured.unit if measured else None,
                "known_old": _yes((found.test, found.side) in old),
            }
            yield csv_line(cells[name] for name in COLUMNS)


def _yes(true: bool) -> str:
    return "yes" if true else "no"
