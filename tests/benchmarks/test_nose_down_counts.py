"""Counts of nose-downs are those of the rides, in whatever steps a day is ridden."""

import dataclasses

import numpy as np
import pytest

from objectives.nose_down_rate import DayRules, RateEstimate
from optimizer.base.errors import UserInputError
from optimizer.riding_day.rides import day_rides
from optimizer.riding_day.weak_profiles import weakened
from optimizer.study.load import load_study
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import simulate
from tests.benchmarks.counted_day import (
    Counts,
    counted,
    nothing_ridden,
    read_counts,
    wanted_places,
    work_done,
    work_wanted,
    write_counts,
)
from tests.benchmarks.fifth_of_baseline import shares, shares_table
from tests.benchmarks.kept_day import kept_counts
from tests.benchmarks.nose_down_counts import main, spread_along
from tests.benchmarks.nose_down_report import report
from tests.benchmarks.nose_down_widths import scanned, widths_report
from tests.benchmarks.time_to_go import TimeToGo
from tests.optimizer.small_study import SHORT_RIDES, searched, write_small_study

SEED = 5

# Two courses of three rides by two riders, of which four were ridden by two profiles.
COUNTS = Counts(
    key="a day",
    hardness=np.array([[0.2, 0.9, 0.1], [0.9, 0.3, 0.5]]),
    rider=np.array([[0, 1, 0], [1, 0, 1]]),
    kilometres=np.array([[100.0, 200.0, 100.0], [200.0, 200.0, 200.0]]),
    hours=np.full((2, 3), 0.5),
    places=np.array([[0, 1], [1, 0], [1, 1], [1, 2]]),
    down=np.array([[True, True], [True, False], [False, False], [True, True]]),
)


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    half_as_long = ("[constraints]", "[riding_day]\nride_s = 30.0\n\n[constraints]")
    return load_study(write_small_study(tmp_path_factory.mktemp("small"), half_as_long))


@pytest.fixture(scope="module")
def profiles(study):
    """Return a baseline that is too soft to keep its nose up, and one softer still."""
    rows = weakened(profile_to_array(study.baseline))
    rows[:, PROFILE_NAMES.index("base_gain_a_per_deg")] *= (0.3, 0.2)
    return rows


def ridden(study, profiles, counts, *, hours, hardest=1.0, n_jobs=2):
    return counted(study, profiles, counts, hours=hours, hardest=hardest, seed=SEED, n_jobs=n_jobs)


def nothing(profiles):
    return nothing_ridden("a day", n_profiles=len(profiles))


def test_rates_are_counts_over_the_kilometres():
    assert COUNTS.rate(0).n_events == 3
    assert COUNTS.rate(0).rate == pytest.approx(3.0)  # 3 in 1,000 km
    assert COUNTS.rate(1, rider=1).rate == pytest.approx(2.0 / 0.6)
    assert COUNTS.rate(1, rider=0).n_events == 0
    assert COUNTS.rate(0, rider=0).exposure == pytest.approx(0.4)


def test_the_hardest_that_were_not_ridden_are_wanted_ties_by_number():
    fresh = dataclasses.replace(COUNTS, places=np.empty((0, 2), dtype=np.int64))

    np.testing.assert_array_equal(wanted_places(fresh, 0.1), [[0, 1]])
    np.testing.assert_array_equal(wanted_places(fresh, 0.5), [[0, 1], [1, 0], [1, 2]])
    assert len(wanted_places(COUNTS, 0.5)) == 0
    np.testing.assert_array_equal(wanted_places(COUNTS, 1.0), [[0, 0], [0, 2]])


def test_candidates_are_spread_along_the_front_by_rate():
    rate = np.array([9.0, 5.0, 1.0, 0.0, 3.0, 2.0, 4.0])
    on_front = np.array([False, True, True, False, True, True, True])

    assert spread_along(rate, on_front, 3) == [2, 4, 1]
    assert spread_along(rate, on_front, 30) == [2, 5, 4, 6, 1]


def test_counts_are_those_of_the_rides_of_the_day(study, profiles):
    found = ridden(study, profiles, nothing(profiles), hours=0.1)

    rides = [ride for course in day_rides(study, np.arange(8), seed=SEED) for ride in course]
    down = simulate(profiles, rides, n_jobs=2).outcome == Outcome.NOSE_DOWN
    assert down.any(axis=1).all()
    np.testing.assert_array_equal(found.down.T, down)
    riders = list(study.riders)
    of_first = np.array([ride.rider_name == riders[0] for ride in rides])
    assert found.rate(0, rider=0).n_events == np.count_nonzero(down[0] & of_first)
    assert found.rate(0).n_events == np.count_nonzero(down[0])


