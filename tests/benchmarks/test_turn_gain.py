"""The turn response earns its place: the claim of the section in RESULTS.md, on the baseline."""

from pathlib import Path

from optimizer.study.load import load_study
from plant.description.profile_array import profile_to_array
from tests.benchmarks.turn_gain import in_bends

EXAMPLE = Path(__file__).parents[2] / "studies" / "hill_town"


def test_a_turn_response_keeps_the_nose_up_in_bends_and_a_strong_one_lifts_it_off_level():
    study = load_study(EXAMPLE)
    baseline = profile_to_array(study.baseline)[None, :]

    (none, close), (some, clear), (strong, _) = (
        in_bends(study, baseline, gain) for gain in (0.0, 0.2, 1.0)
    )

    assert clear > close + 0.02
    assert some[0] < none[0]
    assert strong[0] > some[0]
