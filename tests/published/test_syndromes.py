"""Classical syndromes follow from the anatomy: signs from the place, and place from the signs."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from decussate.bibliography import check_source
from decussate.data_rows import Row, read_rows
from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Examination, Finding, Story
from decussate.localisation import load_model, localise
from decussate.localisation.lesions import Site
from decussate.sides import Side

SYNDROMES = read_rows(Path(__file__).with_name("syndromes.yaml"))
SURELY = 0.5
RARELY = 0.25


def site_of(row: Row) -> Site:
    return Site(row["place"], None if row["side"] == "none" else Side(row["side"]))


def findings_of(row: Row) -> list[Finding]:
    return [
        Finding(test=test, side=None if side == "whole" else Side(side), response=response)
        for test, side, response in row["signs"]
    ]


def fullest_columns(site: Site) -> np.ndarray:
    """The patterns of a site that the syndrome describes: each sign is met in some pattern."""
    model = load_model()
    index = model.lesions.sites.index(site)
    return np.flatnonzero(model.lesions.site_of == index)


def state_chance(finding: Finding, column: np.ndarray | int) -> float:
    """Probability of the stated state (any abnormal one for loss scales) in each column."""
    model = load_model()
    test = load_catalogue().test(finding.test)
    table = model.signs[test.sign, finding.side]
    sign = model.atlas.signs[test.sign]
    state = test.responses[finding.response].state
    rows = table.probability[table.level_of[column]]
    if sign.states == ("normal", "partial", "complete") and state != sign.neutral:
        return 1 - rows[..., sign.healthy]
    return rows[..., [own == state for own in sign.grades.values()]].sum(axis=-1)


@pytest.mark.parametrize("row", SYNDROMES, ids=lambda row: row["id"])
def test_source_is_known(row: Row) -> None:
    assert check_source(row["source"], row.where) not in ("judgement", "common practice")


@pytest.mark.parametrize("row", SYNDROMES, ids=lambda row: row["id"])
def test_signs_follow_from_the_place(row: Row) -> None:
    """One pattern of the place shows every sign of the description on its side at once."""
    columns = fullest_columns(site_of(row))
    chances = np.stack([state_chance(f, columns) for f in findings_of(row)])
    best = int(chances.min(axis=0).argmax())
    worst = int(chances[:, best].argmin())
    assert chances[worst, best] >= SURELY, (
        f"{findings_of(row)[worst]} is predicted with {chances[worst, best]:.2f} only"
    )


@pytest.mark.parametrize("row", SYNDROMES, ids=lambda row: row["id"])
def test_signs_do_not_follow_from_the_other_side(row: Row) -> None:
    site = site_of(row)
    if site.side is None:
        pytest.skip("a place of the midline has no other side")
    columns = fullest_columns(site.mirrored)
    chances = np.stack([state_chance(f, columns) for f in findings_of(row)])
    assert chances.min(axis=0).max() < RARELY


@pytest.mark.parametrize("mirrored", [False, True], ids=["right", "left"])
@pytest.mark.parametrize("row", SYNDROMES, ids=lambda row: row["id"])
def test_place_follows_from_the_signs(row: Row, mirrored: bool) -> None:
    story = Story(**row.get("story", {}))
    examination = Examination(id=row["id"], story=story, findings=tuple(findings_of(row)))
    site = site_of(row)
    if mirrored:
        examination, site = examination.mirrored(), site.mirrored
    first = localise(examination).candidates[0]
    assert (first.place, first.side) == (site.place, site.side)
