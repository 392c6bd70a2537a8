"""The plan for first rides is written for its profile, and says when to stop."""

import dataclasses
import re

import numpy as np
import pytest

from objectives import RIDE_COLUMNS
from optimizer.analysis.results import read_results
from optimizer.analysis.rider_effects import PERCEIVED, largest_changes
from optimizer.base.cautions import CAUTIONS
from optimizer.execution.run import run_study
from optimizer.reports.first_rides import plan_text, stages
from optimizer.reports.rider_limits import RiderLimits, rider_limits
from optimizer.reports.warning_speeds import Warned, speed_up_of, speed_ups
from optimizer.study.catalogue_surface import ASPHALT, catalogue_surface
from optimizer.study.load import load_study
from optimizer.study.tolerances import with_numbers
from plant.description.course import Course, Manoeuvre, Patch, Road
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import Ride
from plant.kernel.trace import trace
from tests.optimizer.small_study import write_small_study

STRONG = {"cells_in_series": 24, "bus_high_v": 110.0}  # a pack that 12 m/s does not empty


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    study = load_study(write_small_study(tmp_path_factory.mktemp("plan") / "study"))
    run_study(study, n_candidates=24, n_jobs=2, on_generation=lambda _: None, stop=lambda: False)
    return read_results(study)


def test_every_setting_has_words_for_what_a_rider_notices():
    assert set(PERCEIVED) == set(PROFILE_NAMES)
    for more, less in PERCEIVED.values():
        assert more != less


def test_the_largest_changes_are_told_with_their_numbers(results):
    number = 1  # a pick may be the baseline, 0, from which nothing changed
    space = results.study.space
    before, after = results.history.values[[0, number]]

    changes = largest_changes(results, number, limit=3)

    share = np.abs(after - before) / (space.high - space.low)
    largest = space.names[int(np.argmax(share))]
    assert changes[0].startswith(f"{largest} ")
    assert largest_changes(results, 0) == []


def ridden(study, profile, rider):
    """Return a ride that speeds up by 0.4 m/s2 to 12 m/s on asphalt, made here for the tests."""
    road = Road(patches=(Patch(from_m=0.0, surface=catalogue_surface(ASPHALT)),))
    manoeuvre = Manoeuvre(duration_s=30.0, speed_mps=((0.0, 3.0), (1.0, 3.0), (23.5, 12.0)))
    course = Course(name="up", title="Up", road=road, manoeuvre=manoeuvre, road_seed=1)
    ride = Ride(
        course=course, rider_name=rider, rider=study.riders[rider], board=study.board, noise_seed=1
    )
    return trace(profile, ride)


def with_candidate(results, number, *, board=None, **values):
    """Return results whose candidate has some values, on a changed board."""
    own = results.history.values.copy()
    for name, value in values.items():
        own[number, results.study.space.names.index(name)] = value
    study = results.study
    study = dataclasses.replace(study, board=with_numbers(study.board, board or {}))
    history = dataclasses.replace(results.history, values=own)
    return dataclasses.replace(results, study=study, history=history)


def changed(study, **values):
    row = profile_to_array(study.baseline)
    for name, value in values.items():
        row[PROFILE_NAMES.index(name)] = value
    return row


def stage_names(text):
    return re.findall(r"^\d+\. \*\*(.*?)\.\*\*", text, flags=re.MULTILINE)


def told_kmh(text):
    return [int(number) for number in re.findall(r"(\d+) km/h", text)]


def of_signals(study, *, lift_deg, outcome, n_ridden):
    """Return what is made of a ride with 1 m/s more each second, and given signals otherwise."""
    plain = ridden(study, profile_to_array(study.baseline), "baker_80")
    n_samples = len(plain.time_s)
    speed = plain.time_s.copy()
    speed[n_ridden:] = np.nan
    lift = np.where(np.isfinite(speed), np.resize(lift_deg, n_samples), np.nan)
    return speed_up_of(
        dataclasses.replace(plain, speed_mps=speed, warning_lift_deg=lift, outcome=outcome)
    )


def test_a_warning_is_where_the_lift_can_be_felt(results):
    lift = np.where(np.arange(6000) < 1600, 0.9, 1.1)  # every 5 ms: from 8 s on

    found = of_signals(results.study, lift_deg=lift, outcome=Outcome.RIDDEN, n_ridden=6000)

    assert found.warned is Warned.IN_TIME
    assert found.speed_mps == pytest.approx(8.0, abs=0.01)


def test_without_a_warning_the_fastest_speed_ridden_is_told(results):
    found = of_signals(results.study, lift_deg=0.0, outcome=Outcome.RIDDEN, n_ridden=2000)

    assert found.warned is Warned.NEVER
    assert found.speed_mps == pytest.approx(10.0, abs=0.01)


@pytest.mark.parametrize("from_sample", [6000, 1900])  # never, and 0.5 s before the end
def test_a_ride_that_ends_without_a_warning_in_time_is_told_as_that(results, from_sample):
    lift = np.where(np.arange(6000) < from_sample, 0.0, 5.0)

    found = of_signals(results.study, lift_deg=lift, outcome=Outcome.NOSE_DOWN, n_ridden=2000)

    assert found.warned is Warned.TOO_LATE
    assert found.speed_mps == pytest.approx(10.0, abs=0.01)


def test_a_heavier_rider_is_warned_at_a_lower_speed(results):
    found = speed_ups(results.study, profile_to_array(results.study.baseline))

    assert {one.warned for one in found.values()} == {Warned.IN_TIME}
    assert found["baker_80"].speed_mps <= found["pupil_40"].speed_mps
    assert 4.0 < found["baker_80"].speed_mps < 12.0


