"""The compiled model kept on disk, so that a cold start reads it instead of computing it.

The file is named by a digest of all it depends on: the data files of the atlas and the source
of this room. A change of either makes a new file; an old one is never read. Losing the folder costs
a second, nothing else, so a folder that cannot be written is passed over.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
import zipfile
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from decussate.anatomy import Atlas, Piece, load_atlas
from decussate.localisation.lesions import Lesions, Site
from decussate.localisation.model import Model, SignKey, SignTable, compile_model
from decussate.localisation.pair_model import PairModel, PairSign, assemble_pairs, compile_pairs
from decussate.sides import Side

__all__ = ["cache_folder", "data_digest", "load_model", "load_pairs"]


def cache_folder() -> Path:
    """Return the folder for files that can be made again (XDG Base Directory Specification)."""
    base = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    return Path(base) / "decussate"


@cache
def load_model() -> Model:
    """Return the model of the atlas that comes with the package, read from disk when it is there.

    Returns
    -------
    Model
        Equal to a newly compiled one; the same object throughout a process.
    """
    atlas = load_atlas()
    file = cache_folder() / f"model-{_digest()}.npz"
    try:
        return _read(file, atlas)
    except (OSError, ValueError, KeyError, zipfile.BadZipFile):
        model = compile_model(atlas)
        _write(file, model)
        return model


@cache
def data_digest() -> str:
    """Return a short digest of the medicine in use: the data of atlas, tests and urgency rules.

    Returns
    -------
    str
        The first eight hexadecimal digits of a SHA-256; equal data give an equal digest on any
        machine.
    """
    digest = hashlib.sha256()
    for room in ("anatomy", "examination", "urgency"):
        for file in sorted(_walk((files(f"decussate.{room}") / "data",)), key=str):
            digest.update(f"{room}/{file.name}\0".encode())
            digest.update(file.read_bytes())
    return digest.hexdigest()[:8]


def _digest() -> str:
    digest = hashlib.sha256(np.__version__.encode())
    rooms = (files("decussate.anatomy"), files("decussate.localisation"))
    for file in sorted(_walk(rooms), key=str):
        digest.update(file.name.encode())
        digest.update(file.read_bytes())
    return digest.hexdigest()[:32]


def _walk(folders: tuple[Traversable, ...]) -> Iterator[Traversable]:
    for folder in folders:
        for entry in folder.iterdir():
            if entry.is_dir():
                if entry.name != "__pycache__":
                    yield from _walk((entry,))
            else:
                yield entry


def _key(name: str, side: Side | None) -> str:
    return f"{name}|{side.value if side else ''}"


def _unkey(text: str) -> tuple[str, Side | None]:
    name, _, side = text.partition("|")
    return name, Side(side) if side else None


def _joined(arrays: list[NDArray[np.generic]]) -> tuple[NDArray[np.generic], NDArray[np.int64]]:
    """Lay arrays end to end, with the place where each ends."""
    ends = np.cumsum([len(array) for array in arrays])
    return np.concatenate(arrays), ends


def _write(file: Path, model: Model) -> None:
    lesions = model.lesions
    pieces = list(lesions.damage)
    columns, ends = _joined([lesions.damage[piece][0] for piece in pieces])
    amount, _ = _joined([lesions.damage[piece][1] for piece in pieces])
    tables = list(model.signs.items())
    probability, levels_end = _joined([table.probability.ravel() for _, table in tables])
    _save(
        file,
        {
            "sites": np.array([_key(site.place, site.side) for site in lesions.sites]),
            "site_of": lesions.site_of,
            "weight": lesions.weight,
            "pieces": np.array([_key(piece.structure, piece.side) for piece in pieces]),
            "damage_columns": columns,
            "damage_amount": amount,
            "damage_ends": ends,
            "signs": np.array([_key(*key) for key, _ in tables]),
            "probability": probability,
            "probability_ends": levels_end,
            "level_of": np.stack([table.level_of for _, table in tables]),
        },
    )


def _read(file: Path, atlas: Atlas) -> Model:
    with np.load(file, allow_pickle=False) as data:
        site_of = data["site_of"]
        ends = data["damage_ends"]
        columns, amount = data["damage_columns"], data["damage_amount"]
        pieces = [Piece(*_unkey(str(text))) for text in data["pieces"]]
        bounds = zip([0, *ends[:-1]], ends, strict=True)
        damage = {
            piece: (columns[start:end], amount[start:end])
            for piece, (start, end) in zip(pieces, bounds, strict=True)
        }
        sites = tuple(Site(*_unkey(str(text))) for text in data["sites"])
        lesions = Lesions(sites, site_of, data["weight"], damage)
        probability, level_ends = data["probability"], data["probability_ends"]
        level_of = data["level_of"]
        tables: dict[SignKey, SignTable] = {}
        start = 0
        for row, (text, end) in enumerate(zip(data["signs"], level_ends, strict=True)):
            key = _unkey(str(text))
            states = tuple(atlas.signs[key[0]].grades)
            table = probability[start:end].reshape(-1, len(states))
            tables[key] = SignTable(states, table, level_of[row])
            start = end
    return Model(atlas, lesions, tables, np.flatnonzero(np.diff(site_of, prepend=-1)))


@cache
def load_pairs() -> PairModel:
    """Return the pairs of the package's model, read from disk when they are there.

    Returns
    -------
    PairModel
        Equal to a newly compiled one; the same object throughout a process.
    """
    file = cache_folder() / f"pairs-{_digest()}.npz"
    try:
        return _read_pairs(file, load_model())
    except (OSError, ValueError, KeyError, zipfile.BadZipFile):
        pairs = compile_pairs(load_model())
        _write_pairs(file, pairs)
        return pairs


def _write_pairs(file: Path, pairs: PairModel) -> None:
    tables = list(pairs.signs.values())
    example, codes_ends = _joined([table.example for table in tables])
    probability, probability_ends = _joined([table.probability.ravel() for table in tables])
    _save(
        file,
        {
            "signs": np.array([_key(*key) for key in pairs.signs]),
            "states": np.array([table.probability.shape[1] for table in tables]),
            "code_of": np.stack([table.code_of for table in tables]),
            "example": example,
            "codes_ends": codes_ends,
            "together": np.concatenate([table.together.ravel() for table in tables]),
            "probability": probability,
            "probability_ends": probability_ends,
        },
    )


def _read_pairs(file: Path, model: Model) -> PairModel:
    with np.load(file, allow_pickle=False) as data:
        arrays = {name: data[name] for name in data.files}
    example = np.split(arrays["example"], arrays["codes_ends"][:-1])
    squares = np.cumsum([len(codes) ** 2 for codes in example])
    together = np.split(arrays["together"], squares[:-1])
    probability = np.split(arrays["probability"], arrays["probability_ends"][:-1])
    signs = {
        _unkey(str(text)): PairSign(
            arrays["code_of"][k],
            example[k],
            probability[k].reshape(-1, arrays["states"][k]),
            together[k].reshape(len(example[k]), len(example[k])),
        )
        for k, text in enumerate(arrays["signs"])
    }
    return assemble_pairs(signs, model)


def _save(file: Path, arrays: dict[str, NDArray[np.generic]]) -> None:
    """Write arrays to a file, whole or not at all, whoever else is writing it."""
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=file.parent, suffix=".part", delete=False) as part:
            np.savez(part, allow_pickle=False, **arrays)
        Path(part.name).replace(file)
    except OSError:
        return