def test_a_day_continued_from_its_file_is_the_day_in_one_go(study, profiles, tmp_path):
    path = tmp_path / "counts.npz"
    write_counts(path, ridden(study, profiles, nothing(profiles), hours=1.0, hardest=0.02))
    part = read_counts(path, "a day", n_profiles=2)

    found = ridden(study, profiles, part, hours=2.0, hardest=0.1, n_jobs=1)

    whole = ridden(study, profiles, nothing(profiles), hours=2.0, hardest=0.1)
    assert 0 < len(part.places) < len(found.places)
    np.testing.assert_array_equal(found.hardness, whole.hardness)
    np.testing.assert_array_equal(found.kilometres, whole.kilometres)
    order = np.lexsort(found.places.T[::-1])
    kept = np.isin(found.places @ [16, 1], whole.places @ [16, 1])[order]
    np.testing.assert_array_equal(found.places[order][kept], whole.places)
    np.testing.assert_array_equal(found.down[order][kept], whole.down)


def test_counts_of_other_profiles_are_refused(tmp_path):
    path = tmp_path / "counts.npz"
    write_counts(path, COUNTS)

    with pytest.raises(UserInputError, match="counts of other profiles or of another day"):
        read_counts(path, "another day", n_profiles=2)
    path.write_text("no counts")
    with pytest.raises(UserInputError, match="holds no counts"):
        read_counts(path, "a day", n_profiles=2)


def test_the_report_says_what_was_counted():
    estimate = RateEstimate(rate=2.0, low=1.0, high=2.9)

    text = report(
        dataclasses.replace(COUNTS, down=COUNTS.down[:, [0, 1, 0]]),
        [estimate] * 3,
        names=["0 baseline", "7 cheapest", "9"],
        riders=["ann", "bob"],
        objective=np.array([2.0, 3.0, 4.0]),
        on_front=np.array([False, True, True]),
        title="a study",
    )

    cells = [line.strip("| ").split(" | ") for line in text.splitlines()]
    assert cells[2][:3] == ["0 baseline", "3", "3, bob"]
    assert cells[3][:3] == ["7 cheapest", "2", "2, bob"]
    assert cells[3][-1] == "yes"  # 2 in 1,000 km
    found = dict(line for line in cells if len(line) == 2)
    assert found["nose-downs per 1,000 km"] == "a study"
    assert found["hours; km"] == "3; 1000"
    assert found["rides (of which ridden by all profiles)"] == "6 (4)"
    assert found["rank correlation of rate and count, 2 profiles of the front"] == "1.00"
    assert found["counts inside the interval of 95 %, front"] == "1 of 2"
    assert found["the same, with picks and baseline"] == "1 of 3"
    assert found["intervals of count and estimate that meet"] == "3 of 3"
    assert found["rides; roads that no profile survives"] == "2; 2"


def test_the_lowest_rate_is_compared_with_the_baseline_by_roads_and_riders():
    # Three roads of two rides each, one by each rider; the last road throws everybody.
    down = np.array([[1, 0], [1, 0], [1, 0], [0, 0], [1, 1], [1, 1]], dtype=bool)
    counts = Counts(
        key="a day",
        hardness=np.zeros((3, 2)),
        rider=np.array([[0, 1]] * 3),
        kilometres=np.full((3, 2), 10.0),
        hours=np.full((3, 2), 1.0),
        places=np.array([[0, 0], [0, 1], [1, 0], [1, 1], [2, 0], [2, 1]]),
        down=down,
    )

    found = {share.among: share for share in shares(counts, 1)}

    assert counts.survived().tolist() == [True, True, False]
    counted = {among: (share.baseline, share.profile) for among, share in found.items()}
    assert counted == {
        "all roads, all riders": (5, 2),
        "all roads, worst rider": (3, 1),
        "roads that a profile survives, all riders": (3, 0),
        "roads that a profile survives, worst rider": (2, 0),
    }
    assert found["all roads, all riders"].share == pytest.approx(0.4)
    low, high = (getattr(found["all roads, all riders"], name) for name in ("low", "high"))
    assert (low, high) == (0.0, 1.0)  # resampled days hold the last road alone, or not at all
    # Three of the baseline and none of the profile: twice 3 / 3 by the rule of three.
    none = found["roads that a profile survives, all riders"]
    assert (none.share, none.low, none.high) == (0.0, 0.0, pytest.approx(2.0, abs=0.01))
    verdicts = [
        line.split(" | ")[-1] for line in shares_table(list(found.values()), "9").splitlines()
    ]
    assert verdicts[2:] == ["no |", "no |", "yes |", "yes |"]


