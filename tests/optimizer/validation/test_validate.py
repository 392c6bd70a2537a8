"""A validation judges a profile on what it was not tuned on, and says why and what to change."""

import dataclasses
import json
import math
from collections import Counter

import numpy as np
import pytest
from scipy.stats import spearmanr

from objectives.event_rate import event_rate
from optimizer.riding_day.drawn_course import drawn_course
from optimizer.study.tolerances import with_numbers
from optimizer.validation import early_ends
from optimizer.validation.day_verdict import judge_day
from optimizer.validation.early_ends import (
    judge_faults,
    judge_held_out,
    judge_own_rides,
    judge_tolerances,
)
from optimizer.validation.loop_margins import _graded, judge_margins
from optimizer.validation.nose_down_rate import DayCount, ride_days, ride_same_days
from optimizer.validation.rides import fault_rides, held_out_rides, unseen_riders
from optimizer.validation.validate import validate
from optimizer.validation.verdict import Grade, worst
from plant.kernel.course_tables import ROADS_KEPT, course_tables
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import Rides, simulate
from tests.optimizer.study.test_load import BASE, written
from tests.optimizer.validation.profiles import ROW, SHORT, SHORT_DAY, STUDY, WEAK, changed

# Hardly any damping, and a gain that is too high for the loop's delay.
SHAKY = changed(rate_gain_a_per_deg_per_s=0.02, inner_gain_a_per_deg=20.0, base_gain_a_per_deg=12.0)


def quick(**plan):
    return dataclasses.replace(
        SHORT, validation=dataclasses.replace(STUDY.validation, n_draws=8, hours=1.0, **plan)
    )


def test_unseen_riders_lie_between_and_beyond_the_studys():
    masses = {name: rider.body.mass_kg for name, rider in unseen_riders(STUDY.riders).items()}

    assert masses == pytest.approx(
        {
            "lighter than pupil_40": 36.8,
            "between pupil_40 and clerk_62": 51.0,
            "between clerk_62 and baker_80": 71.0,
            "between baker_80 and smith_105": 92.5,
            "heavier than smith_105": 113.4,
        }
    )


def test_unseen_riders_of_close_masses_do_not_replace_one_another():
    masses = {"one": 79.8, "two": 80.2, "three": 80.4, "four": 80.6}
    riders = {
        name: with_numbers(STUDY.riders["baker_80"], {"mass_kg": mass_kg})
        for name, mass_kg in masses.items()
    }
    close = dataclasses.replace(STUDY, riders=riders)

    found = unseen_riders(riders)

    assert [rider.body.mass_kg for rider in found.values()] == pytest.approx(
        [0.92 * 79.8, 80.0, 80.3, 80.5, 1.08 * 80.6]
    )
    per_course = Counter(ride.course.name for ride in held_out_rides(close))
    for course in STUDY.validation.held_out:
        assert per_course[course.name] == 4 + 5


def test_a_rider_alone_has_unseen_ones_on_either_side():
    found = unseen_riders({"alone": STUDY.riders["baker_80"], "twin": STUDY.riders["baker_80"]})

    masses = {name: rider.body.mass_kg for name, rider in found.items()}
    assert masses == pytest.approx({"lighter than alone": 68.0, "heavier than alone": 92.0})


def test_held_out_rides_are_not_those_of_the_study():
    held_out = held_out_rides(STUDY)

    own = {(ride.course.name, ride.course.road_seed, ride.rider) for ride in STUDY.rides}
    assert len(held_out) > 100
    for ride in held_out:
        assert (ride.course.name, ride.course.road_seed, ride.rider) not in own


def test_the_workshops_profile_comes_through_and_others_do_not():
    light = dataclasses.replace(STUDY, riders={"pupil_40": STUDY.riders["pupil_40"]})
    good = [judge_own_rides(STUDY, ROW, n_jobs=2), judge_held_out(STUDY, ROW, n_jobs=2),
            judge_margins(light, ROW)]  # fmt: skip
    bad = [judge_own_rides(STUDY, SHAKY, n_jobs=2), judge_held_out(STUDY, WEAK, n_jobs=2),
           judge_margins(STUDY, SHAKY)]  # fmt: skip

    assert [verdict.grade for verdict in good] == [Grade.PASS] * 3
    assert [verdict.grade for verdict in bad] == [Grade.FAIL] * 3
    assert all(verdict.change for verdict in bad)
    assert "the loop is UNSTABLE" in bad[2].found
    assert not any(verdict.change for verdict in good)


