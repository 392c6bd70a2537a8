"""A wanted feel is weighed beside the objectives, and changes nothing where none is wanted."""

import dataclasses

import numpy as np
import pytest

from objectives import DESCRIPTOR_NAMES, OBJECTIVES
from objectives.feel import BANDS, MARKS
from optimizer.analysis.results import gathered
from optimizer.base.errors import UserInputError
from optimizer.execution.store import read_table
from optimizer.reports.page.facts import candidate_facts
from optimizer.search.evaluation import BASELINE
from optimizer.study.load import load_study
from optimizer.study.paths import store_path
from tests.optimizer.reports.page.unpacking import unpacked
from tests.optimizer.study.test_load import BASE, written


@pytest.fixture(scope="module")
def found(finished):
    study = load_study(finished)
    return study, read_table(store_path(study.folder))


def wanting(study, feel, weight):
    return dataclasses.replace(study, wanted_feel=feel, feel_weight=weight)


def test_the_cost_is_the_weighted_mean_of_the_objectives_and_the_miss(found):
    study, table = found
    plain = gathered(study, table)
    feel = plain.descriptors[:, DESCRIPTOR_NAMES.index("feel_deg_per_mps2")]
    miss = (np.abs(feel - 2.5) + 0.5) / (abs(feel[BASELINE] - 2.5) + 0.5)

    weighed = gathered(wanting(study, 2.5, 3.0), table)

    # Three objectives of weight 1 each, and the miss of weight 3.
    expected = 0.5 * plain.weighted_cost + 0.5 * miss
    known = np.isfinite(plain.weighted_cost) & np.isfinite(miss)
    assert known.sum() > 5
    np.testing.assert_allclose(weighed.weighted_cost[known], expected[known], rtol=1e-12)
    assert weighed.weighted_cost[BASELINE] == pytest.approx(1.0)
    [on_page] = unpacked(candidate_facts(weighed, np.array([3]))["rows"]["feel_miss"])
    assert on_page == pytest.approx(miss[3])


def test_a_feel_of_no_weight_changes_no_byte(found):
    study, table = found

    plain, weightless = (gathered(each, table) for each in (study, wanting(study, 2.5, 0.0)))

    np.testing.assert_array_equal(plain.weighted_cost, weightless.weighted_cost)
    assert plain.picks == weightless.picks
    assert "feel_miss" not in candidate_facts(plain, np.array([0]))["rows"]
    assert study.digest == wanting(study, 2.5, 1.0).digest


def test_a_heavy_weight_picks_the_candidate_nearest_to_the_wanted_feel(found):
    study, table = found
    results = gathered(wanting(study, MARKS["firm"], 1e6), table)

    feel = results.descriptors[:, DESCRIPTOR_NAMES.index("feel_deg_per_mps2")]
    front = np.flatnonzero(results.on_front)
    nearest = front[np.argmin(np.abs(feel[front] - MARKS["firm"]))]
    assert results.picks["lowest_cost"] == nearest


@pytest.mark.parametrize(("given", "wanted"), [('"soft"', MARKS["soft"]), ("2.2", 2.2)])
def test_a_study_file_wants_a_feel_by_word_or_number(tmp_path, given, wanted):
    study = load_study(written(tmp_path, f"{BASE}[objectives]\nfeel = {given}\n"))

    assert (study.wanted_feel, study.feel_weight) == (wanted, 1.0)
    assert set(study.weights) == set(OBJECTIVES)


def test_a_word_is_a_band_of_the_constraints(tmp_path):
    study = load_study(written(tmp_path, f'{BASE}[constraints]\nfeel = "firm"\n'))

    settings = study.settings
    assert (settings.feel_low_deg_per_mps2, settings.feel_high_deg_per_mps2) == BANDS["firm"]


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ('[objectives]\nfeel = "plush"\n', "must be firm, medium, soft, or deg per m/s2"),
        ('[constraints]\nfeel = "firm"\nfeel_low_deg_per_mps2 = 1.0\n', "keep one of them"),
    ],
)
def test_a_feel_that_can_not_be_meant_is_refused(tmp_path, text, fault):
    with pytest.raises(UserInputError, match=fault) as refused:
        load_study(written(tmp_path, BASE + text))

    assert "\n" not in str(refused.value)
