"""The accelerated estimate agrees with plain counts, and its interval holds known rates."""

import dataclasses
import json

import numpy as np
import pytest

from objectives.event_rate import event_rate
from optimizer.base.errors import UserInputError
from optimizer.execution import kept_texts
from optimizer.interface import levelgain
from optimizer.reports.nose_down_lines import accelerated_line
from optimizer.riding_day.weak_profiles import ridden_nearness, weakened
from optimizer.study.load import load_study
from optimizer.validation import hardest_rides as hardest_module
from optimizer.validation.accelerated_count import accelerated_count, stratified_rate
from optimizer.validation.hardest_rides import drawn_hours, hardest_rides
from optimizer.validation.nose_down_rate import drawn_batch, ride_days, rides_at
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import simulate
from tests.optimizer.small_study import write_small_study

N_DRAWN = 80  # 21 h, of which the first 64 courses are ridden in full


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return load_study(write_small_study(tmp_path_factory.mktemp("small")))


@pytest.fixture(scope="module")
def cache(tmp_path_factory):
    return tmp_path_factory.mktemp("cache") / "kernel"


@pytest.fixture(autouse=True)
def found_here(cache, monkeypatch):
    """Let these tests find hardest rides once, and know none of before."""
    monkeypatch.setattr(kept_texts, "CACHE_FOLDER", cache)


@pytest.fixture
def alone(found_here, tmp_path, monkeypatch):
    """Let a test find hardest rides as a process does that knows none."""
    monkeypatch.setattr(kept_texts, "CACHE_FOLDER", tmp_path / "cache" / "kernel")
    return tmp_path / "cache" / "hardest_rides"


@pytest.fixture(scope="module")
def soft(study):
    """Return a baseline that is too soft for a few rides in a hundred."""
    row = weakened(profile_to_array(study.baseline))[0]
    row[PROFILE_NAMES.index("base_gain_a_per_deg")] *= 0.6
    return row


@pytest.fixture(scope="module")
def day(study, soft):
    return ride_days(study, soft, hours=15.0, n_jobs=2)


