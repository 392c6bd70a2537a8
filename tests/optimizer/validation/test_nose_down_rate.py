"""What a riding day is counted to, from made-up rides of it."""

import dataclasses
import math

import numpy as np
import pytest

from optimizer.riding_day.rides import LANES_OF_A_COURSE
from optimizer.validation import nose_down_rate as module
from optimizer.validation.nose_down_rate import COURSES_AT_ONCE, ride_days, ride_same_days
from plant.description.course import Course, Manoeuvre, Patch, Road, Surface
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import Ride
from tests.optimizer.validation.made_up import results
from tests.optimizer.validation.profiles import ROW, STUDY

N_LANES = COURSES_AT_ONCE * LANES_OF_A_COURSE
RIDERS = list(STUDY.riders)
DAY = STUDY.riding_day
PLAIN = {
    "ride_time_s": 36.0,
    "distance_m": 100.0,
    "end_speed_mps": 0.5 * (DAY.slow_mps + DAY.fast_mps),
    "bus_low_v": 2.0 * STUDY.board.battery.bus_low_v,
}
EASY = Surface(rolling_ratio=0.01, friction_ratio=0.9, roughness_1e6_m3=1.0)
ICY = dataclasses.replace(EASY, friction_ratio=0.2)
COBBLED = dataclasses.replace(EASY, roughness_1e6_m3=500.0)


def ride_over(*patches, **road):
    """Return a ride over stretches of ground, (from m, surface) each."""
    made_up = Road(patches=tuple(Patch(from_m=at, surface=what) for at, what in patches), **road)
    course = Course(
        name="made up",
        title="made up",
        road=made_up,
        manoeuvre=Manoeuvre(duration_s=60.0, speed_mps=((0.0, 4.0),)),
        road_seed=1,
    )
    rider = next(iter(STUDY.riders))
    return Ride(
        course=course, rider_name=rider, rider=STUDY.riders[rider], board=STUDY.board, noise_seed=1
    )


LEVEL = ride_over((0.0, EASY))


@pytest.fixture
def made_up_day(monkeypatch):
    """Return a function that counts days of made-up rides, the same in each batch of courses."""

    def ride(profiles, *, hours, rides=lambda _study, places: [LEVEL] * len(places), **made_up):
        def laid_ahead(_draw, batches, **_):
            for numbers in batches:
                yield [(numbers, None)]

        def simulate(chosen, _laid, **_):
            return results(N_LANES, n_profiles=len(chosen), **(PLAIN | made_up))

        for name, stand_in in (
            ("laid_ahead", laid_ahead),
            ("laid_together", lambda laid: laid),
            ("simulate", simulate),
            ("rides_at", rides),
        ):
            monkeypatch.setattr(module, name, stand_in)
        return ride_days(STUDY, profiles, hours=hours)

    return ride


def test_a_day_lasts_until_its_hours_are_ridden(made_up_day):
    batch_h, batch_km = N_LANES * 36.0 / 3600.0, N_LANES * 0.1

    for hours, n_batches in ((0.1, 1), (batch_h, 1), (batch_h + 0.1, 2), (2.5 * batch_h, 3)):
        found = made_up_day(ROW, hours=hours)

        assert found.n_courses == n_batches * COURSES_AT_ONCE
        assert found.hours == pytest.approx(n_batches * batch_h)
        assert found.kilometres == pytest.approx(n_batches * batch_km)
        assert found.per_1000_km.high == pytest.approx(
            -2.0 * math.log(0.05) / (0.001 * found.kilometres)  # twice the rule of three
        )


def test_a_way_ridden_backwards_is_a_way(made_up_day):
    back = made_up_day(ROW, hours=1.0, distance_m=-100.0)

    assert back.kilometres == pytest.approx(N_LANES * 0.1)


def test_nose_downs_are_counted_by_rider_and_found_again_by_their_places(made_up_day):
    # Riders take turns, one a lane, and begin one later with each course.
    ended = [(1, Outcome.NOSE_DOWN), (LANES_OF_A_COURSE, Outcome.NOSE_DOWN),
             (2, Outcome.RIDER_OFF), (N_LANES - 1, Outcome.NOSE_DOWN)]  # fmt: skip
    asked = []

    def rides(_study, places):
        asked.extend(places)
        return [LEVEL] * len(places)

    found = made_up_day(ROW, hours=1.0, ended=ended, rides=rides)

    places = ((0, 1), (1, 0), (COURSES_AT_ONCE - 1, LANES_OF_A_COURSE - 1))
    assert found.nose_downs == places
    assert asked == [(0, 1), (0, 2), *places[1:]]  # all that ended
    assert found.per_1000_km.n_events == 3
    assert found.other_ends == {Outcome.RIDER_OFF.message: 1}
    riders = [RIDERS[sum(place) % len(RIDERS)] for place in places]
    assert riders[0] == riders[1] != riders[2]
    assert {name: rate.n_events for name, rate in found.by_rider.items()} == {
        name: riders.count(name) for name in RIDERS
    }
    assert list(found.by_rider)[:2] == [riders[0], riders[2]]
    for rate in found.by_rider.values():
        assert rate.exposure == pytest.approx(0.001 * found.kilometres / len(RIDERS))


