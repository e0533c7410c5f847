"""What the sums over pairs leave out is bounded, and they stay out of a single localisation."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from decussate.examination.record import Examination
from decussate.localisation.cache import load_model, load_pairs
from decussate.localisation.chains import chains_of
from decussate.localisation.localise import posterior_of
from decussate.localisation.pair_posterior import PairPosterior
from decussate.localisation.pair_sums import fill_table
from decussate.sides import Side
from strategies import examinations

EXACT = 1e-12


@settings(max_examples=4, deadline=None)
@given(examinations(12))
def test_what_is_left_out_is_no_more_than_the_bound(examination: Examination) -> None:
    posterior = posterior_of(examination)
    rough = PairPosterior(load_pairs(), posterior, left_out=0.01)
    fine = PairPosterior(load_pairs(), posterior, left_out=EXACT)
    apart = np.abs(rough.pair_probability() - fine.pair_probability()).sum() / 2
    assert fine.left_out <= EXACT
    assert rough.left_out <= 0.01
    assert apart <= rough.left_out + 1e-9


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 6), st.randoms(use_true_random=False))
def test_the_bound_of_a_table_holds(codes: int, chance) -> None:
    level = np.array([chance.uniform(0.001, 1) for _ in range(codes * codes)])
    together = np.arange(codes * codes, dtype=np.uint16).reshape(codes, codes)
    together = np.minimum(together, together.T)
    table, bound = np.empty((codes, codes)), np.empty(codes)
    fill_table(level, together, table, bound)
    assert np.allclose(table[0], 1)
    assert bound[0] == 1
    assert (bound >= 1).all()
    assert (table <= np.outer(bound, bound)).all()


def test_codes_say_alone_what_the_single_model_says() -> None:
    """Two independent ways to the same number: the codes of chains, and every column by itself."""
    model, pairs = load_model(), load_pairs()
    for key, sign in pairs.signs.items():
        alone = sign.probability[sign.together[0, sign.code_of]]
        table = model.signs[key]
        assert np.allclose(alone, table.probability[table.level_of], atol=1e-5)


def test_a_sign_hangs_on_the_chains_of_its_pathways() -> None:
    atlas = load_model().atlas
    chains = chains_of(atlas.signs["abduction_limit"], Side.RIGHT, atlas)
    pieces = {piece for chain in chains for piece, _ in chain}
    assert any(p.structure.startswith("abducens") and p.side is Side.RIGHT for p in pieces)
    assert not any(p.structure.startswith(("optic", "hypoglossal")) for p in pieces)


def test_a_single_localisation_loads_no_compiler() -> None:
    code = "import sys, decussate.localisation, decussate.cli; sys.exit('numba' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code]).returncode == 0
