"""Where no candidate is feasible, the nearest have names, and no pick has."""

import dataclasses

import numpy as np
import pytest

from optimizer.analysis.results import candidate_number, nearest_misses, read_results
from optimizer.base.errors import CandidateError
from optimizer.base.pick_names import NEAREST
from optimizer.study.load import load_study


def test_the_nearest_have_names_where_there_are_no_picks(finished):
    found = read_results(load_study(finished))
    violation = np.arange(len(found), 0.0, -1.0)  # the last candidate is the nearest
    hopeless = dataclasses.replace(found, picks={}, violation=violation)

    named = nearest_misses(hopeless)

    assert tuple(named) == NEAREST
    whole = np.flatnonzero(~found.rejected_early)[::-1]
    assert list(named.values()) == whole[: len(NEAREST)].tolist()
    assert candidate_number(hopeless, "nearest_1") == whole[0]
    with pytest.raises(CandidateError, match="take nearest_1"):
        candidate_number(hopeless, "balanced")


def test_no_miss_has_a_name_where_there_are_picks(finished):
    found = read_results(load_study(finished))

    assert nearest_misses(found) == {}
    with pytest.raises(CandidateError, match="take one of the picks balanced"):
        candidate_number(found, "nearest_1")