def test_a_baseline_that_is_never_thrown_has_no_share():
    never = dataclasses.replace(COUNTS, down=np.zeros((4, 2), dtype=np.bool_))

    assert shares_table(shares(never, 1), "9").count("not known") == 8


def test_an_interrupted_day_keeps_what_was_ridden_and_goes_on(
    study, profiles, tmp_path, monkeypatch
):
    path = tmp_path / "out" / "small_1.npz"
    asked = {"key": "a day", "hours": 2.0, "hardest": 1.0, "seed": SEED, "n_jobs": 1}
    steps = 0

    def stopped(self, _done):
        nonlocal steps
        steps += 1
        if steps == 3:
            raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(TimeToGo, "at", stopped)
        with pytest.raises(KeyboardInterrupt):
            kept_counts(study, profiles, path, **asked)
    part = read_counts(path, "a day", n_profiles=2)
    found = kept_counts(study, profiles, path, **asked)

    whole = ridden(study, profiles, nothing(profiles), hours=2.0)
    assert len(part.hardness) == 16  # two steps of eight roads and one whose end was stopped
    np.testing.assert_array_equal(found.down, whole.down)
    np.testing.assert_array_equal(read_counts(path, "a day", n_profiles=2).down, whole.down)
    assert work_done(study, whole) == pytest.approx(
        work_wanted(study, n_profiles=2, hours=whole.hours.sum(), hardest=1.0), rel=0.1
    )


def test_the_time_to_go_is_that_at_the_pace_so_far():
    now_s, said = 0.0, []
    to_go = TimeToGo("a day", 100.0, done=20.0, clock=lambda: now_s, say=said.append)

    to_go.at(21.0)
    now_s = 60.0
    to_go.at(40.0)
    to_go.at(41.0)

    assert said == ["a day: 40 % done, about 3 min to go"]


def test_a_scan_finds_the_widths_and_the_constant_by_which_rates_were_made():
    random = np.random.default_rng(3)
    n_profiles, n_rides = 60, 40
    level = random.uniform(-0.1, 0.3, (n_profiles, 1))
    reserve = level + random.normal(0.0, 0.15, (n_profiles, n_rides))
    nose = 1.0 - level + random.normal(0.0, 0.3, (n_profiles, n_rides))
    day = DayRules(
        rider=np.arange(n_rides) % 2,
        road=np.arange(n_rides),
        weight=np.ones(n_rides),
        kilometres=np.array([400.0, 600.0]),
        worst_rider_weight=0.5,
    )
    # Nearness written out once more, by the widths 0.1 and 0.2.
    lost = 1.0 - 1.0 / ((1.0 + np.exp(-reserve / 0.1)) * (1.0 + np.exp(-nose / 0.2)))
    made = 0.3 * lost.sum(axis=1)  # in 1,000 km

    found = scanned(reserve, nose, np.zeros(reserve.shape, dtype=np.int8), day, counted=made)

    assert (found[0].reserve_ratio, found[0].nose_ratio) == (0.1, 0.2)
    assert found[0].order == pytest.approx(1.0)
    assert found[0].slope == pytest.approx(1.0, abs=0.01)
    assert found[0].per_nearness == pytest.approx(0.3, rel=0.01)
    assert found[-1].order < 0.99
    assert widths_report(found).count("in use") == 1


def test_the_command_counts_a_searched_study_and_continues(tmp_path):
    folder = write_small_study(tmp_path / "small", SHORT_RIDES)
    searched(folder, 24)
    asked = [str(folder), "--profiles", "4", "--hardest", "0.05", "--widths", "--threads", "1"]
    asked += ["--out", str(tmp_path / "out"), "--hours"]

    first, again = main([*asked, "0.1"]), main([*asked, "0.1"])

    assert first == again
    assert "| 0 baseline |" in first
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["small_1.npz"]
    assert "| 1; " in main([*asked, "0.5"])
