"""Hard rides are a function of the study, lie inside its day's rides, and are hard for others."""

import dataclasses
import itertools

import numpy as np
import pytest
from scipy.stats import mannwhitneyu

from objectives.nose_down_rate import NOSE_WIDTH_RATIO, RESERVE_WIDTH_RATIO
from optimizer.base.hashing import spawned
from optimizer.riding_day import hard_rides
from optimizer.riding_day.hard_rides import find_hard_rides, stored_hard_rides
from optimizer.riding_day.pieces import PIECE_S, n_pieces, piece_of, pieces_of_day
from optimizer.riding_day.rides import LANES_OF_A_COURSE, day_rides
from optimizer.riding_day.weak_profiles import ridden_nearness, weakened
from optimizer.study.load import load_study
from optimizer.study.study import Study
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import lay, simulate
from tests.optimizer.small_study import write_small_study

N_COURSES = 8  # of the day of 2 h that the small study asks for


@pytest.fixture(scope="module")
def study(tmp_path_factory) -> Study:
    return load_study(write_small_study(tmp_path_factory.mktemp("small")))


@pytest.fixture(scope="module")
def hard(study):
    return find_hard_rides(study)


@pytest.fixture(scope="module")
def brief(study):
    """Return a study with rides of one piece each, for what does not depend on their length."""
    return dataclasses.replace(with_day(study, ride_s=15.0), hard_rides_h=0.5)


@pytest.fixture(scope="module")
def found_brief(brief):
    return find_hard_rides(brief)


def with_day(study, **changes):
    return dataclasses.replace(study, riding_day=dataclasses.replace(study.riding_day, **changes))


def drawn_day(study):
    """Return the rides of the drawn courses from which the hard rides are taken."""
    seed = spawned(study.seed, "hard rides", "day")
    return list(day_rides(study, np.arange(N_COURSES), seed=seed))


def near_to_nose_down(profiles, rides):
    return ridden_nearness(simulate(profiles, rides, n_jobs=2))


# A function of the study.


def test_one_study_has_one_set_of_hard_rides_on_any_number_of_threads(study, hard):
    again = find_hard_rides(study, n_jobs=2)

    assert again.text == hard.text
    assert again.rides == hard.rides