def test_the_hardest_rides_are_those_in_which_weak_profiles_come_nearest_to_a_fall(study):
    found = hardest_rides(study, n_drawn=8, n_jobs=2)

    rides, _ = drawn_batch(study, np.arange(8))
    first, second = ridden_nearness(simulate(weakened(profile_to_array(study.baseline)), rides))
    harder = np.argsort(-first, kind="stable")[: len(rides) // 10]
    order = harder[np.argsort(-(first + second)[harder], kind="stable")]
    assert found.places == {divmod(int(place), 16) for place in order[:2]}  # 1 % of 128, rounded up
    both = (first + second)[order[2]] / 2.0
    assert found.hold_weak_falls == (both < 0.5)


def test_hardest_rides_are_found_once_whatever_the_threads(study, alone, monkeypatch):
    one = hardest_rides(study, n_drawn=8, n_jobs=1)
    (file,) = alone.iterdir()
    file.unlink()
    assert hardest_rides(study, n_drawn=8, n_jobs=2) == one

    def refuse(*_, **__):
        raise AssertionError("hardest rides are looked for again")

    monkeypatch.setattr(hardest_module, "harder_rides", refuse)
    assert hardest_rides(study, n_drawn=8) == one


def test_more_hours_hold_the_hardest_of_all_of_them(study):
    fewer, more = (hardest_rides(study, n_drawn=n_drawn, n_jobs=2) for n_drawn in (8, N_DRAWN))

    assert len(more.places) == 13
    assert {course for course, _ in more.places} <= set(range(N_DRAWN))
    in_common = {place for place in more.places if place[0] < 8}
    assert in_common <= fewer.places


def test_the_estimate_is_what_both_strata_hold(study, soft, day):
    found = accelerated_count(study, soft, day, hours=drawn_hours(study, N_DRAWN), n_jobs=2)

    hardest = hardest_rides(study, n_drawn=N_DRAWN).places
    down = simulate(soft[None, :], rides_at(study, sorted(hardest)), n_jobs=2)
    in_hardest = int((down.outcome == Outcome.NOSE_DOWN).sum())
    in_rest = sum(place not in hardest for place in day.nose_downs)
    sampled = 64 * 16 - sum(course < 64 for course, _ in hardest)
    weight = (N_DRAWN * 16 - len(hardest)) / sampled
    assert day.n_courses == 64
    assert (found.in_hardest, found.in_rest) == (in_hardest, in_rest)
    assert in_hardest > 0 < in_rest
    assert found.rest_weight == pytest.approx(weight)
    assert found.hours == pytest.approx(N_DRAWN * 16 / 60.0)
    assert found.kilometres == pytest.approx(day.kilometres * N_DRAWN / 64)
    assert found.per_1000_km.rate == pytest.approx(
        (in_hardest + weight * in_rest) / (found.kilometres / 1000.0)
    )
    beyond = sum(course >= 64 for course, _ in hardest)
    assert found.ridden_h == pytest.approx(day.hours + beyond / 60.0)


def test_over_the_hours_ridden_in_full_the_estimate_is_the_plain_count(study, soft, day):
    found = accelerated_count(study, soft, day, hours=1.0, n_jobs=2)

    assert found.rest_weight == pytest.approx(1.0)
    assert found.in_hardest + found.in_rest == len(day.nose_downs)
    assert found.per_1000_km.rate == pytest.approx(day.per_1000_km.rate)


def test_equal_weights_have_the_interval_of_a_plain_count():
    found = stratified_rate(
        [1, 5, 9, 2, 3, 4],
        [12, 40, 41, 42],
        rest_weight=1.0,
        rest_may_hold_some=False,
        exposure=2.0,
    )

    # Ten events count for five: Garwood 1936, Biometrika 28:437, 95 %; from memory.
    assert (found.rate, found.low, found.high) == pytest.approx((5.0, 1.623, 11.668), rel=1e-3)


@pytest.mark.parametrize(("may_hold", "weighs"), [(False, 1.0), (True, 5.0)])
def test_without_an_event_the_rule_of_three_holds_for_what_the_rest_may_hide(may_hold, weighs):
    found = stratified_rate([], [], rest_weight=5.0, rest_may_hold_some=may_hold, exposure=10.0)

    # Hanley & Lippman-Hand 1983, JAMA 249:1743; each road that throws may throw two.
    assert (found.rate, found.low) == (0.0, 0.0)
    assert found.high == pytest.approx(2.0 * 3.0 * weighs / 10.0, rel=2e-3)


def test_an_event_of_the_rest_widens_the_interval():
    narrow, wide = (
        stratified_rate(hardest, rest, rest_weight=5.0, rest_may_hold_some=False, exposure=1.0)
        for hardest, rest in (([1, 2, 3, 4, 5, 6], []), ([1], [2]))
    )

    assert narrow.rate == wide.rate == 6.0
    assert wide.low < narrow.low
    assert wide.high > 1.5 * narrow.high


def intervals(n_days, *, expected, rest_share, per_road, seed):
    """Yield estimates of invented days of a known rate, five times the hours ridden in full.

    Roads of both strata are Poisson, events on one are geometric.
    """
    random = np.random.default_rng(seed)
    for _ in range(n_days):
        roads = [
            np.repeat(np.arange(count), random.geometric(1.0 / per_road, count))
            for count in (
                random.poisson(expected * (1.0 - rest_share) / per_road),
                random.poisson(expected * rest_share / per_road / 5.0),
            )
        ]
        yield stratified_rate(
            roads[0].tolist(),
            (1000 + roads[1]).tolist(),
            rest_weight=5.0,
            rest_may_hold_some=False,
            exposure=1.0,
        )


@pytest.mark.parametrize("expected", [1.0, 3.0, 10.0, 30.0])
@pytest.mark.parametrize("rest_share", [0.0, 0.05])
def test_the_interval_holds_a_known_rate_as_often_as_it_says(expected, rest_share):
    found = list(intervals(1500, expected=expected, rest_share=rest_share, per_road=1.0, seed=11))

    covered = np.mean([each.low <= expected <= each.high for each in found])
    assert np.mean([each.rate for each in found]) == pytest.approx(expected, rel=0.1)
    assert covered >= 0.95 - 2.0 * np.sqrt(0.05 * 0.95 / 1500)
    plain = []
    for count in np.random.default_rng(1).poisson(expected / 5.0, 1500):
        rate = event_rate(np.eye(1000)[:count].sum(axis=0), np.full(1000, 0.2 / 1000.0))
        plain.append(rate.high - rate.low)
    assert np.mean([each.high - each.low for each in found]) < 0.55 * np.mean(plain)


@pytest.mark.parametrize("expected", [3.0, 10.0, 30.0])
@pytest.mark.parametrize(
    ("rest_share", "per_road", "least"), [(0.2, 1.0, 0.95), (0.05, 1.8, 0.94), (0.2, 1.8, 0.92)]
)
def test_the_interval_suffers_little_where_roads_throw_many_or_the_rest_holds_a_fifth(
    expected, rest_share, per_road, least
):
    found = intervals(1000, expected=expected, rest_share=rest_share, per_road=per_road, seed=12)

    covered = np.mean([each.low <= expected <= each.high for each in found])
    assert covered >= least


def test_the_line_says_what_is_assumed(study, soft, day):
    with_rest = accelerated_count(study, soft, day, hours=drawn_hours(study, N_DRAWN), n_jobs=2)
    without = dataclasses.replace(with_rest, in_rest=0, assumes_an_empty_rest=True)

    assert not with_rest.assumes_an_empty_rest
    assert "decides no verdict" in accelerated_line(with_rest)
    assert f" and {with_rest.in_rest} in the rest" in accelerated_line(with_rest)
    assert "is taken to hold none" in accelerated_line(without)


def test_the_command_tells_the_estimate_and_the_verdict_stays_with_the_count(levelgain, tmp_path):
    folder = write_small_study(tmp_path / "small")
    with (folder / "study.toml").open("a") as file:
        file.write("[validation]\ndraws = 1\nhours = 0.5\n[riding_day]\nride_s = 10.0\n")

    code, out, _ = levelgain("validate", folder, "--accelerated", "4")

    facts = json.loads((folder / "validation" / "baseline.json").read_text(encoding="utf-8"))
    page = (folder / "validation" / "baseline.html").read_text(encoding="utf-8")
    assert code == 0
    assert facts["accelerated"]["hours"] == pytest.approx(4.0, abs=0.05)
    assert set(facts["accelerated"]["per_1000_km"]) == {"rate", "low", "high"}
    [verdict] = [one for one in facts["verdicts"] if "riding day" in one["item"]]
    assert "ccelerated" not in str(verdict)
    for text in (out, page):
        assert "Accelerated estimate over 4 h" in " ".join(text.split())
        assert "Asked: at most 0.29 per 1,000 km" in " ".join(text.split())


def test_an_estimate_over_no_more_hours_than_are_ridden_is_refused(study):
    with pytest.raises(
        UserInputError, match="more than the 5 hours that are ridden in full, got 5;"
    ):
        levelgain.validate(study, study.baseline, hours=5.0, accelerated=5.0)