def test_the_plan_begins_with_cautions_and_each_stage_says_when_to_stop(results):
    text = plan_text(results, 0)

    assert all(caution in text for caution in CAUTIONS)
    assert text.count("Stop when:") == len(stage_names(text)) == 5
    assert text.index(CAUTIONS[0]) < text.index("## Stages")


def ridden_to(results, mps):
    """Return limits of riders who all rode so fast, up and down 10 %."""
    one = RiderLimits(fastest_mps=mps, up_percent=10.0, down_percent=10.0)
    return dict.fromkeys(results.study.riders, one)


def test_the_warning_is_looked_for_where_the_first_rider_is_warned(results):
    profile = profile_to_array(results.study.baseline)
    first = np.inf
    for name in results.study.riders:
        signals = ridden(results.study, profile, name)
        first = min(first, signals.speed_mps[np.argmax(signals.warning_lift_deg > 1.0)])

    found = stages(results.study.baseline, speed_ups(results.study, profile),
                   ridden_to(results, 12.0))  # fmt: skip

    [sought] = [stage.name for stage in found if "Find the warning" in stage.name]
    assert told_kmh(sought) == [int(3.6 * first)]


def test_no_stage_is_faster_than_a_ride_of_the_study(results):
    profile = profile_to_array(results.study.baseline)

    found = stages(results.study.baseline, speed_ups(results.study, profile),
                   ridden_to(results, 2.0))  # fmt: skip

    text = " ".join(f"{stage.name} {stage.do} {stage.stop_when}" for stage in found)
    assert told_kmh(text) == [7]
    assert "Slopes" in text  # these riders rode 10 %, those of the small study none
    assert "Slopes" not in stage_names(plan_text(results, 0))
    assert "Find the warning" not in text


def test_a_rider_who_finished_no_ride_sends_nobody_onto_the_board(results):
    profile = profile_to_array(results.study.baseline)
    limits = ridden_to(results, 5.0)
    limits["pupil_40"] = dataclasses.replace(limits["pupil_40"], fastest_mps=0.0)

    found = stages(results.study.baseline, speed_ups(results.study, profile), limits)

    assert [stage.name for stage in found] == ["On the stand, nobody on it"]


def test_what_each_rider_may_do_is_what_was_ridden_to_the_end(results):
    limits = rider_limits(results, 0)
    text = plan_text(results, 0)

    for name, limit in limits.items():
        wanted = max(
            speed
            for ride in results.study.rides
            if ride.rider_name == name
            for _, speed in ride.course.manoeuvre.speed_mps
        )
        # A rider holds a wanted speed to within a little; no road of this study is steep.
        assert 0.8 * wanted < limit.fastest_mps < 1.3 * wanted
        assert limit.up_percent == limit.down_percent == 0.0
        assert f"- {name}: at most {int(3.6 * limit.fastest_mps)} km/h; climbs up to 0 %" in text


def test_a_ride_that_ended_early_shows_nothing_that_a_rider_may_do(results):
    rides = results.rides.copy()
    rides[0, :, RIDE_COLUMNS.index("outcome")] = Outcome.NOSE_DOWN

    limits = rider_limits(dataclasses.replace(results, rides=rides), 0)

    assert {limit.fastest_mps for limit in limits.values()} == {0.0}


def test_where_nobody_is_warned_no_stage_is_faster_than_what_was_simulated(results):
    strong = with_candidate(results, 1, board=STRONG, warning_lift_deg=0.0)
    profile = changed(strong.study, warning_lift_deg=0.0)
    profile[[PROFILE_NAMES.index(name) for name in strong.study.space.names]] = (
        strong.history.values[1]
    )
    signals = [ridden(strong.study, profile, name) for name in strong.study.riders]
    assert {one.outcome for one in signals} == {Outcome.RIDDEN}
    fastest = [float(np.nanmax(one.speed_mps)) for one in signals]

    text = plan_text(strong, 1)

    for speed in fastest:
        assert (
            f"not warned up to the fastest speed that was ridden, {int(3.6 * speed)} km/h" in text
        )
    assert "do not look for a warning further up" in text
    stages = text[text.index("## Stages") :]
    assert "Find the warning" not in stages
    assert 0 < max(told_kmh(stages)) <= 3.6 * min(fastest)


def test_a_profile_that_throws_without_a_warning_sends_nobody_onto_the_board(results):
    silent = with_candidate(results, 0, warning_lift_deg=0.0)
    profile = changed(silent.study, warning_lift_deg=0.0)
    signals = ridden(silent.study, profile, "baker_80")
    assert signals.outcome is Outcome.NOSE_DOWN
    end = signals.speed_mps[np.isfinite(signals.speed_mps)][-1]

    text = plan_text(silent, 0)

    assert "DO NOT RIDE IT" in text[: text.index("## Warnings")]
    assert f"- baker_80: **NO WARNING IN TIME: at {int(3.6 * end)} km/h the nose touched" in text
    assert stage_names(text) == ["On the stand, nobody on it"]


def test_a_profile_that_fails_is_not_to_be_ridden(results):
    constraints = results.history.constraints.copy()
    constraints[0, 0], constraints[1] = 0.3, -1.0
    failing = dataclasses.replace(
        results, history=dataclasses.replace(results.history, constraints=constraints)
    )

    assert "rides ended with the nose down; asked: none. Do not ride it" in plan_text(failing, 0)
    assert "FAILS" not in plan_text(failing, 1)
