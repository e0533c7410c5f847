"""The forward model: damage lowers conduction, and conduction sets the level of a sign."""

from __future__ import annotations

import ast
from collections.abc import Callable, Mapping
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from decussate.anatomy import Atlas, Pathway, Piece, Sign
from decussate.errors import BadInput
from decussate.sides import Side

__all__ = ["Conduction", "Damage", "sign_level", "sign_strengths"]

Array = NDArray[np.float64]


class Damage(Protocol):
    """What `Conduction` needs of lesions: their number, and the damage of each piece."""

    @property
    def columns(self) -> int:
        """The number of lesions."""
        ...

    @property
    def damage(self) -> Mapping[Piece, tuple[NDArray[np.intp], Array]]:
        """Columns and amount of damage, by piece."""
        ...


class Conduction:
    """Conduction of every structure and pathway under every lesion.

    Parameters
    ----------
    atlas : Atlas
        The anatomy.
    lesions : Damage
        The lesions, one a column.
    """

    def __init__(self, atlas: Atlas, lesions: Damage) -> None:
        self._atlas = atlas
        self._lesions = lesions
        self._known: dict[tuple[str, Side | None], Array] = {}

    def of(self, name: str, side: Side | None) -> Array:
        """Return the conduction of a structure or pathway.

        Parameters
        ----------
        name : str
            Structure or pathway id.
        side : Side or None
            Side of its effector or receptor; ignored for the midline.

        Returns
        -------
        ndarray of shape (n_columns,)
            From 0 (blocked) to 1 (intact).
        """
        pathway = self._atlas.pathways.get(name)
        paired = pathway.paired if pathway else self._atlas.structures[name].paired
        key = (name, side if paired else None)
        if key not in self._known:
            if pathway:
                self._known[key] = self._pathway(pathway, key[1])
            else:
                intact = np.ones(self._lesions.columns)
                self._take(intact, Piece(*key), 1.0)
                self._known[key] = intact
        return self._known[key]

    def _take(self, conduction: Array, piece: Piece, weight: float) -> None:
        """Lower a conduction in place by the damage of one piece of the chain."""
        if piece in self._lesions.damage:
            columns, amount = self._lesions.damage[piece]
            # `at` lets a column stand twice, as when two lesions take the same piece.
            np.multiply.at(conduction, columns, 1 - weight * amount)

    def _pathway(self, pathway: Pathway, side: Side | None) -> Array:
        if pathway.join == "chain":
            result = np.ones(self._lesions.columns)
            for term in pathway.terms:
                there = term.on(side)
                if term.name in self._atlas.pathways:
                    result *= 1 - term.weight * (1 - self.of(term.name, there))
                else:
                    paired = self._atlas.structures[term.name].paired
                    self._take(result, Piece(term.name, there if paired else None), term.weight)
            return result
        parts = [self.of(term.name, term.on(side)) for term in pathway.terms]
        if pathway.join == "best":
            return np.asarray(np.maximum.reduce(parts))
        shares = [term.weight for term in pathway.terms]
        result = np.full(self._lesions.columns, max(0.0, 1 - sum(shares)))
        for share, part in zip(shares, parts, strict=True):
            result += share * part
        return np.minimum(result, 1.0)


_FUNCTIONS: Mapping[str, Callable[..., Array]] = {
    "lost": lambda x: 1 - x,
    "abs": np.abs,
    "max": lambda *x: np.maximum.reduce([np.broadcast_arrays(*x)[i] for i in range(len(x))]),
    "min": lambda *x: np.minimum.reduce([np.broadcast_arrays(*x)[i] for i in range(len(x))]),
    "mean": lambda *x: sum(x) / len(x),
}
_OPERATORS: Mapping[type[ast.operator], Callable[[Array, Array], Array]] = {
    ast.Add: np.add,
    ast.Sub: np.subtract,
    ast.Mult: np.multiply,
}


def _evaluate(text: str, side: Side | None, conduction: Conduction, where: str) -> Array:
    """Compute an expression of a signs row over all lesions; only arithmetic is understood."""

    def name(text: str, relation: str) -> Array:
        if relation in ("right", "left"):
            return conduction.of(text, Side(relation))
        if side is None:
            return conduction.of(text, None)
        return conduction.of(text, side.other if relation == "other" else side)

    def walk(node: ast.expr) -> Array:
        match node:
            case ast.Constant(value=int() | float() as number):
                return np.asarray(float(number))
            case ast.Name(id=text):
                return name(text, "same")
            case ast.Attribute(
                value=ast.Name(id=text), attr="other" | "right" | "left" as relation
            ):
                return name(text, relation)
            case ast.BinOp(left=left, op=operator, right=right) if type(operator) in _OPERATORS:
                return _OPERATORS[type(operator)](walk(left), walk(right))
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                return -walk(operand)
            case ast.Call(func=ast.Name(id=function), args=arguments) if function in _FUNCTIONS:
                return _FUNCTIONS[function](*map(walk, arguments))
        raise BadInput(
            "level",
            ast.unparse(node),
            "pathways, numbers, + - *, " + ", ".join(_FUNCTIONS),
            where=where,
        )

    try:
        return walk(ast.parse(text, mode="eval").body)
    except SyntaxError as problem:
        raise BadInput("level", text, "an arithmetic expression", where=where) from problem
    except KeyError as problem:
        raise BadInput(
            "level", problem.args[0], "a pathway or structure, with its side", where=where
        ) from problem


def sign_level(sign: Sign, side: Side | None, conduction: Conduction) -> Array:
    """Return the level of a graded sign under every lesion.

    Returns
    -------
    ndarray of shape (n_columns,)
        Clipped to the range of the sign's scale, from its least grade to its greatest.
    """
    if sign.scale is None:
        raise ValueError(f"{sign.id} has no level")
    levels = [level for _, level in sign.scale.grades.values()]
    return np.clip(_evaluate(sign.level, side, conduction, sign.where), levels[0], levels[-1])


def sign_strengths(sign: Sign, side: Side | None, conduction: Conduction) -> Array:
    """Return the strength of each state of a sign with categories under every lesion.

    Returns
    -------
    ndarray of shape (n_columns, n_states)
        Non-negative, each row summing to 1; what the abnormal states leave goes to the first.
    """
    columns = []
    for expression in sign.categories.values():
        columns.append(np.clip(_evaluate(expression, side, conduction, sign.where), 0, 1))
    abnormal = np.stack(columns, axis=1)
    total = abnormal.sum(axis=1, keepdims=True)
    abnormal = abnormal / np.maximum(total, 1.0)
    return np.concatenate([1 - abnormal.sum(axis=1, keepdims=True), abnormal], axis=1)
