"""The words for a feel, and how far one is from what is wanted."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from objectives.feel import BANDS, MARKS, feel_in_words, feel_miss


def test_each_mark_lies_in_its_band_and_the_bands_follow_one_another():
    assert list(MARKS) == list(BANDS)
    for mark, value in MARKS.items():
        assert BANDS[mark][0] < value < BANDS[mark][1]
        assert feel_in_words(value) == mark
    for (_, high), (low, _) in itertools.pairwise(BANDS.values()):
        assert high == low


@pytest.mark.parametrize(
    ("feel", "words"),
    [(0.2, "firmer than firm"), (9.0, "softer than soft"), (float("nan"), "unknown")],
)
def test_beyond_the_bands_a_feel_is_said_to_be_so(feel, words):
    assert feel_in_words(feel) == words


def test_the_outer_ends_of_the_bands_belong_to_them():
    assert feel_in_words(BANDS["firm"][0]) == "firm"
    assert feel_in_words(BANDS["soft"][1]) == "soft"


@given(st.floats(0.0, 10.0), st.floats(0.0, 10.0))
def test_the_miss_is_least_at_what_is_wanted_and_alike_on_both_sides(wanted, off):
    above, at, below = feel_miss(np.array([wanted + off, wanted, wanted - off]), wanted)

    assert 0.0 < at <= above
    assert above == pytest.approx(below)


def test_a_feel_that_is_not_known_misses_altogether():
    assert feel_miss(np.array([np.nan]), 2.0) == np.inf
