"""A model read from disk equals one computed; a damaged or unwritable cache costs nothing."""

from __future__ import annotations

import shutil
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


def test_the_digest_of_the_data_follows_every_data_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Recomputed here on a copy of the package's data in which one byte of a rule is changed."""
    original = cache.data_digest()
    package = Path(cache.__file__).parents[1]
    for room in ("anatomy", "examination", "urgency"):
        shutil.copytree(package / room / "data", tmp_path / room / "data")
    monkeypatch.setattr(cache, "files", lambda name: tmp_path / name.rpartition(".")[2])
    assert cache.data_digest.__wrapped__() == original
    rules = tmp_path / "urgency" / "data" / "rules.yaml"
    rules.write_text(rules.read_text("utf-8") + "#", encoding="utf-8")
    assert cache.data_digest.__wrapped__() != original
