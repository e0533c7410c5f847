"""What the templates show of an examination: parts, cards, cells and choices, in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from decussate.examination.catalogue import (
    GENERIC_ABNORMAL,
    Catalogue,
    Caution,
    Test,
    load_catalogue,
)
from decussate.examination.record import (
    COULD_NOT_BE_TESTED,
    NOT_TESTED,
    Finding,
    Story,
)
from decussate.records import Entry, TestSide
from decussate.sides import Side
from decussate.web.acuity_words import ACUITY_EXAMPLES, is_acuity, notated
from decussate.web.bedside import Part, load_paths
from decussate.web.held_back import HeldBack
from decussate.web.settings import Settings

__all__ = [
    "CardView",
    "CellView",
    "ChoiceView",
    "PartView",
    "card_view",
    "entry_words",
    "finding_words",
    "part_view",
    "response_words",
    "side_words",
    "sides_of",
    "story_words",
]

SIDE_WORDS: Mapping[str, str] = {"right": "patient’s right", "left": "patient’s left"}


@dataclass(frozen=True, slots=True)
class ChoiceView:
    """One button: a response to one test on one side."""

    code: str
    label: str
    detail: str
    spoken: str
    look: str
    pressed: bool
    number: int


@dataclass(frozen=True, slots=True)
class CellView:
    """One side of a test (or the whole of one without sides): what is recorded and what can be.

    `held` says what bars it, empty when nothing does; `asks` names the tests that could lift it.
    """

    key: str
    words: str
    heading: str
    state: str
    said: str
    held: str
    asks: tuple[tuple[str, str], ...]
    shown: tuple[ChoiceView, ...]
    scale: tuple[ChoiceView, ...]
    graded: bool
    more_label: str
    more_spoken: str
    measured: str
    reason: str
    old: bool


@dataclass(frozen=True, slots=True)
class CardView:
    """One test with its cells and the cautions that come before it."""

    test: Test
    kind: str
    cells: tuple[CellView, ...]
    cautions: tuple[Caution, ...]
    both: bool
    value_first: bool
    measure_label: str
    measure_mode: str


@dataclass(frozen=True, slots=True)
class PartView:
    """One part of the page. `done` of `total` counts sides of routine tests; `extra` others.

    `held` names the routine tests that are held back on every side not yet recorded.
    """

    key: str
    title: str
    routine: tuple[Test, ...]
    further: tuple[Test, ...]
    done: int
    total: int
    extra: int
    abnormal: int
    remaining: int
    glance: tuple[str, ...]
    sweep: str
    sweep_words: str
    held: str


def side_words(side: str | None) -> str:
    """Return a side in words that cannot be taken for the viewer's."""
    return SIDE_WORDS.get(side or "", "no side")


def finding_words(finding: Finding, catalogue: Catalogue | None = None) -> str:
    """Return a finding in words: ``Direct light reaction, patient’s right: sluggish``."""
    test = (catalogue or load_catalogue()).test(finding.test)
    side = f", {side_words(finding.side)}" if finding.side else ""
    return f"{test.name}{side}: {response_words(test, finding)}"


def response_words(test: Test, finding: Finding, settings: Settings | None = None) -> str:
    """Return what was found, without the test's name; an acuity in the notation of the settings."""
    if finding.response == NOT_TESTED:
        return "not tested"
    if finding.response == COULD_NOT_BE_TESTED:
        return f"could not be tested ({finding.reason})"
    words = ", ".join(
        filter(None, (_label(test, finding.response), _patients(test, finding.response)))
    )
    if finding.measurement is not None:
        value = finding.measurement.value
        shown = f"{value:g}" if isinstance(value, float) else notated(test, value, settings)
        unit = "" if isinstance(value, str) else finding.measurement.unit
        if unit.endswith("grade"):
            return f"{words}, {unit} {shown.replace('-', '−')}"
        words += f", {shown} {unit.removesuffix('1')}".rstrip()
    return words


def story_words(story: Story) -> str:
    """Return the story in one line, or say that nothing is recorded."""
    words = [
        f"{story.age:g} years" if story.age is not None else "",
        story.sex or "",
        f"onset {story.onset}" if story.onset else "",
        story.course or "",
        *(key.replace("_", " ") for key in story.context),
    ]
    return ", ".join(word for word in words if word) or "not recorded"


