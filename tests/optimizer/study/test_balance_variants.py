"""One rider in several ways to balance: who rides what, and what of a study it moves."""

import dataclasses
from collections import Counter

import numpy as np
import pytest

from optimizer.base.errors import StudyFileError
from optimizer.execution.evaluate import rules_of
from optimizer.riding_day.rides import day_rides
from optimizer.study.balance_variants import in_variants, variant_on
from optimizer.study.load import load_study
from optimizer.study.tolerance_draws import drawn_rides
from optimizer.validation.rides import held_out_rides
from plant.description.profile_array import profile_to_array
from plant.linear.balance_loop import loop_gains, loop_margins
from tests import invented
from tests.optimizer.small_study import write_small_study

RIDER = invented.rider(80.0, 1.78)
WAYS = {"quick": {"reflex_delay_s": 0.5}, "firm": {"lean_gain_ratio": 1.1, "mass_kg": 2.0}}


def test_a_variant_multiplies_a_riders_numbers_and_leaves_the_others():
    described, quick, firm = in_variants(RIDER, WAYS)

    assert described == RIDER
    assert quick.skill.reflex_delay_s == pytest.approx(0.5 * RIDER.skill.reflex_delay_s)
    assert quick.skill.lean_gain_ratio == RIDER.skill.lean_gain_ratio
    assert firm.skill.lean_gain_ratio == pytest.approx(1.1 * RIDER.skill.lean_gain_ratio)
    assert firm.body.mass_kg == 160.0  # as heavy as a rider can be at all
    assert quick.body == RIDER.body


def test_over_courses_all_variants_ride_and_turns_go_through_all_of_them():
    riders = in_variants(RIDER, WAYS)
    names = [f"course_{number}" for number in range(300)]

    counts = Counter(variant_on(name, "baker", riders) for name in names)
    turns = {variant_on("course_1", "baker", riders, turn=turn) for turn in range(3)}

    # Of 300 draws from three a share of 100 scatters by 8.
    assert all(abs(counts[rider] - 100) < 4 * 8.2 for rider in riders)
    assert turns == set(riders)


OWN = """
[balance_variants]
use = ["loose_legs"]

[balance_variants.late]
reflex_delay_s = 1.2

[baseline]"""


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("variants")
    return load_study(write_small_study(folder, ("\n[baseline]", OWN)))


def test_a_study_names_its_variants_and_rides_one_of_each_rider_on_a_course(study):
    ways = study.riders_in_variants

    assert list(study.balance_variants) == ["loose_legs", "late"]
    assert all(ride.rider in ways[ride.rider_name] for ride in study.rides)
    assert len({ride.rider.skill for ride in study.rides}) > len(study.riders)
    assert {ride.rider for ride in study.described_rides} == set(study.riders.values())
    assert list(study.named_variants)[::2] == [
        "pupil_40",
        "pupil_40 (loose_legs)",
        "pupil_40 (late)",
    ]


@pytest.mark.parametrize(
    ("use", "kept"),
    [("", ["late"]), ('use = "all"\n', ["firm_feet", "stiff_legs", "loose_legs", "late"])],
)
def test_a_way_of_ones_own_replaces_those_of_the_catalogue_but_for_what_is_used(
    tmp_path, use, kept
):
    own = f"\n[balance_variants]\n{use}late.reflex_delay_s = 1.1\n\n[baseline]"

    study = load_study(write_small_study(tmp_path, ("\n[baseline]", own)))

    assert list(study.balance_variants) == kept


def test_a_study_without_variants_rides_its_riders_as_described(tmp_path):
    none = ("\n[baseline]", "\n[balance_variants]\nuse = []\n\n[baseline]")

    study = load_study(write_small_study(tmp_path, none))

    assert [ride.rider for ride in study.rides] == [ride.rider for ride in study.described_rides]
    assert list(study.named_variants) == list(study.riders)


def test_a_course_that_fixes_its_noise_or_a_number_is_ridden_as_described(tmp_path):
    fixed = "\n[courses.cobbles]\nnoise_seed = '3'\n[courses.kerb_up.numbers]\nmass_kg = 70.0\n"
    study = load_study(write_small_study(tmp_path, ("\n[baseline]", fixed + "\n[baseline]")))

    for ride in study.rides:
        if ride.course.name == "cobbles":
            assert ride.rider == study.riders[ride.rider_name]
        if ride.course.name == "kerb_up":
            assert ride.rider.skill == study.riders[ride.rider_name].skill


def test_variants_decide_the_study_and_its_riding_day(study, tmp_path):
    other = load_study(write_small_study(tmp_path))

    assert other.digest != study.digest
    assert other.day_digest != study.day_digest


def test_the_riding_day_and_the_tolerances_draw_from_all_variants(study):
    untouched = dataclasses.replace(study, tolerances=())
    ways = {rider for each in study.riders_in_variants.values() for rider in each}

    day = [ride for rides in day_rides(untouched, np.arange(12), seed=1) for ride in rides]
    drawn = drawn_rides(untouched, 4, "a test")

    counts = Counter(ride.rider for ride in day)
    assert set(counts) == ways
    assert max(counts.values()) - min(counts.values()) <= 8  # of 32 each
    assert {ride.rider for ride in drawn} == ways
    assert {ride.rider.body.mass_kg for ride in held_out_rides(study)} > {40.0, 80.0}


def test_the_loop_keeps_its_margins_with_every_variant(study):
    worse = {"weak": {"lean_gain_ratio": 0.3, "leg_stiffness_ratio": 0.3}}
    profile = profile_to_array(study.baseline)[None, :]

    asked = rules_of(study, hard=False)
    unstable = rules_of(dataclasses.replace(study, balance_variants=worse), hard=False)

    assert loop_margins(asked.loop, loop_gains(profile)).stable.all()
    assert not loop_margins(unstable.loop, loop_gains(profile)).stable.all()


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("use = 3", 'balance_variants.use: must be "all" or a list of names, got 3'),
        ('use = ["loose_leg"]', "has no 'loose_leg' among its balance_variants; the nearest is"),
        ("late = { reflex = 1.2 }", "a rider has no 'reflex'; the nearest is reflex_"),
        ("late = { reflex_delay_s = 9.0 }", "balance_variants.late.reflex_delay_s"),
        ("late = 4", "balance_variants.late"),
    ],
)
def test_a_wrong_variant_is_told_in_one_line(tmp_path, written, words):
    text = f"\n[balance_variants]\n{written}\n\n[baseline]"

    with pytest.raises(StudyFileError) as told:
        load_study(write_small_study(tmp_path, ("\n[baseline]", text)))

    assert words in str(told.value)
    assert "\n" not in str(told.value)
