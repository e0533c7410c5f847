"""Invented audiograms for the hearing tests."""

from hypothesis import strategies as st

from decussate.measures.audiogram import (
    AUDIOMETRIC_HZ,
    Audiogram,
    Conduction,
    Threshold,
    Transducer,
)
from decussate.sides import Side

WHO_HZ = (500, 1000, 2000, 4000)


def one_threshold(key):
    side, hz, conduction, masked = key
    top = 120 if conduction is Conduction.AIR else 70
    return st.builds(
        Threshold,
        side=st.just(side),
        frequency_hz=st.just(hz),
        conduction=st.just(conduction),
        level_db_hl=st.integers(-2, top // 5).map(lambda n: 5.0 * n),
        masked=st.just(masked),
        no_response=st.booleans(),
    )


KEYS = st.tuples(
    st.sampled_from(Side),
    st.sampled_from(AUDIOMETRIC_HZ),
    st.sampled_from(Conduction),
    st.booleans(),
)


@st.composite
def audiograms(draw):
    keys = draw(st.lists(KEYS, min_size=1, max_size=40, unique=True))
    thresholds = tuple(draw(one_threshold(key)) for key in keys)
    return Audiogram(thresholds, draw(st.sampled_from(Transducer)))


def air(right, left, frequencies=WHO_HZ, transducer=Transducer.SUPRA_AURAL):
    """An unmasked air-conduction audiogram from levels for each ear (or one level for all)."""
    return Audiogram(tuple(_levels(right, left, frequencies, Conduction.AIR, False)), transducer)


def _levels(right, left, frequencies, conduction, masked):
    for side, levels in ((Side.RIGHT, right), (Side.LEFT, left)):
        values = (
            [levels] * len(frequencies)
            if levels is None or isinstance(levels, (int, float))
            else levels
        )
        for hz, level in zip(frequencies, values, strict=True):
            if level is not None:
                yield Threshold(side, hz, conduction, level, masked)


def with_bone(audiogram, right, left, frequencies=WHO_HZ, *, masked=True):
    """The audiogram with bone conduction added."""
    bone = _levels(right, left, frequencies, Conduction.BONE, masked)
    return Audiogram(audiogram.thresholds + tuple(bone), audiogram.transducer)
