"""Simulated double lesions: how often both places are found, and how often two are called wrongly.

Usage: ``.venv/bin/python benchmarks/pairs_simulation.py [--patients 200] [--seed 1]``.

Two different sites are drawn by their incidence among places (no processes), a pattern of each by
its weight. Their damage is combined piece by piece (what is left of a piece is what each lesion
leaves of it, multiplied) and goes through the forward model as one lesion. A state of every sign is
drawn, and a response to one test of every sign (the first of the catalogue), by the accuracy
stated for it.

The signs *identify* a pair when, in the most probable states of the full examination,

1. each lesion makes at least two signs abnormal that the other leaves normal, and each of these
   has the same state under both lesions together as under that lesion alone; and
2. no lesion of any other site, in any pattern, makes the same signs abnormal in the same states as
   either of the two.

This was set down before the first run. After it, two things were added that tell why pairs are
missed: the *margin* of a pair (the least number of signs by which any lesion of any other site
differs from either of the two), and the same patients without errors (every sign in its most
probable state, every test with its most probable response).

Few pairs drawn at random pass, so pairs are drawn until as many pass as asked for; the first pairs
drawn, whether they pass or not, are reported besides. Found means that one of the first three pairs
is the true one, both places on the right sides.
"""

from __future__ import annotations

import argparse
import math
import time
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.stats import binomtest

from decussate.anatomy import Piece, Sign
from decussate.examination.catalogue import Test, load_catalogue
from decussate.examination.record import ABNORMAL, Examination, Finding
from decussate.localisation import load_model, two_lesions
from decussate.localisation.forward import Conduction, sign_level, sign_strengths
from decussate.localisation.model import LEVEL_DIGITS, SignKey
from decussate.localisation.observation import response_table
from decussate.localisation.states import state_probabilities

Damage = Mapping[Piece, float]
FOUND_WITHIN = 3


@dataclass(frozen=True)
class Lesion:
    """One column of the model: its site and what it takes."""

    site: int
    column: int
    damage: Damage


@dataclass(frozen=True)
class Outcome:
    """What the localisation made of a patient with known lesions.

    `rank` is the position, from 1, of the true pair among the first three pairs; None if it is not
    there. `needed` tells whether two lesions were called.
    """

    lesions: tuple[Lesion, ...]
    rank: int | None
    needed: bool
    said: tuple[str, ...]


@dataclass(frozen=True)
class Whole:
    """Damage as a single column, in the form `Conduction` takes."""

    columns: int
    damage: Mapping[Piece, tuple[np.ndarray, np.ndarray]]


@cache
def battery() -> Mapping[SignKey, Test]:
    """One test for every sign that a test reveals: the first of the catalogue."""
    tests: dict[SignKey, Test] = {}
    for test in load_catalogue():
        if test.sign and test.accuracy:
            for key in load_model().signs:
                if key[0] == test.sign and (key[1] is not None) == (test.sides == "each"):
                    tests.setdefault(key, test)
    return tests


def combined(lesions: tuple[Lesion, ...]) -> Damage:
    """What is left of each piece is what each lesion leaves, multiplied."""
    left: dict[Piece, float] = defaultdict(lambda: 1.0)
    for lesion in lesions:
        for piece, amount in lesion.damage.items():
            left[piece] *= 1 - amount
    return {piece: 1 - rest for piece, rest in left.items()}


def states_under(damage: Damage) -> dict[SignKey, np.ndarray]:
    """The probability of each state (graded ones by grade) of each sign of the battery."""
    columns = {piece: (np.array([0]), np.array([amount])) for piece, amount in damage.items()}
    atlas = load_model().atlas
    conduction = Conduction(atlas, Whole(1, columns))
    found = {}
    for key in battery():
        sign = atlas.signs[key[0]]
        compute = sign_level if sign.scale is not None else sign_strengths
        values = np.atleast_1d(np.round(compute(sign, key[1], conduction), LEVEL_DIGITS))
        found[key] = state_probabilities(sign, values)[0]
    return found


