"""The model in a compact form for many examinations at once.

Most lesions leave most signs alone, and many lesions do the same to a group of signs. So the signs
are grouped, and each group's joint effects are numbered: the *codes* of the group. Groups are
joined again into two halves of the signs. A lesion is then a code of the first half and a code of
the second, and the likelihood of a site is the bilinear form
sum over (a, b) of weight[site, a, b] exp(first[a]) exp(second[b]),
which is exact: the same sum as over all lesions, with equal terms gathered.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from decussate.localisation.model import Model

__all__ = ["CompactModel", "compile_compact"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]

GROUP = 16
"""Signs in a group (judgement: measured fastest among powers of 2 on the atlas of the package)."""


@dataclass(frozen=True, slots=True)
class CompactModel:
    """The compiled model, its equal effects gathered.

    Attributes
    ----------
    model : Model
        What it was made from.
    offset : ndarray of int, shape (n_signs + 1,)
        Where the levels of each sign (in the order of ``model.signs``) begin among the features.
    common : ndarray of int, shape (n_signs,)
        The commonest level of each sign; log likelihoods are relative to it.
    groups : sparse matrix of shape (n_group_codes, n_features)
        Which features (levels other than the common one) each group code has.
    halves : sparse matrix of shape (n_first + n_second, n_group_codes)
        Which group codes each code of a half has.
    first : int
        The number of codes of the first half.
    across : sparse matrix of shape (n_rows, n_second)
        Weight of the patterns of each row's site and first code, by second code.
    first_of : ndarray of int, shape (n_rows,)
        First code of each row.
    to_site : sparse matrix of shape (n_sites, n_rows)
        Sums rows into sites.
    """

    model: Model
    offset: Index
    common: Index
    groups: sparse.csr_matrix
    halves: sparse.csr_matrix
    first: int
    across: sparse.csr_matrix
    first_of: Index
    to_site: sparse.csr_matrix

    def site_likelihood(self, features: Array) -> Array:
        """Return the likelihood of each site, times a constant for each examination.

        Parameters
        ----------
        features : ndarray of shape (n_features, n)
            Log likelihood of every level of every sign relative to the sign's common level, for
            each of n examinations.

        Returns
        -------
        ndarray of shape (n_sites, n)
            Not negative. Where a sum falls below the range of floating-point numbers, the
            examination is done again in logarithms.
        """
        logs = self._logs(features)
        # In place: fresh memory would cost as much as the arithmetic.
        for half in (logs[: self.first], logs[self.first :]):
            half -= half.max(axis=0)
        np.exp(logs, out=logs)
        reach = self.across @ logs[self.first :]
        reach *= logs[self.first_of]
        result = np.asarray(self.to_site @ reach)
        for column in np.flatnonzero(result.max(axis=0) < SMALLEST):
            result[:, column] = self._in_logarithms(features[:, [column]])
        return result

    def _logs(self, features: Array) -> Array:
        return np.asarray(self.halves @ (self.groups @ features))

    def _in_logarithms(self, features: Array) -> Array:
        code = self._logs(features)[:, 0]
        across = self.across.tocoo()
        logs = np.log(across.data) + code[self.first_of[across.row]]
        logs += code[self.first + across.col]
        site = self.to_site.tocsc().indices[across.row]
        return np.bincount(
            site, weights=np.exp(logs - logs.max()), minlength=self.to_site.shape[0]
        ).astype(np.float64)


SMALLEST = 1e-200
"""A total below this may have lost terms to underflow (numbers end near 1e-308)."""


def compile_compact(model: Model) -> CompactModel:
    """Gather equal effects of the lesions of a model.

    Parameters
    ----------
    model : Model
        The compiled model.

    Returns
    -------
    CompactModel
        Under 10 MB for the atlas of the package.
    """
    tables = list(model.signs.values())
    offset = np.cumsum([0, *(len(table.probability) for table in tables)])
    common = np.array([np.bincount(table.level_of).argmax() for table in tables])
    groups = [
        _gather(
            [table.level_of.astype(np.int64) for table in tables[start : start + GROUP]],
            offset[:-1][start : start + GROUP],
            common[start : start + GROUP],
        )
        for start in range(0, len(tables), GROUP)
    ]
    group_offset = np.cumsum([0, *(group.count for group in groups)])
    middle = (len(groups) + 1) // 2
    halves = []
    for part in (slice(0, middle), slice(middle, len(groups))):
        codes = [group.code for group in groups[part]] or [
            np.zeros(model.lesions.columns, np.int64)
        ]
        silent = np.array([group.silent for group in groups[part]] or [0])
        halves.append(_gather(codes, group_offset[:-1][part], silent))
    first, second = halves
    return CompactModel(
        model,
        offset,
        common,
        _rows(groups, int(offset[-1])),
        _rows(halves, int(group_offset[-1])),
        first.count,
        *_bilinear(model, first.code, second.code, second.count),
    )


@dataclass(frozen=True, slots=True)
class _Gathered:
    """Joint codes of some parts: the code of each lesion, and the parts' values of each code."""

    code: Index
    count: int
    members: Sequence[Index]
    """For each code, the features it has."""

    @property
    def silent(self) -> int:
        """The code without a feature; -1 if there is none."""
        return next((k for k, row in enumerate(self.members) if not len(row)), -1)


def _gather(parts: Sequence[Index], offset: Index, silent: Index) -> _Gathered:
    """Give every joint value of some parts a number; a part's silent value is no feature."""
    code = np.zeros(len(parts[0]), dtype=np.int64)
    for part in parts:
        _, code = np.unique(code * (part.max() + 1) + part, return_inverse=True)
    _, where = np.unique(code, return_index=True)
    value = np.stack([part[where] for part in parts])
    members = [(offset + value[:, k])[value[:, k] != silent] for k in range(len(where))]
    return _Gathered(code, len(where), members)


def _rows(gathered: Sequence[_Gathered], features: int) -> sparse.csr_matrix:
    members = [row for part in gathered for row in part.members]
    ends = np.cumsum([0, *(len(row) for row in members)])
    columns = np.concatenate(members)
    return sparse.csr_matrix((np.ones(len(columns)), columns, ends), shape=(len(members), features))


def _bilinear(
    model: Model, first: Index, second: Index, n_second: int
) -> tuple[sparse.csr_matrix, Index, sparse.csr_matrix]:
    site = model.lesions.site_of.astype(np.int64)
    n_first = int(first.max()) + 1
    keys, row = np.unique(site * n_first + first, return_inverse=True)
    across = sparse.csr_matrix((model.lesions.weight, (row, second)), shape=(len(keys), n_second))
    across.sum_duplicates()
    to_site = sparse.csr_matrix(
        (np.ones(len(keys)), (keys // n_first, np.arange(len(keys)))),
        shape=(len(model.lesions.sites), len(keys)),
    )
    return across, keys % n_first, to_site