def test_a_rider_who_got_nowhere_has_no_rate(made_up_day):
    course, lane = np.divmod(np.arange(N_LANES), LANES_OF_A_COURSE)
    stays = (course + lane) % len(RIDERS) == 1

    found = made_up_day(ROW, hours=1.0, distance_m=np.where(stays, 0.0, 100.0))

    assert set(found.by_rider) == set(RIDERS) - {RIDERS[1]}


@pytest.mark.parametrize(
    ("speed_mps", "words"),
    [
        (DAY.slow_mps - 0.1, f"below {DAY.slow_mps:g} m/s"),
        (DAY.slow_mps + 0.1, f"{DAY.slow_mps:g} to {1.2 * DAY.fast_mps:g} m/s"),
        (1.1 * DAY.fast_mps, f"{DAY.slow_mps:g} to {1.2 * DAY.fast_mps:g} m/s"),
        (
            1.3 * DAY.fast_mps,
            f"above {1.2 * DAY.fast_mps:g} m/s, faster than anybody wanted",
        ),
    ],
)
def test_a_nose_down_is_told_by_its_speed(made_up_day, speed_mps, words):
    found = made_up_day(ROW, hours=1.0, ended=[(0, Outcome.NOSE_DOWN)], end_speed_mps=speed_mps)

    assert found.by_pace == {words: 1}


LOW_V = STUDY.board.battery.bus_low_v


@pytest.mark.parametrize(
    ("ride", "made_up", "words"),
    [
        (LEVEL, {}, "asked for more than there was"),
        (ride_over((0.0, EASY), kerbs=((97.0, 0.03),)), {}, "just after a kerb"),
        (ride_over((0.0, EASY), kerbs=((95.0, 0.03),)), {}, "asked for more than there was"),
        (ride_over((0.0, EASY), kerbs=((101.0, 0.03),)), {}, "asked for more than there was"),
        (ride_over((0.0, EASY), (90.0, ICY)), {}, "slippery ground"),
        (ride_over((0.0, EASY), (110.0, ICY)), {}, "asked for more than there was"),
        (ride_over((0.0, ICY), (90.0, EASY)), {}, "asked for more than there was"),
        (ride_over((0.0, ICY), (90.0, EASY)), {"distance_m": -1.0}, "slippery ground"),
        (ride_over((0.0, EASY), (90.0, COBBLED)), {}, "rough ground"),
        (
            ride_over((0.0, EASY), grade_percent=((0.0, 0.0), (90.0, 12.0), (105.0, 0.0))),
            {},
            "steep climb",
        ),
        (ride_over((0.0, EASY), grade_percent=((0.0, -12.0),)), {}, "steep descent"),
        (ride_over((0.0, EASY), grade_percent=((0.0, 5.0),)), {}, "asked for more than there was"),
        (LEVEL, {"bus_low_v": 1.04 * LOW_V}, "low pack"),
        (LEVEL, {"bus_low_v": 1.06 * LOW_V}, "asked for more than there was"),
    ],
)
def test_a_nose_down_is_told_by_what_was_under_the_wheel(made_up_day, ride, made_up, words):
    found = made_up_day(
        ROW,
        hours=1.0,
        ended=[(5, Outcome.NOSE_DOWN)],
        rides=lambda _study, places: [ride] * len(places),
        **made_up,
    )

    assert found.causes == {words: 1}


def test_a_profile_that_falls_soon_rides_on_and_the_others_are_counted_as_alone(monkeypatch):
    """One ends its rides after a quarter of the time, so it takes four times as many courses."""
    quick = np.array([ROW, 2.0 * ROW])

    def laid_ahead(_draw, batches, **_):
        for numbers in batches:
            yield [(numbers, None)]

    def simulate(profiles, _laid, **_):
        found = results(N_LANES, n_profiles=len(profiles), **PLAIN)
        falls = (profiles == quick[1]).all(axis=1)
        found.metrics[falls] *= 0.25
        found.outcome[falls] = Outcome.RIDER_OFF
        return found

    for name, stand_in in (
        ("laid_ahead", laid_ahead),
        ("laid_together", lambda laid: laid),
        ("simulate", simulate),
        ("rides_at", lambda _study, places: [LEVEL] * len(places)),
    ):
        monkeypatch.setattr(module, name, stand_in)
    reported = []

    both = ride_same_days(STUDY, quick, hours=20.0, advance=reported.append)

    assert both == [ride_days(STUDY, profile, hours=20.0) for profile in quick]
    assert [count.n_courses // COURSES_AT_ONCE for count in both] == [2, 8]
    assert sum(reported) == pytest.approx(sum(count.hours for count in both))
    assert both[1].other_ends == {Outcome.RIDER_OFF.message: 8 * N_LANES}