@pytest.mark.parametrize(
    ("nominal", "far", "grade"),
    [
        (1.0, 0.8, Grade.PASS),
        (0.99, 1.0, Grade.MARGINAL),
        (1.5, 0.79, Grade.MARGINAL),
        (0.8, 0.01, Grade.MARGINAL),
        (0.79, 1.0, Grade.FAIL),
        (1.5, 0.0, Grade.FAIL),
        (1.5, -0.5, Grade.FAIL),
    ],
)
def test_margins_fail_far_below_what_is_asked_or_where_any_tolerance_is_unstable(
    nominal, far, grade
):
    assert _graded(nominal, far) is grade


def test_a_heavy_rider_whose_ankles_stand_over_the_axle_needs_more_current_than_a_low_pack_has():
    heavy = dataclasses.replace(STUDY, riders={"smith_105": STUDY.riders["smith_105"]})

    found = judge_margins(heavy, ROW)

    # Statics: the weight at the ankles tips the board by m g d for each rad, here 82 N m, which
    # alone takes 2.6 A/deg, 52 A at 20 deg; the low pack has 84 A at 6 m/s.
    assert found.numbers["driving_left_low_pack_a"] == pytest.approx(84.0, abs=1.0)
    assert 10.0 < found.numbers["balanced_low_pack_deg"] < 20.0
    assert found.numbers["max_sensitivity"] < 2.0
    assert found.grade is Grade.MARGINAL
    assert "warned before" in found.change


def test_every_fault_is_ridden_with_what_it_says():
    by_name = {fault.name: rides for fault, rides in fault_rides(STUDY)}

    assert set(by_name) == {
        "stuck_speed_sensor", "noisy_speed_sensor", "dead_cell", "hot_start",
        "full_pack_downhill", "wet_leaves", "loose_board", "leans_past_the_limit",
        "imu_askew_nose_up", "imu_askew_nose_down", "current_sensor_offset",
    }  # fmt: skip
    own = STUDY.board
    assert by_name["dead_cell"][0].board.battery.cells_in_series == own.battery.cells_in_series - 1
    assert by_name["stuck_speed_sensor"][0].board.sensors.speed_tracking_hz == 0.5
    assert by_name["imu_askew_nose_down"][0].board.sensors.imu_tilt_deg == -0.5
    assert by_name["full_pack_downhill"][0].course.manoeuvre.charge_ratio == 1.0
    assert by_name["wet_leaves"][0].course.road.patches[0].surface.friction_ratio == 0.3
    assert all(len(rides) == len(STUDY.riders) for rides in by_name.values())


def test_leaning_past_the_limit_fails_without_a_warning_and_names_the_seconds():
    fault, rides = next(
        pair for pair in fault_rides(STUDY) if pair[0].name == "leans_past_the_limit"
    )

    [silent] = judge_faults([(fault, rides)], changed(warning_lift_deg=0.0), n_jobs=1)
    [early] = judge_faults(
        [(fault, rides)],
        changed(reserve_warning_ratio=0.7, warning_slew_deg_per_s=20.0, warning_lift_deg=8.0),
        n_jobs=1,
    )

    assert silent.grade is Grade.FAIL
    assert "without a warning" in silent.found
    assert early.grade is Grade.PASS


def test_a_rider_is_named_whole_whatever_the_name_holds():
    fault, rides = next(
        pair for pair in fault_rides(STUDY) if pair[0].name == "leans_past_the_limit"
    )
    named = [dataclasses.replace(ride, rider_name="left/right") for ride in rides]

    [verdict] = judge_faults([(fault, named)], changed(warning_lift_deg=0.0), n_jobs=1)

    assert verdict.found.startswith("left/right ")


