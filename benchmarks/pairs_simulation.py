"""Simulated double lesions: how often both places are found, and how often two are called wrongly.

Usage: ``.venv/bin/python benchmarks/pairs_simulation.py [--patients 200] [--seed 1]``.

Two different sites are drawn by their incidence among places (no processes), a pattern of each by
its weight. Their damage is combined piece by piece (what is left of a piece is what each lesion
leaves of it, multiplied) and goes through the forward model as one lesion. A state of every sign is
drawn, and a response to one test of every sign (the first of the catalogue), by the accuracy
stated for it.

The signs *identify* a pair by a measure that looks at the model alone, never at the answers. Let P
be the distribution of the responses of the full examination under the true lesions a and b, and Q
that under others. The weight of evidence that it is expected to give for P against Q is their
divergence D(P, Q) = sum of P log(P / Q). A site gets as credit, in view of P, the sum over its
patterns c of prior(c) exp(-D(P, Q_c)). The signs identify the pair when this credit is, by at least
20 to 1 (from there on evidence is *strong*: Kass and Raftery, J Am Stat Assoc 1995;90:773-795),

1. higher for the site of a than for every other site in its place, b being as it is;
2. the same with a and b exchanged; and
3. for both together higher than for any one site alone with the commonest other site beside it.

This was set down before it was first run. An earlier, coarser definition, set down before the first
run of all, is reported as well (*pictures differ*): in the most probable states each lesion makes
at least two signs abnormal that the other leaves normal and that stay so under both, and no lesion
of any other site gives the same picture as either. By that one a single sign may tell two places
apart, which one wrong test then decides.

Few pairs drawn at random pass, so pairs are drawn until as many pass as asked for; the first pairs
drawn, whether they pass or not, are reported besides. Found means that one of the first three pairs
is the true one, both places on the right sides. Beside it stands what the answers themselves
promise: the mean probability that one of the three is right. Where both agree, no method does
better, because the probabilities are those of the model that the patients were drawn from.
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
from decussate.localisation.cache import load_pairs
from decussate.localisation.forward import Conduction, sign_level, sign_strengths
from decussate.localisation.model import LEVEL_DIGITS, SignKey
from decussate.localisation.observation import response_table
from decussate.localisation.pair_model import NO_LESION
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
    there. `promised` is the probability of the three together, `needed` whether two were called.
    """

    lesions: tuple[Lesion, ...]
    rank: int | None
    promised: float
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


def pictures_differ(lesions: tuple[Lesion, ...]) -> bool:
    """The earlier definition (see the head of this file)."""
    together = abnormal_states(states_under(combined(lesions)))
    each = [abnormal_states(states_under(lesion.damage)) for lesion in lesions]
    for mine, others in (each, each[::-1]):
        own = [key for key, s in mine.items() if key not in others and together.get(key) == s]
        if len(own) < 2:
            return False
    return all(sites_by_picture()[picture_of(lesion.column)] == {lesion.site} for lesion in lesions)


@cache
def responses() -> Mapping[SignKey, np.ndarray]:
    """Response probabilities of each state, for the test of every sign of the battery."""
    signs = load_model().atlas.signs
    tables = {key: response_table(signs[key[0]], test) for key, test in battery().items()}
    return {
        key: np.stack([row for code, row in table.items() if code != ABNORMAL], axis=1)
        for key, table in tables.items()
    }


@cache
def log_prior() -> np.ndarray:
    """Of every lesion, processes too, among all that make a pair (logarithm)."""
    model = load_model()
    prior = np.zeros(len(model.lesions.sites))
    for index, site in enumerate(model.lesions.sites):
        place = model.atlas.places[site.place]
        if place.id != NO_LESION:
            prior[index] = place.prior / (2 if place.paired else 1)
    with np.errstate(divide="ignore"):
        return np.log((prior / prior.sum())[model.lesions.site_of] * model.lesions.weight)


def credit(lesions: tuple[Lesion, ...], beside: Lesion | None) -> np.ndarray:
    """Of every site in view of two lesions, beside one of them or alone (natural logarithm)."""
    first, second = (lesion.column for lesion in lesions)
    logs = log_prior().copy()
    for key, table in responses().items():
        sign = load_pairs().signs[key]
        true = sign.probability[sign.together[sign.code_of[first], sign.code_of[second]]] @ table
        other = sign.code_of[beside.column] if beside else 0
        every = sign.probability[sign.together[:, other]] @ table
        divergence = (true * np.log(true / every)).sum(axis=1)
        logs -= divergence[sign.code_of]
    return np.logaddexp.reduceat(logs, load_model().starts)


STRONG = math.log(20)


def identifies(lesions: tuple[Lesion, ...]) -> bool:
    """Whether the signs of two lesions identify them (see the head of this file)."""
    one, other = lesions
    both = []
    for lesion, beside in ((one, other), (other, one)):
        of_site = credit(lesions, beside)
        mine = of_site[lesion.site]
        rivals = np.delete(of_site, [lesion.site, beside.site])
        if mine - rivals.max() < STRONG:
            return False
        both.append(mine)
    known = log_prior()[[one.column, other.column]]
    together = max(both[0] + known[1], both[1] + known[0])
    alone = credit(lesions, None)
    by_site = np.logaddexp.reduceat(log_prior(), load_model().starts)
    innocent = by_site.max()
    return bool(together - (alone.max() + innocent) >= STRONG)


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
    promised = sum(pair.probability for pair in answer.pairs)
    said = tuple(" + ".join(pair.names) for pair in answer.pairs)
    return Outcome(lesions, rank, promised, answer.needed, said)


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
    promised = sum(o.promised for o in outcomes) / count
    print(f"{name + ': promised by the answers':<58} {'':>12} {100 * promised:5.1f} %")
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
    drawn, clear, coarse = [], [], []
    while len(clear) < asked.patients:
        drawn.append(draw(chance, 2))
        if identifies(drawn[-1]):
            clear.append(drawn[-1])
        if pictures_differ(drawn[-1]):
            coarse.append(drawn[-1])
    print(f"seed {asked.seed}, {len(battery())} tests a patient")
    print(line("signs identify the pair", len(clear), len(drawn)))
    print(line("signs pictures differ", len(coarse), len(drawn)))
    found = [outcome(chance, lesions) for lesions in clear]
    report("identified", found)
    report("pictures differ", [outcome(chance, pair) for pair in coarse[: asked.patients]])
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
