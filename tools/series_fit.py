"""Fit the numbers of the atlas to published series, and judge the fit on series left out.

What may move: the chance that a part of a place is taken, the share of the most severe damage,
the incidence of a place within its mixture, and how often full damage shows a sign. Each starts
from its value before calibration (`before` rows of series.yaml; today's value if there is none)
and is pulled back to it: the data move a number only as far as they speak. Rows are compared on
log-odds with the weight of a binomial count, limited because series differ among themselves by
more than chance (`BETWEEN`); a soft loss keeps one odd series from bending everything. Rows whose
miss is a fault of mechanism (``miss: "mechanism: ..."``) and rows set aside are left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from series import SERIES, Array, Entry, Join, columns_of, event_columns, read_series, signs_of

from decussate.anatomy import Place
from decussate.data_rows import read_rows
from decussate.localisation import Model, load_model
from decussate.localisation.states import incidental

BETWEEN = 40.0
"""Patients to which an endless series would be worth: how far series of one site differ."""
UNKNOWN_N = 10.0
"""Patients a row without a stated number is worth."""
SPREAD = {"chance": 0.9, "severity": 0.9, "shows": 1.2, "prior": 0.5}
"""Standard deviation of each kind of number about its start, on log-odds (log for the prior)."""
TOTAL = 0.05
"""Standard deviation of the logarithm of a mixture's whole incidence."""
STEP = 1e-4
"""Step for slopes, on log-odds."""
SOFT = 2.0
"""Standard errors beyond which a row pulls with constant force."""
REACH = 2.5
"""Farthest a number may go from its start, in standard deviations."""
LIMITS = {"chance": (0.03, 0.97), "severity": (0.05, 0.95), "shows": (0.15, 0.98)}
"""Anatomically sensible limits: no part is spared or taken for certain, no sign always hidden."""


def logit(p: float | Array) -> Array:
    """Log-odds."""
    return np.asarray(np.log(p) - np.log1p(-np.asarray(p)))


def expit(x: float | Array) -> Array:
    """Probability of log-odds."""
    return np.asarray(1 / (1 + np.exp(-np.asarray(x))))


def key(kind: str, owner: str, what: str) -> str:
    """Name of a number, as in the `before` rows."""
    return f"{kind} {owner} {what}".strip()


@dataclass(frozen=True, slots=True)
class Number:
    """A number of the data files that may move."""

    kind: str
    owner: str
    what: str
    start: float
    now: float

    @property
    def id(self) -> str:
        """As in the `before` rows."""
        return key(self.kind, self.owner, self.what)

    def to_line(self, value: float) -> float:
        """To the scale on which it is fitted."""
        return float(np.log(value)) if self.kind == "prior" else float(logit(value))

    def from_line(self, x: float) -> float:
        """Back."""
        return float(np.exp(x)) if self.kind == "prior" else float(expit(x))

    @property
    def bounds(self) -> tuple[float, float]:
        """On the fitted scale."""
        centre, reach = self.to_line(self.start), REACH * SPREAD[self.kind]
        low, high = centre - reach, centre + reach
        if self.kind in LIMITS:
            inner = [self.to_line(limit) for limit in LIMITS[self.kind]]
            low, high = min(max(low, inner[0]), centre), max(min(high, inner[1]), centre)
        return low - 1e-9, high + 1e-9


def part_name(place: Place, index: int) -> str:
    """First structure of a part, the same for mirrored parts of the midline."""
    pieces = place.parts[index].pieces
    text = pieces[0].structure + (
        ".other" if place.paired and pieces[0].side and pieces[0].side.value == "left" else ""
    )
    others = [p for p in place.parts if p.pieces[0].structure == pieces[0].structure]
    return text if len(others) == 1 or not place.paired else f"{text}+{len(pieces)}"