def test_where_every_draw_is_as_risky_no_tolerance_is_blamed(monkeypatch):
    study = quick()

    def all_alike(profiles, rides, **_):
        found = simulate(profiles, rides[:1])
        return Rides(
            metrics=np.repeat(found.metrics, len(rides), axis=1),
            outcome=np.full((1, len(rides)), Outcome.RIDDEN, dtype=np.int8),
        )

    short = dataclasses.replace(study, rides=study.rides[:1])
    monkeypatch.setattr(early_ends, "simulate", all_alike)

    found = judge_tolerances(short, ROW, n_jobs=1).found

    assert "nan" not in found
    assert "the same in every draw" in found


def test_a_column_without_an_order_has_no_rank_correlation():
    table = np.array([[1.0, 4.0, 2.0], [1.0, 3.0, 5.0], [1.0, 1.0, 9.0]])

    found = early_ends.rank_correlations(table, np.array([1.0, 2.0, 3.0]))

    np.testing.assert_allclose(found, [np.nan, -1.0, 1.0])


def test_rank_correlations_are_spearmans_with_ties_too():
    random = np.random.default_rng(1)
    table = np.round(random.normal(size=(40, 5)), 1)
    values = np.round(table[:, 0] + random.normal(size=40), 1)

    found = early_ends.rank_correlations(table, values)

    expected = [spearmanr(column, values).statistic for column in table.T]
    np.testing.assert_allclose(found, expected, atol=1e-12)


def test_a_drawn_course_depends_on_its_number_and_the_seed_alone():
    day = STUDY.riding_day

    assert drawn_course(day, number=7, seed=3) == drawn_course(day, number=7, seed=3)
    assert drawn_course(day, number=7, seed=3) != drawn_course(day, number=8, seed=3)
    assert drawn_course(day, number=7, seed=3) != drawn_course(day, number=7, seed=4)


def test_drawn_courses_stay_inside_what_the_day_says():
    day = STUDY.riding_day
    for number in range(60):
        course = drawn_course(day, number=number, seed=1)
        speeds = [speed for _, speed in course.manoeuvre.speed_mps]
        turns = [abs(rate) for _, rate in course.manoeuvre.turn_deg_per_s]
        assert max(speeds) <= day.fast_mps
        assert np.radians(max(turns)) * day.fast_mps <= day.lateral_mps2 * (1.0 + 1e-9)
        assert max(abs(grade) for _, grade in course.road.grade_percent) <= day.steepest_percent
        assert all(-day.kerb_down_m <= height <= day.kerb_up_m for _, height in course.road.kerbs)
        places = [place for place, _ in course.road.grade_percent]
        assert places == sorted(set(places))


def test_the_day_is_counted_alike_on_any_number_of_threads():
    one, two = (ride_days(SHORT, WEAK, hours=2.0, n_jobs=n_jobs) for n_jobs in (1, 2))

    assert one == two
    assert one.per_1000_km.n_events > 0
    for counts in (one.causes, one.by_pace):
        assert sum(counts.values()) == one.per_1000_km.n_events
    assert set(one.by_rider) == set(STUDY.riders)
    rates = list(one.by_rider.values())
    assert sum(each.n_events for each in rates) == one.per_1000_km.n_events
    assert sum(each.exposure for each in rates) == pytest.approx(one.per_1000_km.exposure)
    assert [each.rate for each in rates] == sorted((each.rate for each in rates), reverse=True)
    assert one.hours >= 2.0


def test_riding_days_keep_none_of_their_roads():
    simulate(ROW[None, :], STUDY.rides[:1])
    kept = course_tables.cache_info().currsize

    ride_days(SHORT, ROW, hours=1.0, n_jobs=2)

    assert 1 <= course_tables.cache_info().currsize == kept
    assert kept <= ROADS_KEPT <= 256  # of about 1 MB for a minute


def day_with(events, *, kilometres):
    """Return an invented day of four roads at 10 km/h."""
    events = np.array(events)
    n_events = int(events.sum())
    rate = event_rate(events, np.full(len(events), kilometres / len(events) / 1000.0))
    return DayCount(
        hours=kilometres / 10.0,
        kilometres=kilometres,
        n_courses=len(events),
        per_1000_km=rate,
        other_ends={},
        causes={"just after a kerb": n_events} if n_events else {},
        by_pace={"1.5 to 16.8 m/s": n_events} if n_events else {},
        by_rider={"baker_80": rate},
        nose_downs=(),
    )