def test_batches_ridden_together_find_the_same_hard_rides(brief, found_brief, monkeypatch):
    wide = dataclasses.replace(brief, hard_rides_h=2.0)  # some batches of half an hour
    apart = find_hard_rides(wide, n_jobs=2)

    monkeypatch.setattr(hard_rides, "batches_at_once", lambda _device, lanes: 500 // lanes)
    together = find_hard_rides(wide, n_jobs=2)

    assert together.text == apart.text != found_brief.text


def test_hard_rides_come_back_from_their_text(study, hard):
    found = stored_hard_rides(study, hard.text)

    assert found.rides == hard.rides
    np.testing.assert_array_equal(found.roads, hard.roads)
    np.testing.assert_array_equal(found.weights, hard.weights)
    assert found.kilometres == hard.kilometres
    assert found.text == hard.text


def test_hard_rides_are_distinct_named_and_as_many_as_asked(study, hard):
    assert len(hard.rides) == study.n_hard_rides == len(hard.roads)
    assert len({ride.name for ride in hard.rides}) == len(hard.rides)
    assert set(hard.kilometres) == set(study.riders)
    assert all(ride.course.part is not None for ride in hard.rides)


def other_seed(study):
    return dataclasses.replace(study, seed=study.seed + 1)


def flat_day(study):
    return with_day(study, steepest_percent=1.0)


def one_tolerance_less(study):
    return dataclasses.replace(study, tolerances=study.tolerances[1:])


def other_baseline(study):
    damping = study.baseline.damping
    weaker = dataclasses.replace(
        damping, rate_gain_a_per_deg_per_s=0.7 * damping.rate_gain_a_per_deg_per_s
    )
    return dataclasses.replace(study, baseline=dataclasses.replace(study.baseline, damping=weaker))


@pytest.mark.parametrize("change", [other_seed, flat_day, one_tolerance_less])
def test_what_decides_the_day_decides_the_hard_rides(brief, found_brief, change):
    found = find_hard_rides(change(brief), n_jobs=2)

    assert found.text != found_brief.text
    assert found.rides != found_brief.rides


def test_another_baseline_finds_its_own(brief, found_brief):
    assert find_hard_rides(other_baseline(brief), n_jobs=2).text != found_brief.text


def test_what_is_not_of_the_day_leaves_the_hard_rides(brief, found_brief):
    other = dataclasses.replace(
        brief, rides=brief.rides[:2], ride_weights=brief.ride_weights[:2], title="Another"
    )

    assert find_hard_rides(other, n_jobs=2).rides == found_brief.rides


def test_a_search_and_its_reevaluation_have_hard_rides_of_other_roads(study, hard):
    assert len(hard.others.rides) == len(hard.rides)
    assert not set(hard.others.roads) & set(hard.roads)
    assert hard.others.others is None


# Pieces.


@pytest.mark.parametrize("ride_s", [10.0, 22.0, 60.0, 77.777, 600.0])
def test_pieces_tile_their_ride(study, ride_s):
    [[ride, *_]] = day_rides(with_day(study, ride_s=ride_s), np.arange(1), seed=3)

    parts = [
        piece_of(ride, number, name=str(number)).course.part for number in range(n_pieces(ride_s))
    ]

    assert parts[0].from_s == 0.0
    assert parts[0].from_m == 0.0
    for part, later in itertools.pairwise(parts):
        assert part.from_s < part.to_s < later.to_s
        assert later.from_s == pytest.approx(part.to_s - 3.0, abs=0.011)  # the lead-in
        assert later.from_m > part.from_m
    assert all(0.0 <= part.from_s < part.to_s <= ride_s for part in parts)
    assert parts[-1].to_s == pytest.approx(ride_s, abs=0.011)
    own = np.diff([0.0, *(part.to_s for part in parts)])
    np.testing.assert_allclose(own, ride_s / len(parts), atol=0.011)
    assert 0.6 * PIECE_S < ride_s / len(parts) < 1.5 * PIECE_S


def test_a_hard_ride_is_a_piece_of_the_drawn_ride_that_it_names(study, hard):
    drawn = drawn_day(study)

    for ride in hard.rides:
        _, course, piece, lane = ride.course.name.split("_")
        whole = drawn[int(course)][int(lane)]
        assert (ride.board, ride.rider, ride.rider_name) == (
            whole.board,
            whole.rider,
            whole.rider_name,
        )
        assert ride.course.road == whole.course.road
        assert ride.course.manoeuvre == whole.course.manoeuvre
        assert ride.course.road_seed == whole.course.road_seed
        assert ride.noise_seed == whole.noise_seed ^ int(piece)
        assert 0.0 <= ride.course.part.from_s < ride.course.part.to_s
        assert ride.course.part.to_s <= whole.course.duration_s


def test_roads_are_the_numbers_of_the_drawn_courses(hard):
    courses = [int(ride.course.name.split("_")[1]) for ride in hard.rides]

    np.testing.assert_array_equal(hard.roads, courses)


# The hardest.


def test_the_hardest_are_kept_in_order_and_a_sample_of_the_next(study, hard):
    # Ridden without the short cut: every piece of the day, by both weak profiles, each on its own.
    places = [
        (course, piece, lane)
        for course in range(N_COURSES)
        for piece in range(n_pieces(study.riding_day.ride_s))
        for lane in range(LANES_OF_A_COURSE)
    ]
    drawn = drawn_day(study)
    rides = [
        piece_of(drawn[course][lane], piece, name=f"day_{course}_{piece}")
        for course, piece, lane in places
    ]
    baseline = profile_to_array(study.baseline)
    near = near_to_nose_down(weakened(baseline), rides).mean(axis=0)
    nearest = sorted(range(len(places)), key=lambda place: (-near[place], places[place]))[:400]

    results = simulate(np.vstack([weakened(baseline), baseline]), [rides[i] for i in nearest])
    least = np.minimum(
        results.column("least_reserve_ratio") / RESERVE_WIDTH_RATIO,
        results.column("least_nose_margin_ratio") / NOSE_WIDTH_RATIO,
    ).clip(-8.0, 12.0)
    least[results.outcome == Outcome.NOSE_DOWN] = -8.0
    order = [places[nearest[i]] for i in np.argsort(least.mean(axis=0), kind="stable")]

    for number, part in enumerate((hard, hard.others)):
        of_roads = [place for place in order if place[0] % 2 == number]
        kept = [tuple(map(int, ride.course.name.split("_")[1:])) for ride in part.rides]
        assert kept == [*of_roads[:4], of_roads[8], of_roads[16]]
        np.testing.assert_array_equal(part.weights, [1.0, 1.0, 1.0, 1.0, 8.0, 8.0])


def test_the_hardest_of_few_are_the_hardest_of_more(study, hard):
    more = find_hard_rides(dataclasses.replace(study, n_hard_rides=12), n_jobs=2)

    assert more.rides[:4] == hard.rides[:4]
    assert more.kilometres == hard.kilometres


@pytest.mark.parametrize("n_asked", [15, 150])  # more than a tenth, and more than all, of 128
def test_a_short_day_gives_as_many_hard_rides_as_asked(brief, n_asked):
    short = dataclasses.replace(brief, n_hard_rides=n_asked, hard_rides_h=0.1)

    found = find_hard_rides(short, n_jobs=2)

    assert len({ride.name for ride in found.rides}) == n_asked


@pytest.fixture(scope="module")
def found_24(study):
    return find_hard_rides(dataclasses.replace(study, n_hard_rides=24), n_jobs=2)


@pytest.mark.parametrize(
    "factors",
    [{}, {"base_gain_a_per_deg": 0.75}, {"mid_gain_ratio": 0.7, "braking_stiffness_ratio": 0.7}],
    ids=["baseline", "softer", "soft far from level"],
)
def test_hard_rides_are_hard_for_a_profile_that_did_not_choose_them(study, found_24, factors):
    # The 24 hardest of 512 of the day; by chance they would be as near as any others.
    profile = profile_to_array(study.baseline)[None, :].copy()
    for name, factor in factors.items():
        profile[:, PROFILE_NAMES.index(name)] *= factor
    random = np.random.default_rng(5)
    drawn = drawn_day(study)
    others = [
        piece_of(drawn[course][lane], piece, name=f"other_{number}")
        for number, (course, piece, lane) in enumerate(
            random.integers(0, [N_COURSES, 4, LANES_OF_A_COURSE], (200, 3)).tolist()
        )
    ]

    chosen, usual = (near_to_nose_down(profile, rides)[0] for rides in (found_24.rides, others))

    assert mannwhitneyu(chosen, usual, alternative="greater").pvalue < 1e-6
    least = min(chosen.min(), usual.min())  # as of a ride that is nowhere near
    assert chosen.mean() - least > 3.0 * (usual.mean() - least)
    # Most rides are nowhere near, whoever chose them: the upper ends tell.
    assert np.percentile(chosen, 75) > np.percentile(usual, 90)


# Kilometres.


@pytest.mark.parametrize("ride_s", [12.0, 22.0, 60.0])
def test_kilometres_are_nearly_those_of_the_whole_rides(study, ride_s):
    asked = dataclasses.replace(with_day(study, ride_s=ride_s), hard_rides_h=0.3)
    drawn = drawn_day(asked)
    n_drawn = N_COURSES * -(-0.3 * 3600.0 // (N_COURSES * LANES_OF_A_COURSE * ride_s))
    assert n_drawn == N_COURSES  # one batch of courses is enough
    rides = [ride for of_course in drawn for ride in of_course]
    ridden_m = np.abs(
        simulate(profile_to_array(asked.baseline)[None, :], rides, n_jobs=2).column("distance_m")[0]
    )

    found = find_hard_rides(asked, n_jobs=2)

    for name, kilometres in found.kilometres.items():
        whole = ridden_m[[ride.rider_name == name for ride in rides]].sum() / 1000.0
        assert kilometres == found.others.kilometres[name]
        assert 2.0 * kilometres == pytest.approx(whole, rel=0.08)


def test_hours_that_are_ridden_are_reported(study):
    reports: list[float] = []

    find_hard_rides(study, n_jobs=2, advance=reports.append)

    each_h = N_COURSES * LANES_OF_A_COURSE * study.riding_day.ride_s / 3600.0
    assert sum(reports) == pytest.approx(each_h * np.ceil(study.hard_rides_h / each_h))


# More hours, on hard ground alone.


@pytest.fixture(scope="module")
def wider(study):
    """Return a study that asks for more hours than those of its whole courses."""
    return dataclasses.replace(study, hard_rides_h=6.0)


@pytest.fixture(scope="module")
def reports():
    """Return the hours that are told while `found_wider` is looked for."""
    return []


@pytest.fixture(scope="module")
def found_wider(wider, reports):
    return find_hard_rides(wider, n_jobs=2, advance=reports.append)


def test_more_hours_are_ridden_on_hard_ground_of_more_courses(study, hard, found_wider):
    times = {name: found_wider.kilometres[name] / hard.kilometres[name] for name in study.riders}

    # The small study's first courses are the same; a third of 6 h is less than they last.
    assert times["pupil_40"] == pytest.approx(times["baker_80"])
    assert 3.0 < times["baker_80"] <= 32.0
    assert max(found_wider.roads) >= N_COURSES
    assert max(found_wider.roads) < N_COURSES * times["baker_80"]


def test_what_more_hours_find_is_harder_for_a_profile_that_did_not_choose_it(
    study, hard, found_wider
):
    profile = profile_to_array(study.baseline)[None, :].copy()
    for name in ("inner_gain_a_per_deg", "mid_gain_ratio", "outer_gain_ratio"):
        profile[:, PROFILE_NAMES.index(name)] *= 0.6
    profile[:, PROFILE_NAMES.index("base_gain_a_per_deg")] *= 0.5

    fewer, more = (
        near_to_nose_down(profile, found.rides)[0] @ found.weights for found in (hard, found_wider)
    )

    assert more > fewer


def test_more_hours_come_back_from_their_text(wider, found_wider):
    found = stored_hard_rides(wider, found_wider.text)

    assert found.rides == found_wider.rides
    assert found.others.rides == found_wider.others.rides
    np.testing.assert_array_equal(found.weights, found_wider.weights)


def test_a_day_that_throws_the_baseline_often_is_as_long_as_its_rides_stand_for(brief):
    often = with_day(brief, kerbs_per_km=100.0, kerb_up_m=0.06, kerb_mps=4.0)
    found = find_hard_rides(dataclasses.replace(often, hard_rides_h=2.0), n_jobs=2)

    stand_for = found.weights.sum()
    assert found.others.weights.sum() == stand_for
    rides, pieces = pieces_of_day(often, None, np.arange(16))  # a third of the hours
    laid = lay(rides)
    ridden = simulate(profile_to_array(often.baseline)[None, :], laid, n_jobs=2)
    near = ridden_nearness(ridden)[0] > 0.1
    course = np.array([piece.course for piece in pieces])
    counted = [
        np.cumsum(np.bincount(course[near & (course % 2 == part)], minlength=16))
        for part in range(2)
    ]
    assert max(every[-1] for every in counted) > 1.3 * stand_for

    way_km = np.bincount(course, np.abs(ridden.column("distance_m")[0]) / 1000.0)
    n_courses = round(2.0 * 16 * sum(found.kilometres.values()) / way_km.sum())
    assert n_courses < 16
    assert 0.6 * stand_for < max(every[n_courses - 1] for every in counted) < 1.4 * stand_for
    assert max(*found.roads, *found.others.roads) < n_courses


@pytest.mark.parametrize("n_asked", [6, 56])
def test_hours_that_are_hardly_more_give_as_many_hard_rides_as_asked(study, n_asked):
    asked = dataclasses.replace(study, n_hard_rides=n_asked, hard_rides_h=2.2)

    found = find_hard_rides(asked, n_jobs=2)

    for part in (found, found.others):
        assert len({ride.name for ride in part.rides}) == len(part.weights) == n_asked


@pytest.mark.usefixtures("found_wider")
def test_more_hours_than_the_first_courses_are_ridden_and_no_more_than_asked(wider, reports):
    # How much of the ground is hard is known from few hours, and so not well.
    first_h = N_COURSES * LANES_OF_A_COURSE * wider.riding_day.ride_s / 3600.0
    assert first_h < sum(reports) < 1.5 * wider.hard_rides_h