class Fitter:
    """Predictions of all rows as functions of the numbers that may move."""

    def __init__(self, model: Model, entries: Iterable[Entry]) -> None:
        self.model = model
        self.entries = [e for e in entries if not e.aside and not e.miss.startswith("mechanism")]
        rows = read_rows(SERIES)
        self.before = {row["id"]: float(row["was"]) for row in rows if "was" in row}
        held = [row["id"] for row in rows if "hold" in row]
        self.places = sorted({name for e in self.entries for name in e.weights})
        numbers: dict[str, Number] = {}

        def add(kind: str, owner: str, what: str, now: float) -> None:
            number = Number(kind, owner, what, self.before.get(key(kind, owner, what), now), now)
            if owner not in held and f"{owner} {what}" not in held:
                numbers[number.id] = number

        for name in self.places:
            place = model.atlas.places[name]
            for i, part in enumerate(place.parts):
                if part.chance < 1:
                    add("chance", name, part_name(place, i), part.chance)
            if len(place.severities) > 1:
                add("severity", name, "", place.severities[max(place.severities)])
        for entry in self.entries:
            if entry.by_incidence and len(entry.weights) > 1:
                for name in entry.weights:
                    add("prior", name, "", model.atlas.places[name].prior)
            for sign, _ in signs_of(entry.event) if entry.event is not True else []:
                if self.fits_shows(sign):
                    add("shows", sign, "", model.atlas.signs[sign].shows)
        self.numbers = list(numbers.values())
        self.at = {number.id: i for i, number in enumerate(self.numbers)}
        self.columns = {name: columns_of(model, name) for name in self.places}
        self.patterns = {name: self._patterns(name) for name in self.places}
        self._cache: dict[tuple[int, tuple[float, ...]], dict[str, tuple[Array, Array]]] = {}

    def fits_shows(self, sign: str) -> bool:
        """Symptoms and signs whose visibility, not anatomy, sets how often they are met."""
        return sign in {
            "tinnitus", "vertigo", "ear_pain", "tear_loss", "taste_loss", "hiccup", "disc_swelling",
            "hoarse_voice", "slurred_speech", "trigeminal_pain", "retina_abnormal", "eye_pain",
            "pain_on_eye_movement", "double_vision", "spontaneous_nystagmus", "vertical_tilt",
            "torsion", "lid_fatigue", "gait_ataxia",
        }  # fmt: skip

    def _patterns(self, name: str) -> tuple[NDArray[np.bool_], NDArray[np.intp]]:
        """Which parts each column takes, and its severity, in the order of `patterns_of`."""
        place = self.model.atlas.places[name]
        taken, severity = [], []
        for choice in product((True, False), repeat=len(place.parts)):
            pairs = list(zip(place.parts, choice, strict=True))
            if any(part.chance == 1 and not is_taken for part, is_taken in pairs):
                continue
            if not any(choice):
                continue
            for i in range(len(place.severities)):
                taken.append(choice)
                severity.append(i)
        return np.array(taken), np.array(severity)

    def weight(self, name: str, value: Callable[[str, float], float]) -> Array:
        """Weight of each column of a place under a set of numbers."""
        place = self.model.atlas.places[name]
        taken, severity = self.patterns[name]
        result = np.ones(len(taken))
        for i, part in enumerate(place.parts):
            if part.chance < 1:
                chance = value(f"chance {name} {part_name(place, i)}", part.chance)
                result = result * np.where(taken[:, i], chance, 1 - chance)
        shares = dict(place.severities)
        if len(shares) > 1:
            most = max(shares)
            share = value(f"severity {name}", shares[most])
            rest = 1 - shares[most]
            shares = {k: share if k == most else v / rest * (1 - share) for k, v in shares.items()}
        result = result * np.array(list(shares.values()))[severity]
        return np.asarray(result / result.sum())

    def _with_shows(self, shows: Mapping[str, float]) -> Model:
        """Return the model with another visibility of some signs."""
        tables = dict(self.model.signs)
        for name, value in shows.items():
            sign = self.model.atlas.signs[name]
            healthy = sign.healthy
            extra = sign.background * incidental(sign)
            for key, table in self.model.signs.items():
                if key[0] != name:
                    continue
                clear = table.probability[:, healthy] / (1 - sign.background)
                seen = table.probability - clear[:, None] * extra
                seen[:, healthy] = 0
                seen *= value / sign.shows
                clear = 1 - seen.sum(axis=1)
                new = seen + clear[:, None] * extra
                new[:, healthy] = clear * (1 - sign.background)
                tables[key] = replace(table, probability=new)
        return replace(self.model, signs=tables)

    def chances(self, index: int, shows: Mapping[str, float]) -> dict[str, tuple[Array, Array]]:
        """Event and condition in each column of each place of a row."""
        entry = self.entries[index]
        named = {s for s, _ in signs_of(entry.event)} | {s for s, _ in signs_of(entry.given)}
        mine = {name: value for name, value in shows.items() if name in named}
        key = (index, tuple(round(value, 9) for value in mine.values()))
        if key not in self._cache:
            if len(self._cache) > 4000:
                self._cache.clear()
            model = self._with_shows(mine)
            self._cache[key] = {
                name: event_columns(entry, model, self.columns[name]) for name in entry.weights
            }
        return self._cache[key]

    def predict(self, x: Array, rows: Iterable[int] | None = None) -> Array:
        """Predicted frequency (0 to 1) of some rows (all, if none are named)."""
        numbers = {n.id: n.from_line(v) for n, v in zip(self.numbers, x, strict=True)}
        shows = {n.owner: numbers[n.id] for n in self.numbers if n.kind == "shows"}
        weights: dict[str, Array] = {}
        result = []
        for index in range(len(self.entries)) if rows is None else rows:
            entry = self.entries[index]
            top = bottom = 0.0
            found = self.chances(index, shows)
            for name, share in entry.weights.items():
                if name not in weights:
                    weights[name] = self.weight(name, numbers.get)
                prior = self.model.atlas.places[name].prior
                if entry.by_incidence:
                    share *= numbers.get(f"prior {name}", prior) / prior
                both, given = found[name]
                top += share * float(weights[name] @ both)
                bottom += share * float(weights[name] @ given)
            result.append(min(max(top / bottom, 1e-4), 1 - 1e-4))
        return np.array(result)

    def touched(self, number: Number) -> list[int]:
        """Rows that a number bears on."""
        return [
            i
            for i, entry in enumerate(self.entries)
            if number.owner in entry.weights
            or number.owner in {sign for sign, _ in signs_of(Join(1, (entry.event, entry.given)))}
        ]

    def slopes(self, x: Array) -> Array:
        """Change of the log-odds of every row with every number, shape (n_rows, n_numbers)."""
        base = logit(self.predict(x))
        result = np.zeros((len(self.entries), len(x)))
        for k, number in enumerate(self.numbers):
            rows = self.touched(number)
            moved = x.copy()
            moved[k] += STEP
            result[rows, k] = (logit(self.predict(moved, rows)) - base[rows]) / STEP
        return result

    def fit(self, without: str = "", begin: Array | None = None) -> Array:
        """Fit, leaving out a series by its source; return the numbers on their fitted scale.

        `begin` is where the search begins (at the starts, if not given); it pulls nothing.
        """
        start = np.array([n.to_line(n.start) for n in self.numbers])
        spread = np.array([SPREAD[n.kind] for n in self.numbers])
        bounds = np.array([n.bounds for n in self.numbers])
        use = np.array([entry.source != without for entry in self.entries])
        n = np.array([entry.n or UNKNOWN_N for entry in self.entries], dtype=float)
        published = (np.array([e.percent for e in self.entries]) / 100 * n + 0.5) / (n + 1)
        worth = 1 / (1 / n + 1 / BETWEEN)
        scale = np.sqrt(worth * published * (1 - published)) * use
        mixtures = {frozenset(e.weights): e for e in self.entries if e.by_incidence}
        groups = [
            np.array([self.at[f"prior {name}"] for name in names if f"prior {name}" in self.at])
            for names in mixtures
            if len(names) > 1
        ]

        def soften(miss: Array) -> Array:
            # The soft loss is for the rows; the pull to the start stays quadratic.
            far = np.sqrt(1 + (miss / SOFT) ** 2)
            return np.asarray(np.sign(miss) * SOFT * np.sqrt(2 * (far - 1)))

        # A series of one site tells shares within its mixture, never the mixture's incidence.
        def totals(x: Array) -> Array:
            shift = [np.log(np.exp(x[at]).sum() / np.exp(start[at]).sum()) for at in groups]
            return np.array(shift) / TOTAL

        def residuals(x: Array) -> Array:
            miss = scale * (logit(self.predict(x)) - logit(published))
            return np.concatenate([soften(miss), (x - start) / spread, totals(x)])

        def jacobian(x: Array) -> Array:
            miss = scale * (logit(self.predict(x)) - logit(published))
            steep = (soften(miss + STEP) - soften(miss - STEP)) / (2 * STEP)
            of_totals = np.zeros((len(groups), len(x)))
            for row, at in enumerate(groups):
                of_totals[row, at] = np.exp(x[at]) / np.exp(x[at]).sum() / TOTAL
            of_rows = (steep * scale)[:, None] * self.slopes(x)
            return np.concatenate([of_rows, np.diag(1 / spread), of_totals])

        found = least_squares(
            residuals,
            start if begin is None else begin,
            jac=jacobian,
            bounds=(bounds[:, 0], bounds[:, 1]),
            max_nfev=12 if begin is None else 5,
        )
        return np.asarray(found.x)