def abnormal_states(states: dict[SignKey, np.ndarray]) -> dict[SignKey, str]:
    """The signs whose most probable state is abnormal, with that state."""
    most = {}
    for key, probability in states.items():
        sign = load_model().atlas.signs[key[0]]
        odds = dict.fromkeys(sign.states, 0.0)
        for state, chance in zip(sign.grades.values(), probability, strict=True):
            odds[state] += float(chance)
        most[key] = max(odds, key=odds.__getitem__)
    return {key: state for key, state in most.items() if state != _neutral(key)}


def _neutral(key: SignKey) -> str:
    sign: Sign = load_model().atlas.signs[key[0]]
    return sign.neutral


@cache
def pictures() -> np.ndarray:
    """The most probable state of each sign of the battery under each lesion of the model."""
    model = load_model()
    tables = [model.signs[key] for key in battery()]
    rows = [table.probability.argmax(axis=1)[table.level_of] for table in tables]
    return np.stack(rows, axis=1).astype(np.uint8)


def margin(lesions: tuple[Lesion, ...]) -> int:
    """The least number of signs by which a lesion of any other site differs from one of these."""
    site_of = load_model().lesions.site_of
    differ = [
        (pictures()[site_of != lesion.site] != pictures()[lesion.column]).sum(axis=1).min()
        for lesion in lesions
    ]
    return int(min(differ))


@cache
def sites_by_picture() -> Mapping[bytes, frozenset[int]]:
    """Every site that can make a given set of abnormal states, in any pattern."""
    model = load_model()
    sites: dict[bytes, set[int]] = defaultdict(set)
    for column, picture in enumerate(pictures()):
        sites[picture.tobytes()].add(int(model.lesions.site_of[column]))
    return {picture: frozenset(found) for picture, found in sites.items()}


def picture_of(column: int) -> bytes:
    """The most probable states of the battery under one lesion of the model."""
    return pictures()[column].tobytes()


def identifies(lesions: tuple[Lesion, ...]) -> bool:
    """Whether the signs of two lesions identify them (see the head of this file)."""
    together = abnormal_states(states_under(combined(lesions)))
    each = [abnormal_states(states_under(lesion.damage)) for lesion in lesions]
    for mine, others in (each, each[::-1]):
        own = [key for key, s in mine.items() if key not in others and together.get(key) == s]
        if len(own) < 2:
            return False
    return all(sites_by_picture()[picture_of(lesion.column)] == {lesion.site} for lesion in lesions)


def draw_lesion(chance: np.random.Generator, taken: tuple[Lesion, ...] = ()) -> Lesion:
    """A site by incidence among places, and a pattern of it by weight."""
    model = load_model()
    prior = np.zeros(len(model.lesions.sites))
    for index, site in enumerate(model.lesions.sites):
        place = model.atlas.places[site.place]
        if place.kind == "place" and index not in {lesion.site for lesion in taken}:
            prior[index] = place.prior / (2 if place.paired else 1)
    site = int(chance.choice(len(prior), p=prior / prior.sum()))
    columns = np.flatnonzero(model.lesions.site_of == site)
    weight = model.lesions.weight[columns]
    column = int(chance.choice(columns, p=weight / weight.sum()))
    damage = {
        piece: float(amount[where == column][0])
        for piece, (where, amount) in model.lesions.damage.items()
        if (where == column).any()
    }
    return Lesion(site, column, damage)


def examine(chance: np.random.Generator | None, lesions: tuple[Lesion, ...]) -> Examination:
    """A full examination with the tests' errors; without any if there is no chance."""
    atlas = load_model().atlas
    findings = []
    for key, probability in states_under(combined(lesions)).items():
        test = battery()[key]
        state = picked(chance, probability)
        table = response_table(atlas.signs[key[0]], test)
        codes = [code for code in table if code != ABNORMAL]
        code = codes[picked(chance, np.array([table[code][state] for code in codes]))]
        findings.append(Finding(test=test.id, side=key[1], response=code))
    return Examination(id="simulated", invented=True, findings=tuple(findings))


