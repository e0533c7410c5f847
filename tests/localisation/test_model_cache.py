"""A model read from disk equals one computed; a damaged or unwritable cache costs nothing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from decussate.anatomy import load_atlas
from decussate.localisation import cache
from decussate.localisation.model import Model, compile_model


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    cache.load_model.cache_clear()
    yield tmp_path / "decussate"
    cache.load_model.cache_clear()


def loaded_afresh() -> Model:
    cache.load_model.cache_clear()
    return cache.load_model()


def assert_same(one: Model, other: Model) -> None:
    assert one.lesions.sites == other.lesions.sites
    assert np.array_equal(one.lesions.weight, other.lesions.weight)
    assert np.array_equal(one.starts, other.starts)
    assert one.lesions.damage.keys() == other.lesions.damage.keys()
    for piece, (columns, amount) in one.lesions.damage.items():
        assert np.array_equal(columns, other.lesions.damage[piece][0])
        assert np.array_equal(amount, other.lesions.damage[piece][1])
    assert one.signs.keys() == other.signs.keys()
    for key, table in one.signs.items():
        assert table.states == other.signs[key].states
        assert np.array_equal(table.probability, other.signs[key].probability)
        assert np.array_equal(table.level_of, other.signs[key].level_of)


def test_read_back_equals_compiled(folder: Path) -> None:
    first = loaded_afresh()
    assert len(list(folder.iterdir())) == 1
    second = loaded_afresh()
    assert_same(first, second)
    assert_same(second, compile_model(load_atlas()))


def test_a_damaged_file_is_made_again(folder: Path) -> None:
    loaded_afresh()
    (file,) = folder.iterdir()
    file.write_bytes(file.read_bytes()[:1000])
    assert_same(loaded_afresh(), compile_model(load_atlas()))


def test_a_folder_that_cannot_be_written_is_passed_over(folder: Path) -> None:
    folder.parent.mkdir(exist_ok=True)
    folder.write_text("a file where the folder should be")
    assert loaded_afresh().lesions.columns > 0