def fit_command(leave_one_out: bool) -> int:
    """Print proposals, or the summary of leaving out each series in turn."""
    model = load_model()
    fitter = Fitter(model, read_series(model))
    counted = [i for i, e in enumerate(fitter.entries) if e.counted]

    def inside(predicted: Array, rows: Iterable[int]) -> list[int]:
        return [
            i for i in rows
            if fitter.entries[i].widened[0] <= 100 * predicted[i] <= fitter.entries[i].widened[1]
        ]  # fmt: skip

    start = np.array([n.to_line(n.start) for n in fitter.numbers])
    before = fitter.predict(start)
    if not leave_one_out:
        x = fitter.fit()
        after = fitter.predict(x)
        for number, value in zip(fitter.numbers, x, strict=True):
            new = number.from_line(value)
            if abs(value - number.to_line(number.start)) > 0.15:
                print(f"{number.id}: {number.start:g} (now {number.now:g}) -> {new:.2f}")
        for name, predicted in (("before", before), ("fitted", after)):
            print(f"{name}: {len(inside(predicted, counted))} of {len(counted)} fitted rows inside")
        return 0
    total = kept = was = 0
    everything = fitter.fit()
    print("| series | rows | inside before | inside, left out | predicted, left out (published) |")
    print("|---|---|---|---|---|")
    for source in sorted({fitter.entries[i].source for i in counted}):
        rows = [i for i in counted if fitter.entries[i].source == source]
        predicted = fitter.predict(fitter.fit(source, everything))
        good, old = inside(predicted, rows), inside(before, rows)
        total, kept, was = total + len(rows), kept + len(good), was + len(old)
        cells = ", ".join(
            f"{fitter.entries[i].id} {100 * predicted[i]:.0f} ({fitter.entries[i].percent:g})"
            for i in rows
        )
        print(f"| {source} | {len(rows)} | {len(old)} | {len(good)} | {cells} |", flush=True)
    print(f"\n{was} of {total} inside before calibration, {kept} of {total} when left out.")
    return 0
