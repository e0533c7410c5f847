"""The signs a lesion of a place predicts: the model read forwards, with no patient."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from decussate.errors import BadInput
from decussate.localisation.cache import load_model
from decussate.localisation.lesions import Site
from decussate.localisation.model import Model
from decussate.sides import Side

__all__ = ["PredictedSign", "predicted_signs"]

HEALTHY = Site("normal", None)


@dataclass(frozen=True, slots=True)
class PredictedSign:
    """How often a lesion of a place shows a sign.

    Attributes
    ----------
    sign, name : str
        Key, and the clinician's name.
    side : Side or None
        The side on which the sign would be; None for a sign of the whole patient.
    abnormal : float
        Probability that the sign is not as in health.
    in_health : float
        The same when no lesion is there.
    states : Mapping of str to float
        Probability of each abnormal state, most probable first.
    """

    sign: str
    name: str
    side: Side | None
    abnormal: float
    in_health: float
    states: Mapping[str, float]

    @property
    def excess(self) -> float:
        """How much more often the lesion shows the sign than health does."""
        return self.abnormal - self.in_health


def predicted_signs(
    place: str, side: Side | None, model: Model | None = None
) -> tuple[PredictedSign, ...]:
    """Return every sign with its probability in a lesion of a place.

    Each pattern of the place (parts taken, severity) counts by its weight.

    Parameters
    ----------
    place : str
        Id of a place or process.
    side : Side or None
        Its side; None for a place of the midline or a process of the whole body.
    model : Model, optional
        That of the package by default.

    Returns
    -------
    tuple of PredictedSign
        The signs most in excess of health first.

    Raises
    ------
    BadInput
        If the model has no such place, or not on that side.
    """
    model = model or load_model()
    atlas, lesions = model.atlas, model.lesions
    if place not in atlas.places:
        raise BadInput("place", place, "a place or process of the atlas")
    site = Site(place, side)
    if site not in lesions.sites:
        expected = "right or left" if atlas.places[place].paired else "no side"
        raise BadInput(f"side of {atlas.places[place].name}", side or "no side", expected)
    here, healthy = (
        np.flatnonzero(lesions.site_of == lesions.sites.index(one)) for one in (site, HEALTHY)
    )
    found = []
    for (key, sign_side), table in model.signs.items():
        sign = atlas.signs[key]
        share, share_healthy = (
            lesions.weight[columns] @ table.probability[table.level_of[columns]]
            for columns in (here, healthy)
        )
        neutral = table.states.index(sign.neutral)
        states = {
            state: float(probability)
            for state, probability in zip(table.states, share, strict=True)
            if state != sign.neutral
        }
        found.append(
            PredictedSign(
                sign=key,
                name=sign.name,
                side=sign_side,
                abnormal=1.0 - float(share[neutral]),
                in_health=1.0 - float(share_healthy[neutral]),
                states=dict(sorted(states.items(), key=lambda item: -item[1])),
            )
        )
    return tuple(sorted(found, key=lambda one: (-one.excess, one.sign, one.side or "")))
