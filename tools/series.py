"""Published series against the model: how often a sign is found, said and predicted.

``python tools/series.py`` prints the table of docs/calibration.md, ``--write`` puts it there and
``--check`` fails when the page is stale; ``--fit`` proposes numbers for the data files and
``--leave-one-out`` judges the procedure on series that it did not see (both in series_fit.py).
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from decussate.anatomy import Sign
from decussate.bibliography import check_source
from decussate.data_rows import Row, read_rows
from decussate.errors import BadInput
from decussate.examination.catalogue import load_catalogue
from decussate.localisation import Model, load_model
from decussate.localisation.model import SignKey
from decussate.localisation.observation import response_table
from decussate.sides import Side

ROOT = Path(__file__).resolve().parents[1]
SERIES = ROOT / "tests" / "published" / "series.yaml"
PAGE = ROOT / "docs" / "calibration.md"
START, END = "<!-- table: made by tools/series.py --write -->", "<!-- end of table -->"

MARGIN = 10.0
"""Points by which a published interval is widened: series differ in whom they took and how."""
LEAST = 20
"""Patients a series needs to be counted."""

Array = NDArray[np.float64]
Seen = Mapping[SignKey, Array]
"""Probability of each value of a sign in each column, as it is or as a test would report it."""


# ---------------------------------------------------------------- events
@dataclass(frozen=True, slots=True)
class Leaf:
    """One sign in one of some states."""

    sign: SignKey
    states: frozenset[str]


@dataclass(frozen=True, slots=True)
class Join:
    """At least `least` of the parts hold (1: any of them; all: as many as there are)."""

    least: int
    parts: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class Not:
    """The part does not hold."""

    part: Event


Event = Leaf | Join | Not | bool


def read_event(node: object, names: Mapping[str, Any], model: Model, where: str) -> Event:
    """Read an event: ``sign.side=state|state``, any, all, two_of, not, or the name of another."""
    match node:
        case str() if node in names:
            return read_event(names[node], names, model, where)
        case str():
            text, _, states = node.partition("=")
            name, _, side = text.partition(".")
            if name not in model.atlas.signs or side not in ("", "right", "left"):
                raise BadInput(
                    "sign", node, "sign.side=state, or the name of an event", where=where
                )
            sign = model.atlas.signs[name]
            wanted = frozenset(states.split("|")) if states else {*sign.states} - {sign.neutral}
            if sign.paired == (side == "") or not wanted <= {*sign.states}:
                raise BadInput("sign", node, f"its side and {sign.states}", where=where)
            return Leaf((name, Side(side) if side else None), frozenset(wanted))
        case {"not": part}:
            return Not(read_event(part, names, model, where))
        case {"any": [*parts]}:
            return Join(1, tuple(read_event(part, names, model, where) for part in parts))
        case {"two_of": [*parts]}:
            return Join(2, tuple(read_event(part, names, model, where) for part in parts))
        case {"all": [*parts]}:
            return Join(len(parts), tuple(read_event(p, names, model, where) for p in parts))
    raise BadInput("event", node, "a sign, any, all, two_of or not", where=where)


def signs_of(event: Event) -> list[SignKey]:
    """Every sign of an event, as often as it is named."""
    match event:
        case Leaf(sign, _):
            return [sign]
        case Not(part):
            return signs_of(part)
        case Join(_, parts):
            return [sign for part in parts for sign in signs_of(part)]
    return []


def given_state(event: Event, sign: SignKey, state: str) -> Event:
    """Return the event once one sign is known to be in a state."""
    match event:
        case Leaf(name, states):
            return state in states if name == sign else event
        case Not(part):
            inner = given_state(part, sign, state)
            return not inner if isinstance(inner, bool) else Not(inner)
        case Join(least, parts):
            known = [given_state(part, sign, state) for part in parts]
            least -= sum(part is True for part in known)
            open_parts = tuple(part for part in known if not isinstance(part, bool))
            if least <= 0 or least > len(open_parts):
                return least <= 0
            return Join(least, open_parts)
    return event


def chance_of(event: Event, seen: Seen, states: Mapping[str, tuple[str, ...]]) -> Array:
    """Probability of an event in each column, exact: signs are independent given a lesion.

    A sign named more than once is summed over its states first; then the parts of a join are
    independent and the number that hold follows by adding one part at a time.
    """
    named = Counter(signs_of(event)).most_common(1)
    if named and named[0][1] > 1:
        sign = named[0][0]
        return sum(
            (
                seen[sign][:, i] * chance_of(given_state(event, sign, state), seen, states)
                for i, state in enumerate(states[sign[0]])
            ),
            start=np.zeros(len(seen[sign])),
        )
    columns = len(next(iter(seen.values())))
    match event:
        case Leaf(sign, wanted):
            at = [i for i, state in enumerate(states[sign[0]]) if state in wanted]
            return np.asarray(seen[sign][:, at].sum(axis=1))
        case Not(part):
            return 1 - chance_of(part, seen, states)
        case Join(least, parts):
            count = np.zeros((columns, len(parts) + 1))
            count[:, 0] = 1
            for part in parts:
                here = chance_of(part, seen, states)[:, None]
                count[:, 1:] = count[:, 1:] * (1 - here) + count[:, :-1] * here
                count[:, :1] *= 1 - here
            return np.asarray(count[:, least:].sum(axis=1))
    return np.full(columns, float(event))


# ---------------------------------------------------------------- entries
@dataclass(frozen=True, slots=True)
class Entry:
    """One row of a published series, read in the terms of the model.

    Attributes
    ----------
    id, site, sign : str
        Key in the project's collection; site and sign in the words of the series.
    weights : Mapping of str to float
        Places the row speaks of (right side) and their relative weights.
    by_incidence : bool
        Whether the weights follow from the atlas, or are given.
    event, given : Event
        What is counted, and among whom (True: everybody).
    by_test : bool
        Whether the event is what an examination reports, or the state of the patient itself.
    n : int or None
        Patients.
    percent : float
        Published frequency.
    interval : (float, float) or None
        Wilson 95 percent interval, or the range that a review gives.
    source, mark, reading : str
        Bibliography key; what is doubtful about it; how the row was read.
    aside : str
        Why it is shown but not counted; empty if it counts.
    miss : str
        Why the model is known to differ; empty if it does not.
    """

    id: str
    site: str
    sign: str
    weights: Mapping[str, float]
    by_incidence: bool
    event: Event
    given: Event
    by_test: bool
    n: int | None
    percent: float
    interval: tuple[float, float] | None
    source: str
    mark: str
    reading: str
    aside: str
    miss: str

    @property
    def counted(self) -> bool:
        """Whether it counts towards the target."""
        return not self.aside and self.n is not None and self.n >= LEAST

    @property
    def widened(self) -> tuple[float, float]:
        """The interval within which the prediction should lie, in percent."""
        low, high = self.interval or (self.percent, self.percent)
        return low - MARGIN, high + MARGIN


def _weights(mixture: Any, model: Model, where: str) -> Mapping[str, float]:  # noqa: ANN401
    """Weights of a mixture: as given, or incidence times the share of the causes named."""
    places = mixture["places"]
    causes = mixture.get("causes")
    for name in places:
        if name not in model.atlas.places:
            raise BadInput("places", name, "an id of the atlas", where=where)
    if isinstance(places, Mapping):
        return {name: float(weight) for name, weight in places.items()}
    atlas = model.atlas.places
    shares = {
        name: sum(atlas[name].causes.get(cause, 0.0) for cause in causes) if causes else 1.0
        for name in places
    }
    return {name: atlas[name].prior * share for name, share in shares.items() if share}


def read_series(model: Model) -> tuple[Entry, ...]:
    """Read ``series.yaml`` against a model; a wrong name is refused with its line."""
    entries = []
    mixtures: dict[str, Any] = {}
    names: dict[str, Any] = {}
    for row in read_rows(SERIES):
        if "places" in row:
            row.only("id", "places", "causes")
            mixtures[row["id"]] = row
        elif "is" in row:
            row.only("id", "is")
            names[row["id"]] = row["is"]
        elif "event" in row:
            entries.append(_entry(row, mixtures, names, model))
        elif "was" in row or "hold" in row:
            row.only("id", "was", "hold")
        else:
            row.only("id", "site", "sign", "not_expressible")
    return tuple(entries)


def _entry(row: Row, mixtures: Mapping[str, Any], names: Mapping[str, Any], model: Model) -> Entry:
    row.only(
        "id", "site", "sign", "of", "event", "given", "seen", "n", "percent", "interval", "source",
        "mark", "reading", "aside", "miss",
    )  # fmt: skip
    interval = row.get("interval")
    return Entry(
        id=row["id"],
        site=row["site"],
        sign=row["sign"],
        weights=_weights(mixtures[row["of"]], model, row.where),
        by_incidence=not isinstance(mixtures[row["of"]]["places"], Mapping),
        event=read_event(row["event"], names, model, row.where),
        given=read_event(row["given"], names, model, row.where) if "given" in row else True,
        by_test=row.one_of("seen", ("test", "state")) == "test",
        n=row.get("n"),
        percent=row.number("percent", 0, 100),
        interval=(float(interval[0]), float(interval[1])) if interval else None,
        source=check_source(row["source"], row.where),
        mark=row.get("mark", ""),
        reading=row["reading"],
        aside=row.get("aside", ""),
        miss=row.get("miss", ""),
    )


# ---------------------------------------------------------------- prediction
@cache
def reported(sign: str) -> Array | None:
    """State reported by the first test of a sign given its grade, or None if no test shows it."""
    of = load_model().atlas.signs[sign]
    for test in load_catalogue():
        if test.sign == sign and test.accuracy is not None:
            table = response_table(of, test)
            result = np.zeros((len(of.grades), len(of.states)))
            for code, response in test.responses.items():
                if response.state is not None:
                    result[:, of.states.index(response.state)] += table[code]
            return result
    return None


def in_states(of: Sign) -> Array:
    """Grades (rows) to the states (columns) they belong to."""
    return np.array([[float(own == state) for state in of.states] for own in of.grades.values()])


def columns_of(model: Model, place: str) -> NDArray[np.intp]:
    """Columns of a place, of the right side if it has sides."""
    side = Side.RIGHT if model.atlas.places[place].paired else None
    index = next(
        i for i, site in enumerate(model.lesions.sites) if (site.place, site.side) == (place, side)
    )
    return np.flatnonzero(model.lesions.site_of == index)


def event_columns(entry: Entry, model: Model, columns: NDArray[np.intp]) -> tuple[Array, Array]:
    """Probability in each column of (event and given), and of given."""
    both = Join(2, (entry.event, entry.given))
    signs = sorted({*signs_of(both)}, key=str)
    levels = np.stack([model.signs[sign].level_of[columns] for sign in signs], axis=1)
    # Many lesions agree in every sign of the event; each kind is computed once.
    kinds, kind_of = np.unique(levels, axis=0, return_inverse=True)
    seen = {}
    for i, sign in enumerate(signs):
        tested = reported(sign[0]) if entry.by_test else None
        shown = in_states(model.atlas.signs[sign[0]]) if tested is None else tested
        seen[sign] = model.signs[sign].probability[kinds[:, i]] @ shown
    states = {name: model.atlas.signs[name].states for name, _ in seen}
    of = kind_of.reshape(-1)
    return (
        chance_of(both, seen, states)[of],
        chance_of(Join(1, (entry.given,)), seen, states)[of],
    )


def predict(entry: Entry, model: Model) -> float:
    """Predicted frequency in percent."""
    top = bottom = 0.0
    for place, weight in entry.weights.items():
        columns = columns_of(model, place)
        both, given = event_columns(entry, model, columns)
        pattern = model.lesions.weight[columns]
        top += weight * float(pattern @ both)
        bottom += weight * float(pattern @ given)
    return 100 * top / bottom


@dataclass(frozen=True, slots=True)
class Result:
    """A published frequency and its prediction."""

    entry: Entry
    predicted: float

    @property
    def inside(self) -> bool:
        """Whether the prediction lies in the widened interval."""
        low, high = self.entry.widened
        return low <= self.predicted <= high


def results(model: Model) -> list[Result]:
    """Every expressible row with its prediction."""
    return [Result(entry, predict(entry, model)) for entry in read_series(model)]


def share_inside(found: Sequence[Result]) -> tuple[int, int]:
    """How many counted rows lie inside, and how many are counted."""
    counted = [result for result in found if result.entry.counted]
    return sum(result.inside for result in counted), len(counted)


def table(found: Sequence[Result]) -> str:
    """Return the table of the page, in Markdown."""
    inside, counted = share_inside(found)
    lines = [
        f"{inside} of {counted} counted rows inside ({100 * inside / counted:.0f} percent).",
        "",
        "| row | site | sign | seen by | n | published % | predicted % | inside | remarks |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for result in found:
        entry = result.entry
        interval = "" if entry.interval is None else " [{:g} to {:g}]".format(*entry.interval)
        verdict = "yes" if result.inside else "**no**"
        if not entry.counted:
            verdict = f"({'yes' if result.inside else 'no'})"
        why = [entry.miss] if entry.miss and not result.inside else []
        notes = "; ".join(text for text in (entry.aside, *why, entry.mark) if text)
        lines.append(
            f"| {entry.id} | {entry.site} | {entry.sign} | {'test' if entry.by_test else 'state'} "
            f"| {entry.n or ''} | {entry.percent:g}{interval} | {result.predicted:.0f} "
            f"| {verdict} | {notes} |"
        )
    return "\n".join(lines)


def page_with(text: str) -> str:
    """docs/calibration.md with the table renewed."""
    before, _, rest = PAGE.read_text(encoding="utf-8").partition(START)
    return f"{before}{START}\n{text}\n{END}{rest.partition(END)[2]}"


def main(arguments: Sequence[str]) -> int:
    """Print, write or check the table; or fit."""
    if {"--fit", "--leave-one-out"} & {*arguments}:
        from series_fit import fit_command

        return fit_command("--leave-one-out" in arguments)
    found = results(load_model())
    text = table(found)
    if "--write" in arguments:
        PAGE.write_text(page_with(text), encoding="utf-8")
    elif "--check" in arguments:
        if page_with(text) != PAGE.read_text(encoding="utf-8"):
            print(f"{PAGE.name} is stale: run tools/series.py --write")
            return 1
    else:
        print(text)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