@pytest.mark.parametrize(("limit", "grade"), [(1000.0, Grade.PASS), (0.001, Grade.MARGINAL)])
def test_a_day_without_a_nose_down_passes_only_if_it_was_long_enough(limit, grade):
    study = quick(nose_downs_per_1000_km=limit)
    day = day_with([0.0, 0.0, 0.0, 0.0], kilometres=170.0)

    verdict = judge_day(study, day)

    assert verdict.grade is grade
    # Twice the rule of three: each road that throws may throw two.
    high = 6.0 / (day.kilometres / 1000.0)
    assert verdict.numbers["per_1000_km_high"] == pytest.approx(high, rel=2e-3)


def test_a_verdict_says_in_how_many_hours_without_a_nose_down_the_limit_is_met():
    study = quick(nose_downs_per_1000_km=0.5)
    day = day_with([0.0, 0.0, 0.0, 0.0], kilometres=170.0)

    verdict = judge_day(study, day)

    # 6 in 12,000 km are 0.5 in 1,000 km: twice the rule of three.
    needed_h = 12000.0 / (day.kilometres / day.hours)
    assert verdict.numbers["hours_without_a_nose_down"] == pytest.approx(needed_h, rel=2e-3)
    hours = int(verdict.change.split(" h ")[0].removeprefix("ride ").replace(",", ""))
    assert needed_h <= hours <= 1.1 * needed_h
    assert f"takes some {hours:,} h without a nose-down" in verdict.asked
    assert verdict.found.startswith(f"none in {day.hours:,.0f} h and {day.kilometres:,.0f} km")


def test_a_verdict_says_in_how_many_hours_a_true_rate_below_the_limit_is_shown():
    day = day_with([1.0, 1.0, 1.0, 1.0], kilometres=20000.0)

    verdict = judge_day(quick(nose_downs_per_1000_km=0.4), day)

    # Garwood's interval of 7.64 events ends at twice as many (chi-squared of 17.3 degrees of
    # freedom, from tables); of nose-downs it takes twice as many, of which each 1,000 km bring 0.2.
    half_h = 2.0 * 7.64 / 0.2 * 1000.0 / (day.kilometres / day.hours)
    assert verdict.grade is Grade.MARGINAL
    assert verdict.numbers["hours_at_half_the_limit"] == pytest.approx(half_h, rel=0.02)
    hours = f"{math.ceil(half_h / 100) * 100:,} h"  # 764 thousand km at 10 km/h
    assert f"or {hours} where the true rate is half of it" in verdict.asked
    assert verdict.change.startswith("choose a candidate of fewer nose-downs")
    assert verdict.change.endswith(
        f". If 0.2 is the true rate, some {hours} show that it is below 0.4"
    )
    assert verdict.found == (
        "4 in 2,000 h and 20,000 km. Per 1,000 km, with the interval of 95 %: 0.2 (0.024 to 0.72);"
        " of each rider: baker_80 0.2 (0.024 to 0.72); by cause: just after a kerb (4);"
        " by speed: 1.5 to 16.8 m/s (4)"
    )


def test_a_rate_of_a_short_day_is_told_in_plain_digits():
    found = judge_day(quick(), day_with([1.0, 0.0, 0.0, 0.0], kilometres=30.0)).found

    assert "95 %: 33 (0.033 to 310);" in found


def test_more_hours_help_a_rate_above_the_limit_only_if_the_true_one_is_below():
    day = day_with([1.0, 1.0, 1.0, 1.0], kilometres=20000.0)

    marginal, failed = (
        judge_day(quick(nose_downs_per_1000_km=limit), day) for limit in (0.15, 0.01)
    )

    assert marginal.change.endswith(
        "More validation.hours help only if the true rate is below 0.15"
    )
    assert failed.grade is Grade.FAIL
    assert "hours" not in failed.change


def test_the_whole_is_as_good_as_its_worst_item():
    [report] = validate(quick(), ROW[None], n_jobs=2)

    grades = [verdict.grade for verdict in report.verdicts]
    assert worst(report.verdicts) is max(grades, key=list(Grade).index)
    assert len(grades) == 5 + len(STUDY.validation.faults)


