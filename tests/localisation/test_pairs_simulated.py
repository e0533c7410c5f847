"""A few simulated double and single lesions; the full run is ``benchmarks/pairs_simulation.py``."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np

from decussate.localisation import load_model

FILE = Path(__file__).parents[2] / "benchmarks" / "pairs_simulation.py"


def _loaded():
    spec = importlib.util.spec_from_file_location("pairs_simulation", FILE)
    module = importlib.util.module_from_spec(spec)
    sys.modules["pairs_simulation"] = module
    spec.loader.exec_module(module)
    return module


simulation = _loaded()


def lesion(place: str, side: str | None):
    """The most usual lesion of a place."""
    model = load_model()
    (site,) = (k for k, s in enumerate(model.lesions.sites) if s.place == place and s.side == side)
    columns = np.flatnonzero(model.lesions.site_of == site)
    column = int(columns[model.lesions.weight[columns].argmax()])
    damage = {
        piece: float(amount[where == column][0])
        for piece, (where, amount) in model.lesions.damage.items()
        if (where == column).any()
    }
    return simulation.Lesion(site, column, damage)


def test_simulated_states_of_one_lesion_are_those_of_the_compiled_model() -> None:
    one = lesion("medulla_lateral", "right")
    model = load_model()
    for key, probability in simulation.states_under(one.damage).items():
        table = model.signs[key]
        assert np.allclose(probability, table.probability[table.level_of[one.column]], atol=1e-5)


def test_two_unlike_lesions_are_found_and_called() -> None:
    """The lateral medulla and the cavernous sinus, in four noisy examinations."""
    chance = np.random.default_rng(3)
    pair = (lesion("medulla_lateral", "right"), lesion("cavernous_sinus", "right"))
    assert simulation.identifies(pair)
    found = [simulation.outcome(chance, pair) for _ in range(4)]
    assert sum(one.rank is not None for one in found) >= 3
    assert sum(one.needed for one in found) >= 3


def test_single_lesions_are_seldom_called_two() -> None:
    chance = np.random.default_rng(4)
    singles = [simulation.outcome(chance, simulation.draw(chance, 1)) for _ in range(5)]
    assert sum(one.needed for one in singles) == 0


def test_identified_means_what_it_says() -> None:
    """A lesion whose signs the other one also makes is not identified, by either measure."""
    pair = (lesion("third_cistern_compressed", "left"), lesion("cavernous_sinus", "left"))
    assert not simulation.identifies(pair)
    assert not simulation.pictures_differ(pair)


def test_credit_is_greatest_for_what_is_there() -> None:
    """A site's credit beside the other lesion; a distribution does not diverge from itself."""
    pair = (lesion("medulla_lateral", "right"), lesion("cavernous_sinus", "right"))
    credit = simulation.credit(pair, pair[1])
    assert credit.argmax() == pair[0].site
    assert credit[pair[0].site] >= simulation.log_prior()[pair[0].column]