def picked(chance: np.random.Generator | None, odds: np.ndarray) -> int:
    """Draw by odds; without chance, take the most probable."""
    if chance is None:
        return int(odds.argmax())
    return int(chance.choice(len(odds), p=odds / odds.sum()))


def draw(chance: np.random.Generator, count: int) -> tuple[Lesion, ...]:
    """Draw one lesion, or two of different sites."""
    lesions: tuple[Lesion, ...] = ()
    while len(lesions) < count:
        lesions = (*lesions, draw_lesion(chance, lesions))
    return lesions


def outcome(chance: np.random.Generator | None, lesions: tuple[Lesion, ...]) -> Outcome:
    """Examine the patient, and see what is concluded."""
    sites = load_model().lesions.sites
    true = {(sites[lesion.site].place, sites[lesion.site].side) for lesion in lesions}
    answer = two_lesions(examine(chance, lesions), most=FOUND_WITHIN)
    pairs = [set(zip(pair.places, pair.sides, strict=True)) for pair in answer.pairs]
    rank = pairs.index(true) + 1 if true in pairs else None
    return Outcome(lesions, rank, answer.needed, tuple(" + ".join(p.names) for p in answer.pairs))


def interval(hits: int, of: int) -> tuple[float, float]:
    """Wilson's 95 percent interval of a proportion."""
    if not of:
        return 0.0, 1.0
    found = binomtest(hits, of).proportion_ci(0.95, method="wilson")
    return float(found.low), float(found.high)


def line(name: str, hits: int, of: int) -> str:
    low, high = interval(hits, of)
    share = 100 * hits / of if of else math.nan
    return f"{name:<58} {hits:>4} of {of:>4}  {share:5.1f} %  ({100 * low:.1f} to {100 * high:.1f})"


def report(name: str, outcomes: list[Outcome]) -> None:
    count = len(outcomes)
    print(
        line(
            f"{name}: true pair in the first three",
            sum(o.rank is not None for o in outcomes),
            count,
        )
    )
    print(line(f"{name}: true pair first", sum(o.rank == 1 for o in outcomes), count))
    print(line(f"{name}: two called needed", sum(o.needed for o in outcomes), count))


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--patients", type=int, default=200)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--missed", action="store_true", help="Name every pair that was missed.")
    asked = options.parse_args()
    chance = np.random.default_rng(asked.seed)
    start = time.perf_counter()
    drawn, clear = [], []
    while len(clear) < asked.patients:
        drawn.append(draw(chance, 2))
        if identifies(drawn[-1]):
            clear.append(drawn[-1])
    print(f"seed {asked.seed}, {len(battery())} tests a patient")
    print(line("signs identify the pair", len(clear), len(drawn)))
    found = [outcome(chance, lesions) for lesions in clear]
    report("identified", found)
    for low, high in ((1, 1), (2, 3), (4, 999)):
        some = [one for one in found if low <= margin(one.lesions) <= high]
        hits = sum(one.rank is not None for one in some)
        name = f"{low} or more" if high == 999 else f"{low} to {high}" if high > low else str(low)
        print(line(f"  margin {name}: true pair in the first three", hits, len(some)))
    report("identified, no errors", [outcome(None, lesions) for lesions in clear])
    report("any", [outcome(chance, lesions) for lesions in drawn[: asked.patients]])
    singles = [outcome(chance, draw(chance, 1)) for _ in range(asked.patients)]
    print(line("single lesions called two", sum(one.needed for one in singles), len(singles)))
    print(f"{time.perf_counter() - start:.0f} s", flush=True)
    if asked.missed:
        sites = load_model().lesions.sites
        for one in found:
            if one.rank is None:
                true = [f"{sites[x.site].side or ''} {sites[x.site].place}" for x in one.lesions]
                print("missed:", " + ".join(true), "| said:", "; ".join(one.said))


if __name__ == "__main__":
    main()
