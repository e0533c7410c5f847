"""A near card in graded sizes, set as PDF, whose letters are as tall as the rule for N sizes says.

References
----------
.. [1] Law FW. Standardization of reading types. Br J Ophthalmol 1951;35:765-773 (N sizes).
.. [2] Sloan LL. M unit: letter height subtending 5 minutes of arc at 1 m.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files

import yaml

from decussate.documents.test_charts import RULER_MM, set_pdf
from decussate.errors import BadInput
from decussate.measures.near_acuity import DEFAULT_N_RULE, NearAcuity, m_from_n, x_height_mm

__all__ = ["NearCard", "NearPassage", "lay_out_near_card", "near_card_pdf"]


@dataclass(frozen=True, slots=True)
class NearPassage:
    """A passage of one size.

    Parameters
    ----------
    n_size, m_units : float
        Its N size, and M units by the rule of the card.
    x_height_mm : float
        Height of its small letters.
    logmar : float
        At the distance of the card.
    text : str
    """

    n_size: float
    m_units: float
    x_height_mm: float
    logmar: float
    text: str


@dataclass(frozen=True, slots=True)
class NearCard:
    """A near card for one distance.

    Parameters
    ----------
    distance_m : float
    n_rule : str
        The rule that turned N sizes into letter heights, printed on the card.
    passages : tuple of NearPassage
        Largest first.
    """

    distance_m: float
    n_rule: str
    passages: tuple[NearPassage, ...]


def lay_out_near_card(distance_m: float = 0.4, *, n_rule: str = DEFAULT_N_RULE) -> NearCard:
    """Choose the letter heights of a near card.

    Parameters
    ----------
    distance_m : float
        Distance it will be held at, metres, 0.2 to 0.7.
    n_rule : str
        A rule of `decussate.measures.near_acuity.x_height_mm`.

    Returns
    -------
    NearCard

    Raises
    ------
    BadInput
        When the distance is out of range or the rule unknown.
    """
    if not 0.2 <= distance_m <= 0.7:
        hint = "Is it in centimetres? 40 cm is 0.4."
        raise BadInput("distance of the near card", distance_m, "0.2 to 0.7 metre", hint=hint)
    text = files("decussate.documents").joinpath("data", "near_card.yaml").read_text("utf-8")
    passages = []
    for row in yaml.safe_load(text)["passages"]:
        m_units = m_from_n(row["n"], rule=n_rule)
        passages.append(
            NearPassage(
                row["n"],
                m_units,
                x_height_mm(row["n"], rule=n_rule),
                NearAcuity(m_units, distance_m).logmar,
                row["text"],
            )
        )
    return NearCard(distance_m, n_rule, tuple(passages))


def near_card_pdf(card: NearCard) -> bytes:
    """Set a near card as PDF, with a line to check the print scale.

    Parameters
    ----------
    card : NearCard

    Returns
    -------
    bytes
        The same card gives the same bytes.
    """
    return set_pdf(
        "near_card.typ",
        {
            "ruler_mm": RULER_MM,
            "distance": f"{card.distance_m * 100:.3g} cm",
            "rule": card.n_rule,
            "passages": [
                {
                    "label": f"N{p.n_size:g}  {p.m_units:.2f} M  logMAR {p.logmar:.2f}",
                    "x_height_mm": p.x_height_mm,
                    "text": p.text,
                }
                for p in card.passages
            ],
        },
    )