def test_the_rides_of_a_validation_are_the_plants_own():
    ride = held_out_rides(STUDY)[0]

    alone = simulate(ROW[None, :], [ride])
    among = simulate(ROW[None, :], held_out_rides(STUDY)[:20])

    assert Outcome(int(alone.outcome[0, 0])) is Outcome.RIDDEN
    np.testing.assert_array_equal(alone.metrics[0, 0], among.metrics[0, 0])


def test_the_command_writes_a_page_and_json_and_does_not_replace_them(levelgain, tmp_path):
    folder = written(tmp_path, BASE + SHORT_DAY)

    code, out, _ = levelgain("validate", folder)

    page, data = (folder / "validation" / f"baseline{end}" for end in (".html", ".json"))
    facts = json.loads(data.read_text(encoding="utf-8"))
    text = page.read_text(encoding="utf-8")
    assert code == 0
    assert facts["overall"] in ("pass", "marginal", "fail")
    assert sum(facts["counts"].values()) == len(facts["verdicts"])
    assert "throw people" in text
    assert "throw people" in out
    for outside in ("http://", "https://", "<script"):
        assert outside not in text

    code, _, error = levelgain("validate", folder)
    assert code == 2
    assert "give --force" in error


def test_a_title_can_not_break_the_page(levelgain, tmp_path):
    evil = BASE.replace('"A test"', '"<script>alert(1)</script>"')
    folder = written(tmp_path, evil + SHORT_DAY)

    assert levelgain("validate", folder)[0] == 0

    assert "<script>" not in (folder / "validation" / "baseline.html").read_text(encoding="utf-8")


def test_a_profile_of_ones_own_is_validated_as_json(levelgain, tmp_path):
    folder = written(tmp_path, BASE + SHORT_DAY)
    mine = tmp_path / "mine.toml"
    mine.write_text('use = "workshop_17"\n', encoding="utf-8")

    code, out, _ = levelgain("validate", folder, mine, "--json")

    assert code == 0
    assert json.loads(out)["called"] == str(mine)


def test_profiles_on_the_same_days_are_counted_as_each_is_alone():
    together = ride_same_days(SHORT, np.stack([WEAK, ROW]), hours=1.0, n_jobs=2)

    alone = [ride_days(SHORT, profile, hours=1.0, n_jobs=2) for profile in (WEAK, ROW)]
    assert together == alone
    assert together[0].nose_downs


def test_several_profiles_ride_beside_the_baseline(levelgain, tmp_path):
    folder = written(tmp_path, BASE + SHORT_DAY)
    names = ("mine", "other")
    for name, use in zip(names, ("workshop_17", "workshop_15"), strict=True):
        gain = 0.5 if name == "other" else 0.4
        (tmp_path / f"{name}.toml").write_text(
            f'use = "{use}"\ndamping.rate_gain_a_per_deg_per_s = {gain}\n', encoding="utf-8"
        )
    files = [("--profile", tmp_path / f"{name}.toml") for name in names]

    code, out, _ = levelgain("validate", folder, *files[0], *files[1], "--json")
    alone = json.loads(levelgain("validate", folder, "baseline", "--json")[1])

    assert code == 0
    found = json.loads(out)
    assert [facts["called"] for facts in found] == [str(path) for _, path in files]
    assert all((folder / "validation" / f"{name}.html").is_file() for name in names)
    for facts in found:
        assert facts["baseline"]["verdicts"] == alone["verdicts"]
        assert "Nose-downs on the same days" in facts["baseline"]["line"]
    assert alone["baseline"] is None
    assert "Baseline, same days" in (folder / "validation" / "mine.html").read_text("utf-8")


def test_two_files_of_one_name_are_refused_before_anything_is_ridden(levelgain, tmp_path):
    folder = written(tmp_path, BASE)
    paths = [tmp_path / name / "mine.toml" for name in ("a", "b")]
    for path in paths:
        path.parent.mkdir()
        path.write_text('use = "workshop_17"\n', encoding="utf-8")

    code, _, error = levelgain("validate", folder, "--profile", paths[0], "--profile", paths[1])

    assert code == 2
    assert "would both be written to mine.html" in error