def entry_words(entry: Entry) -> str:
    """Return an entry of the history in words."""
    if entry.undoes is not None:
        return "Took back an entry"
    words: list[str] = []
    if len(entry.findings) == 1:
        words.append(finding_words(entry.findings[0]))
    elif entry.findings:
        ill = sum(is_abnormal(f) for f in entry.findings)
        words.append(f"{len(entry.findings)} findings, {ill or 'none'} abnormal")
    if entry.path is not None:
        path = load_paths().get(entry.path)
        words.append(f"Short path: {path.title}" if path else "The whole examination")
    if entry.story is not None:
        words.append(f"Story: {story_words(entry.story)}")
    catalogue = load_catalogue()
    for pairs, said in ((entry.known_old, "known for long"), (entry.not_old, "not known for long")):
        words += [
            f"{catalogue.test(test).name}{f', {side_words(side)}' if side else ''}: {said}"
            for test, side in pairs
        ]
    if entry.written is not None:
        edited = ", edited by hand" if entry.written.edited else ""
        words.append(f"{entry.written.document.capitalize()} kept{edited}")
    if entry.unread:
        words.append(f"{len(entry.unread)} not understood")
    if entry.settled:
        words.append("Dealt with: " + "; ".join(text.text for text in entry.settled))
    return ". ".join(words) or "Empty entry"


def part_view(part: Part, present: Mapping[TestSide, Finding], held_back: HeldBack) -> PartView:
    """Return a part of the page as it now stands.

    Parameters
    ----------
    part : Part
        The part.
    present : mapping of (str, Side or None) to Finding
        Findings that stand.
    held_back : HeldBack
        What bars a test.

    Returns
    -------
    PartView
        Counts of what is done; `remaining` counts routine tests not yet recorded that nothing bars.
    """
    routine, further = (
        [(test.id, side) for test in tests for side in sides_of(test)]
        for tests in (part.routine, part.further)
    )
    abnormal = [
        present[key] for key in routine + further if key in present and is_abnormal(present[key])
    ]
    still_open = {
        test.id: [side for side in sides_of(test) if (test.id, side) not in present]
        for test in part.routine
    }
    open_routine = [
        test
        for test in part.routine
        if any(not held_back(test, side) for side in still_open[test.id])
    ]
    held = [t for t in part.routine if still_open[t.id] and t not in open_routine]
    return PartView(
        key=part.key,
        title=part.title,
        routine=part.routine,
        further=part.further,
        done=sum(key in present for key in routine),
        total=len(routine),
        extra=sum(key in present for key in further),
        abnormal=len(abnormal),
        remaining=len(open_routine),
        glance=tuple(_glance(f) for f in abnormal),
        sweep=part.sweep,
        sweep_words=", ".join(test.name for test in open_routine),
        held=", ".join(test.name for test in held),
    )


def sides_of(test: Test) -> tuple[Side | None, ...]:
    """Return the sides a test is done on; the patient's right first, as on the page."""
    return (Side.RIGHT, Side.LEFT) if test.paired else (None,)


def is_abnormal(finding: Finding) -> bool:
    """Whether a finding that stands says something other than normal."""
    return finding.response not in ("normal", COULD_NOT_BE_TESTED, NOT_TESTED)


def card_view(
    test: Test,
    present: Mapping[TestSide, Finding],
    old: frozenset[TestSide],
    settings: Settings,
    held_back: HeldBack,
) -> CardView:
    """Return one test as a card.

    Parameters
    ----------
    test : Test
        The test.
    present : mapping of (str, Side or None) to Finding
        Findings that stand.
    old : frozenset of (str, Side or None)
        Findings set aside as long known.
    settings : Settings
        How this browser shows things.
    held_back : HeldBack
        What bars a test.

    Returns
    -------
    CardView
        One cell for each side.
    """
    measurement = test.measurement
    unit = "" if measurement is None or measurement.unit == "1" else f" ({measurement.unit})"
    example = ACUITY_EXAMPLES[settings.acuity] if is_acuity(test) else "N8"
    label = {
        "number": f"Measured{unit}",
        "fraction": "Right out of how many (such as 8/12)",
        "text": f"As written on the chart (such as {example})",
    }
    cautions = load_catalogue().cautions
    return CardView(
        test=test,
        kind="paired" if test.paired else "single",
        cells=tuple(
            _cell(test, side, present, old, settings, held_back) for side in sides_of(test)
        ),
        cautions=tuple(cautions[key] for key in test.cautions),
        both=test.paired
        and not any((test.id, s) in present or held_back(test, s) for s in sides_of(test)),
        value_first=_value_first(test),
        measure_label=label[measurement.kind] if measurement else "",
        measure_mode="decimal" if measurement and measurement.kind == "number" else "text",
    )


