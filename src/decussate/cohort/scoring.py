"""The posterior of many examinations at once."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from decussate.anatomy.causes import AGE_BANDS
from decussate.cohort.compact import CompactModel, compile_compact
from decussate.cohort.encoding import NOTHING, Encoded, Encoder
from decussate.examination.catalogue import Catalogue, load_catalogue
from decussate.examination.record import Examination, Story
from decussate.localisation.cache import load_model
from decussate.localisation.model import Model
from decussate.localisation.story import cause_factor

__all__ = ["Scorer"]

Array = NDArray[np.float64]

BLOCK = 48
"""Examinations worked on together: their numbers fit the cache of a core (measured)."""
STORIES = 4096
"""Distinct stories whose priors are kept."""


class Scorer:
    """Localises many examinations at once, with the answers of `decussate.localisation.localise`.

    Parameters
    ----------
    model : Model, optional
        That of the package by default.
    catalogue : Catalogue, optional
        That of the package by default.
    """

    def __init__(self, model: Model | None = None, catalogue: Catalogue | None = None) -> None:
        self.model = model or load_model()
        self.compact: CompactModel = compile_compact(self.model)
        self.encoder = Encoder(self.model, catalogue or load_catalogue())
        tables = list(self.model.signs.values())
        self._probability = [table.probability for table in tables]
        # Nothing recorded, the first number of each sign, says nothing.
        self._features: list[Array] = [np.zeros((len(p), 1)) for p in self._probability]
        atlas = self.model.atlas
        self._causes = list(atlas.causes.values())
        column = {cause: k for k, cause in enumerate(atlas.causes)}
        sites = self.model.lesions.sites
        shares = np.zeros((len(sites), len(self._causes)))
        for row, site in enumerate(sites):
            place = atlas.places[site.place]
            incidence = place.prior / (2 if place.paired else 1)
            for cause, share in place.causes.items():
                shares[row, column[cause]] = incidence * share
        self._shares = shares
        self._prior = lru_cache(maxsize=STORIES)(self._prior_of)

    @property
    def digest(self) -> str:
        """A digest of everything the answers depend on: the model, the causes and the tests."""
        digest = hashlib.sha256()
        for part in (self.model.lesions.weight, self.model.lesions.site_of, self._shares):
            digest.update(part.tobytes())
        for key, table in self.model.signs.items():
            digest.update(repr(key).encode())
            digest.update(table.probability.tobytes() + table.level_of.tobytes())
        digest.update(repr((self.model.lesions.sites, self._causes)).encode())
        digest.update(repr(list(self.encoder.catalogue)).encode())
        return digest.hexdigest()

    def score(self, examinations: Sequence[Examination]) -> Array:
        """Return the probability of each site for each examination.

        Parameters
        ----------
        examinations : sequence of Examination
            n of them.

        Returns
        -------
        ndarray of shape (n, n_sites)
            In the order of ``model.lesions.sites``; rows sum to 1.

        Raises
        ------
        BadInput
            If a finding names a test that the catalogue does not have.
        """
        return self.score_encoded(self.encoder.encode(examinations))

    def score_encoded(self, encoded: Encoded) -> Array:
        """Return the same for examinations already numbered by `encoder`.

        Raises
        ------
        ArithmeticError
            If a probability is not finite or out of range, or a row does not sum to 1.
        """
        self._learn()
        result = np.empty((len(encoded), len(self.model.lesions.sites)))
        for start in range(0, len(encoded), BLOCK):
            block = slice(start, start + BLOCK)
            likelihood = self.compact.site_likelihood(self._evidence(encoded.evidence[:, block]))
            for story, row, column in zip(
                encoded.stories[block], result[block], likelihood.T, strict=True
            ):
                np.multiply(column, self._prior(_essential(story)), out=row)
            result[block] /= result[block].sum(axis=1, keepdims=True)
        return _checked(result)

    def _evidence(self, numbers: NDArray[np.uint16]) -> Array:
        offset = self.compact.offset
        features = np.zeros((int(offset[-1]), numbers.shape[1]))
        for sign in np.flatnonzero((numbers != NOTHING).any(axis=1)):
            there = features[offset[sign] : offset[sign + 1]]
            np.take(self._features[sign], numbers[sign], axis=1, out=there, mode="clip")
        return features

    def _learn(self) -> None:
        """Work out what evidence numbers met since the last call say of each level."""
        for sign, known in enumerate(self._features):
            new = self.encoder.likelihoods(sign)[known.shape[1] :]
            if new:
                # One product each, so that the last digit does not depend on what else was met.
                logs = np.log(np.stack([self._probability[sign] @ one for one in new], axis=1))
                logs -= logs[self.compact.common[sign]]
                self._features[sign] = np.concatenate([known, logs], axis=1)

    def _prior_of(self, story: Story) -> Array:
        factor = np.array([cause_factor(cause, story) for cause in self._causes])
        return np.asarray((self._shares * factor).sum(axis=1))


def _essential(story: Story) -> Story:
    """Return a story that says the same about causes, its age the first of its band."""
    if story.age is None:
        return story
    bands = [age for age in AGE_BANDS if age <= story.age]
    age = float(bands[-1]) if bands else 0.0
    return story if story.age == age else story.model_copy(update={"age": age})


def _checked(probability: Array) -> Array:
    if not np.all(np.isfinite(probability)) or (probability.size and probability.min() < 0):
        raise ArithmeticError("a probability is not finite or below 0")
    if np.abs(probability.sum(axis=1) - 1).max(initial=0.0) > 1e-9:
        raise ArithmeticError("the probabilities of an examination do not sum to 1")
    return probability
