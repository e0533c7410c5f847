"""The signs a lesion predicts: counted column by column, mirrored, and as the textbook has them."""

import numpy as np
import pytest

from decussate.errors import BadInput
from decussate.localisation import load_model
from decussate.localisation.predicted import predicted_signs
from decussate.sides import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT
MODEL = load_model()
SITES = MODEL.lesions.sites


def as_dict(place, side):
    return {(one.sign, one.side): one for one in predicted_signs(place, side)}


@pytest.mark.parametrize("site", SITES[::23], ids=lambda site: f"{site.place}-{site.side}")
def test_the_average_is_the_sum_over_the_patterns(site):
    # The same number by a plain loop over the columns of the site.
    index = SITES.index(site)
    for key, one in list(as_dict(site.place, site.side).items())[::11]:
        table = MODEL.signs[key]
        total = dict.fromkeys(table.states, 0.0)
        for column in range(MODEL.lesions.columns):
            if MODEL.lesions.site_of[column] == index:
                row = table.probability[table.level_of[column]]
                for state, probability in zip(table.states, row, strict=True):
                    total[state] += MODEL.lesions.weight[column] * probability
        assert sum(total.values()) == pytest.approx(1.0)
        for state, probability in one.states.items():
            assert probability == pytest.approx(total[state])
        assert one.abnormal == pytest.approx(sum(one.states.values()))


def test_the_left_mirrors_the_right():
    for place in {site.place for site in SITES if site.side is RIGHT}:
        left = as_dict(place, LEFT)
        for (sign, side), one in as_dict(place, RIGHT).items():
            other = left[sign, side.other if side else None]
            assert np.isclose(one.abnormal, other.abnormal, atol=1e-6)
            mirrored = MODEL.atlas.signs[sign].mirrored_state
            for state, probability in one.states.items():
                assert np.isclose(probability, other.states[mirrored(state)], atol=1e-6)


@pytest.mark.parametrize(
    ("place", "shown", "spared"),
    [
        # Lateral medulla: sensory loss of the same side of the face and the other side of the
        # body, palate and sympathetic of the same side, no weak limb; Sacco RL et al. Arch Neurol
        # 1993;50:609 (33 patients).
        (
            "medulla_lateral",
            [("body_pin_loss", LEFT), ("palate_weakness", RIGHT), ("ptosis", RIGHT)],
            [("body_pin_loss", RIGHT), ("arm_weakness", LEFT)],
        ),
    ],
)
def test_classical_lesions_predict_their_signs(place, shown, spared):
    signs = as_dict(place, RIGHT)
    for key in shown:
        assert signs[key].excess > 0.3, key
    for key in spared:
        assert signs[key].excess < 0.1, key


def test_an_unknown_place_or_side_is_refused():
    with pytest.raises(BadInput, match="nowhere"):
        predicted_signs("nowhere", RIGHT)
    paired = next(site.place for site in SITES if site.side is RIGHT)
    with pytest.raises(BadInput, match="right or left"):
        predicted_signs(paired, None)
    with pytest.raises(BadInput, match="no side"):
        predicted_signs("normal", LEFT)
