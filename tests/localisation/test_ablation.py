"""The parts that tools/ablation.py takes away are taken away, and nothing else."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import pytest

from decussate.anatomy import load_atlas
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import read_examination
from decussate.localisation.lesions import enumerate_lesions
from decussate.localisation.localise import localise

ROOT = Path(__file__).resolve().parents[2]
SPEC = importlib.util.spec_from_file_location("ablation", ROOT / "tools" / "ablation.py")
assert SPEC
assert SPEC.loader
ablation = importlib.util.module_from_spec(SPEC)
sys.modules["ablation"] = ablation
SPEC.loader.exec_module(ablation)

VARIANTS = {variant.name: variant for variant in ablation.VARIANTS}


def test_without_patterns_each_site_has_one_lesion_for_each_severity() -> None:
    atlas = VARIANTS["patterns"].atlas(load_atlas())
    for place in atlas.places.values():
        assert all(part.chance == 1 for part in place.parts)
    assert enumerate_lesions(atlas).columns == sum(
        len(place.severities) * (2 if place.paired else 1) for place in atlas.places.values()
    )


def test_a_test_without_error_is_right_whatever_the_state() -> None:
    catalogue = VARIANTS["errors of tests"].catalogue(load_catalogue())
    for test in catalogue:
        if test.accuracy:
            assert test.accuracy.specificity == ablation.SURE
            assert test.accuracy.wrong_side == pytest.approx(1 - ablation.SURE)


def test_the_whole_model_is_that_of_the_package() -> None:
    case = read_examination(ROOT / "tests" / "published" / "cases" / "A04.json")
    (score,) = ablation.scores(VARIANTS["whole model"], [case])
    first = localise(case).candidates[0]
    assert (score.first_place, score.first_side) == (first.place, first.side)
    (blind,) = ablation.scores(VARIANTS["story"], [case])
    assert blind.probability != score.probability