def _cell(
    test: Test,
    side: Side | None,
    present: Mapping[TestSide, Finding],
    known_old: frozenset[TestSide],
    settings: Settings,
    held_back: HeldBack,
) -> CellView:
    found, old = present.get((test.id, side)), (test.id, side) in known_old
    words = side_words(side) if side else test.name
    choices = _choices(test, side, found)
    if side is None and {"right", "left"} <= set(test.responses):
        order = ("right", "normal", "left")
        shown = tuple(next(c for c in choices if c.code == code) for code in order)
    elif len(choices) <= 2 or (len(choices) == 3 and choices[2].code == GENERIC_ABNORMAL):
        shown = choices[:2]
    else:
        shown = choices[:1]
    scale = tuple(choice for choice in choices if choice not in shown)
    if found is None:
        state, said = "untested", "not tested"
    elif found.response == COULD_NOT_BE_TESTED:
        state, said = "hindered", response_words(test, found, settings)
    else:
        state = "abnormal" if is_abnormal(found) else "normal"
        mark = "▲" if state == "abnormal" else "✓"
        said = f"{mark} {response_words(test, found, settings)}"
    measured = found.measurement.value if found and found.measurement else ""
    graded = len(scale) > 0 and len(shown) == 1
    more = "More" if not graded else "Value" if _value_first(test) else "Abnormal"
    return CellView(
        key=side.value if side else "whole",
        words=words,
        heading=side_words(side).replace("p", "P", 1) if side else "",
        state=state,
        said=said + (", known for long" if old else ""),
        held=held_back(test, side),
        asks=held_back.asks(test, side),
        shown=shown,
        scale=scale,
        graded=graded,
        more_label=f"{more}\u00a0…" if graded else more,
        more_spoken=f"{more}{', with its grades' if graded else ''}: {test.name}"
        + (f", {words}" if side else ""),
        measured=f"{measured:g}" if isinstance(measured, float) else measured,
        reason=(found.reason or "") if found else "",
        old=old,
    )


def _value_first(test: Test) -> bool:
    """Whether a test is usually answered with a value (an acuity, so many out of so many)."""
    return test.measurement is not None and test.measurement.kind != "number"


def _choices(test: Test, side: Side | None, found: Finding | None) -> tuple[ChoiceView, ...]:
    where = f", {side_words(side)}" if side else ""
    codes = list(test.responses)
    if test.sign is not None and len(codes) != 2:
        codes.append(GENERIC_ABNORMAL)
    return tuple(
        ChoiceView(
            code=code,
            label=_button(test, code)[0],
            detail=_button(test, code)[1],
            spoken=f"{', '.join(filter(None, _button(test, code)))}: {test.name}{where}",
            look="well" if code == "normal" else "ill",
            pressed=found is not None and found.response == code,
            number=number,
        )
        for number, code in enumerate(codes, start=1)
    )


def _button(test: Test, code: str) -> tuple[str, str]:
    """Return the two lines of a button: the response, and a detail that may be empty."""
    label = _label(test, code)
    if code == "normal" and test.sign is not None:
        detail = label.removeprefix("normal").strip()
        return "Normal", detail
    return label[:1].upper() + label[1:], _patients(test, code)


def _patients(test: Test, code: str) -> str:
    """Return whose right or left a response names, for a test without sides of its own."""
    return "" if test.paired else SIDE_WORDS.get(code, "")


def _label(test: Test, code: str) -> str:
    if code == GENERIC_ABNORMAL:
        return "abnormal, not graded"
    # An imported or older entry may hold a response that the catalogue no longer has.
    return test.responses[code].label if code in test.responses else code.replace("_", " ")


def _glance(finding: Finding) -> str:
    test = load_catalogue().test(finding.test)
    side = f" {finding.side.value}" if finding.side else ""
    return f"{test.name}{side}"
