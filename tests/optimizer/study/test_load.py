import dataclasses
import math
import os
import re

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from objectives.handling import HANDLING_TESTS, handling_rules
from objectives.ride_scores import ride_columns
from objectives.score import OBJECTIVES, score
from objectives.scoring_context import score_rules
from optimizer.base.errors import UserInputError
from optimizer.study.catalogue import COURSE, STUDIES_FOLDER, entry_names, shelves
from optimizer.study.load import INNER_NAMES, load_profile, load_study
from optimizer.study.templates import write_template
from plant.description.profile import Profile
from plant.description.profile_array import PROFILE_NAMES, array_to_profile, profile_to_array
from plant.description.quantity import quantities
from plant.kernel.simulate import simulate
from tests import invented_rides

BASE = """
title = "A test"
seed = 3
board = "lender_15"
[riders]
use = ["clerk_62", "baker_80"]
[courses]
use = ["cruise", "kerb_up"]
[baseline]
use = "workshop_15"
"""
COURSES = ("cruise", "kerb_up")


def written(folder, text):
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def study(tmp_path):
    """Return a function that loads a study of the given text."""
    return lambda text=BASE: load_study(written(tmp_path, text))


def refusal(folder, text):
    with pytest.raises(UserInputError) as caught:
        load_study(written(folder, text))
    return str(caught.value)


def test_a_study_names_every_ride_by_course_and_rider(study):
    found = study()

    assert [ride.name for ride in found.rides] == [
        "cruise/clerk_62",
        "cruise/baker_80",
        "kerb_up/clerk_62",
        "kerb_up/baker_80",
    ]
    assert found.ride_weights.tolist() == [1.0, 1.0, 1.0, 1.0]


def test_a_new_motor_and_rider_set_is_a_dozen_lines(study):
    text = """
title = "A livelier motor for two riders"
[board]
use = "lender_15"
motor = { use = "hub_15", kv_rpm_per_v = 16.2 }
[riders]
use = ["baker_80"]
[riders.courier]
body = { mass_kg = 92, stature_m = 1.84, stance_m = 0.55, deck_height_m = 0.08, drag_area_m2 = 0.6 }
skill = "steady_80"
[courses]
use = "all"
[baseline]
use = "workshop_15"
"""

    found = study(text)

    assert found.board.motor.kv_rpm_per_v == 16.2
    assert found.riders["courier"].body.mass_kg == 92.0
    assert found.riders["courier"].skill == found.riders["baker_80"].skill
    assert len(found.rides) == 2 * len(entry_names(COURSE))


def test_a_course_may_name_its_riders_and_its_weight(study):
    found = study(BASE + '[courses.kerb_up]\nriders = ["baker_80"]\nweight = 2.5\n')

    assert [ride.name for ride in found.rides][2:] == ["kerb_up/baker_80"]
    assert found.ride_weights.tolist() == [1.0, 1.0, 2.5]


def test_bounds_may_be_changed_and_parameters_fixed(study):
    found = study(
        BASE
        + '[search]\nfixed = ["rate_filter_hz"]\nbounds.base_gain_a_per_deg = [1.5, 9.0]\n'
        + "bounds.turn_build_up_s = [0.1, 1.0]\n"
    )

    place = found.space.names.index("base_gain_a_per_deg")
    assert (found.space.low[place], found.space.high[place]) == (1.5, 9.0)
    assert "rate_filter_hz" not in found.space.names
    assert "turn_build_up_s" in found.space.names
    assert [name for name in PROFILE_NAMES if name in found.space.names] == list(found.space.names)


def test_the_single_loop_searches_no_acceleration_loop(study):
    assert not set(INNER_NAMES) & set(study().space.names)


def test_the_nested_structure_searches_the_acceleration_loop_too(study):
    single, nested = study(), study('structure = "nested"\n' + BASE)

    assert set(nested.space.names) == {*single.space.names, *INNER_NAMES}
    assert nested.digest != single.digest


@pytest.mark.parametrize(
    "text",
    [
        BASE + "acceleration_loop = { feed_forward_ratio = 0.5, acceleration_gain_a_per_mps2 = 9.0,"
        " acceleration_integral_a_per_mps = 0.0, acceleration_clamp_a = 0.0,"
        " acceleration_filter_hz = 10.0 }",
        BASE + "[search]\nbounds.feed_forward_ratio = [0.0, 1.0]",
        BASE + '[search]\nfixed = ["acceleration_filter_hz"]',
    ],
)
def test_an_acceleration_loop_in_a_single_loop_study_is_refused(tmp_path, text):
    assert "only for the nested structure; write" in refusal(tmp_path, text)


def test_weights_and_settings_are_read(study):
    found = study(
        BASE
        + "[objectives]\ntail_share = 0.1\nweights = { nose_downs_per_1000_km = 3 }\n"
        + "[constraints]\nfeel_low_deg_per_mps2 = 1\nfeel_high_deg_per_mps2 = 2\n"
    )

    assert found.weights == dict.fromkeys(OBJECTIVES, 1.0) | {"nose_downs_per_1000_km": 3.0}
    assert found.settings.tail_share == 0.1
    assert found.settings.feel_high_deg_per_mps2 == 2.0
    assert found.settings.rider_spread_limit is None


def test_hard_rides_are_read_and_decide_the_results(study):
    usual = study()

    found = study(
        BASE
        + "[search]\nhard_rides = 40\nhard_rides_h = 12.5\n"
        + "[objectives]\nworst_rider_weight = 0.25\n"
    )

    assert (usual.n_hard_rides, usual.hard_rides_h) == (56, 300.0)
    assert usual.settings.worst_rider_weight == 0.5
    assert (found.n_hard_rides, found.hard_rides_h) == (40, 12.5)
    assert found.settings.worst_rider_weight == 0.25
    assert found.hard is None
    assert found.all_rides == found.rides + found.handling
    for text in ("[search]\nhard_rides = 40", "[search]\nhard_rides_h = 12.5"):
        assert study(BASE + text).digest != usual.digest
    assert study(BASE + "[objectives]\nworst_rider_weight = 0.25").digest != usual.digest
    assert study(BASE + "[riding_day]\nfast_mps = 5.5").digest != usual.digest


def test_a_feel_band_below_zero_is_read(study):
    found = study(
        BASE + "[constraints]\nfeel_low_deg_per_mps2 = -0.6\nfeel_high_deg_per_mps2 = -0.1\n"
    )

    assert found.settings.feel_low_deg_per_mps2 == -0.6
    assert found.settings.feel_high_deg_per_mps2 == -0.1


def test_a_study_of_the_catalogue_can_be_ridden(study):
    found = study()

    ridden = simulate(profile_to_array(found.baseline)[None], found.rides)

    assert np.isfinite(invented_rides.always_measured(ridden)).all()


def test_a_route_of_the_study_becomes_the_road(study, tmp_path):
    distance = np.arange(0.0, 501.0, 10.0)
    lines = "\n".join(f"{d},{100 + 0.06 * d}" for d in distance)
    (tmp_path / "hill.csv").write_text(f"distance_m,height_m\n{lines}\n", encoding="utf-8")

    found = study(
        BASE
        + '[courses.hill]\nuse = "cruise"\nroad.elevation = { file = "hill.csv", from_m = 100 }'
    )

    elevation = found.courses["hill"].road.elevation
    assert np.gradient(elevation.height_m, elevation.distance_m) == pytest.approx(0.06)
    assert elevation.distance_m[-1] >= 45.0  # 9 s at 5 m/s


def test_the_digest_changes_with_what_decides_the_results_only(study):
    digest = study().digest

    assert study(BASE.replace("A test", "Another title")).digest == digest
    assert study(BASE + "[search]\ncandidates = 9000\n").digest == digest
    assert study(BASE.replace("seed = 3", "seed = 4")).digest != digest
    assert study(BASE + "[baseline.damping]\nrate_gain_a_per_deg_per_s = 0.61\n").digest != digest
    assert study(BASE + "[courses.cruise]\nweight = 1.5\n").digest != digest
    assert study(BASE + "[search]\npopulation = 60\n").digest != digest


def test_adding_a_course_leaves_the_seeds_of_the_others(study):
    before = {ride.name: ride for ride in study().rides}
    after = {
        ride.name: ride for ride in study(BASE.replace('"kerb_up"', '"kerb_up", "gust"')).rides
    }

    assert len({ride.noise_seed for ride in after.values()}) == len(after)
    for name, ride in before.items():
        assert after[name].noise_seed == ride.noise_seed
        assert after[name].course == ride.course


MOTOR = BASE.replace('board = "lender_15"', "") + '[board]\nuse = "lender_15"\n[board.{}]\n{}\n'


@pytest.mark.parametrize(
    ("text", "message"),
    [
        # Impossible boards.
        (
            MOTOR.format("motor", "kv_rpm_per_v = 1.57"),
            "board.motor.kv_rpm_per_v: speed constant, line-to-line peak must be a number from 3"
            " to 200, got 1.57; if this is rad/s per V, multiply by 60/(2 pi) = 9.549",
        ),
        (
            MOTOR.format("motor", "phase_resistance_ohm = -0.05"),
            "board.motor.phase_resistance_ohm: phase resistance at 20 degC must be a number from"
            " 0.001 to 2, got -0.05; check the number and the unit that ends its key",
        ),
        (MOTOR.format("frame", "frame_mass_kg = 0"), "board.frame.frame_mass_kg: mass without"),
        (MOTOR.format("wheel", "wheel_mass_kg = 0.0"), "board.wheel.wheel_mass_kg: mass of wheel"),
        (MOTOR.format("motor", "phase_inductance_h = 120"), "give henries: 100 uH is 1e-4"),
        (MOTOR.format("motor", "pole_pairs = nan"), "a number from 1 to 100, got nan"),
        (MOTOR.format("motor", "pole_pairs = true"), "a number from 1 to 100, got True"),
        (MOTOR.format("motor", 'pole_pairs = "15"'), "a number from 1 to 100, got '15'"),
        (
            MOTOR.format("drive", "throttle_end_c = 70"),
            "board: throttle_end_c must be above throttle_start_c, got 70 and 80 degC",
        ),
        # Keys.
        (
            MOTOR.format("motor", "kv = 15"),
            "board.motor.kv: unknown key; the nearest allowed is kv_rpm_per_v",
        ),
        (BASE.replace("seed", "sead"), "sead: unknown key; the nearest allowed is seed"),
        (BASE.replace("title", "# title"), "title: title of the study (text in quotes) is missing"),
        (BASE.replace('board = "lender_15"', ""), "board: this key (a table) is missing"),
        (
            BASE.replace('board = "lender_15"', "board = 15"),
            "board: must be a table of keys, got 15",
        ),
        (BASE.replace('"A test"', "3"), "title: title of the study must be text in quotes, got 3"),
        (BASE.replace("seed = 3", "seed = -1"), "seed: seed of all chance must be a whole number"),
        (BASE.replace("seed = 3", "seed = 1.5"), "seed: seed of all chance must be a whole number"),
        (BASE + "[riders.cook]\n", "riders.cook.body: this key (a table) is missing"),
        (
            BASE + "[riders.clerk_62]\nbody.mas_kg = 3\n",
            "riders.clerk_62.body.mas_kg: unknown key; the nearest allowed is mass_kg",
        ),
        (
            BASE + "[riders.clerk_62]\nskill.reflex_delay_s = 3\n",
            "riders.clerk_62.skill.reflex_delay_s: delay of the balance reflex must be a number"
            " from 0 to 0.24, got 3",
        ),
        (BASE + "[riders]\n", "not valid TOML: Cannot declare ('riders',) twice (at line 11"),
        (BASE + "x = = 3\n", "not valid TOML: Invalid value (at line 11"),
        # Portfolio.
        (BASE.replace('["cruise", "kerb_up"]', "[]"), "courses: at least one is needed, got none"),
        (BASE.replace("[riders]\nuse", "[rider]\nuse"), "riders: at least one is needed"),
        (BASE.replace("kerb_up", "kerbup"), "courses.kerbup.use: the catalogue has no 'kerbup'"),
        (
            BASE + '[courses.kerb_up]\nriders = ["bakr_80"]\n',
            "courses.kerb_up.riders: the study has no rider 'bakr_80'; the nearest is 'baker_80'",
        ),
        (BASE + "[courses.kerb_up]\nriders = []\n", "courses.kerb_up.riders: must be a list of"),
        (BASE + "[courses.kerb_up]\nweight = 0\n", "courses.kerb_up.weight: weight in the"),
        # Search.
        (
            BASE + "[search]\nbounds.base_gain_a_per_deg = [9.0, 3.0]\n",
            "search.bounds.base_gain_a_per_deg: low must be below high, got low=9.0, high=3.0",
        ),
        (
            BASE + "[search]\nbounds.base_gain_a_per_deg = [0.0, 99.0]\n",
            "search.bounds.base_gain_a_per_deg: gain from the inner band to the mid knee can be"
            " from 0 to 60, got low=0.0, high=99.0",
        ),
        (BASE + "[search]\nbounds.base_gain_a_per_deg = 3\n", "must be [low, high], got 3"),
        (BASE + "[search]\nbounds.base_gain_a_per_deg = [nan, 3]\n", "low must be below high"),
        (
            BASE + "[search]\nbounds.base_gain = [1, 3]\n",
            "search.bounds.base_gain: unknown key; the nearest allowed is base_gain_a_per_deg",
        ),
        (BASE + "[search]\ncandidates = 0\n", "search.candidates: number of candidates must"),
        (BASE + "[search]\npopulation = 3\n", "search.population: number of candidates in a gen"),
        (
            BASE + "[search]\nhard_rides = 3\n",
            "search.hard_rides: number of hard rides of the riding day must be a whole number from"
            " 4 to 2000, got 3",
        ),
        (BASE + "[search]\nhard_rides = 72.5\n", "search.hard_rides: number of hard rides of"),
        (BASE + "[search]\nhard_ride = 72\n", "unknown key; the nearest allowed is hard_rides"),
        (
            BASE + "[search]\nhard_rides_h = 0\n",
            "search.hard_rides_h: hours ridden to find hard rides must be a number"
            " from 0.1 to 100000, got 0",
        ),
        (BASE + "[search]\nhard_rides_h = nan\n", "a number from 0.1 to 100000, got nan"),
        (
            BASE + "[search]\nbounds.base_gain_a_per_deg = [9.0, 12.0]\n",
            "search.bounds.base_gain_a_per_deg: must hold the baseline's",
        ),
        (
            BASE + '[search]\nfixed = ["base_gain"]\n',
            "search.fixed: a profile has no 'base_gain'; the nearest is base_gain_a_per_deg",
        ),
        # Objectives and constraints.
        (
            BASE + "[objectives]\nweights.level_error = 2\n",
            "objectives.weights.level_error: unknown key; the nearest allowed is level_error_deg",
        ),
        (BASE + "[objectives]\nweights.level_error_deg = -2\n", "weight of level_error_deg must"),
        (
            BASE + "[objectives.weights]\n" + "".join(f"{name} = 0\n" for name in OBJECTIVES),
            "objectives.weights: at least one weight must be above 0",
        ),
        (
            BASE + "[objectives]\nworst_rider_weight = 1.5\n",
            "objectives.worst_rider_weight: must be from 0 to 1, got 1.5",
        ),
        (
            BASE + "[objectives]\nweights.nose_down_risk = 2\n",
            "objectives.weights.nose_down_risk: unknown key; the nearest allowed is nose_downs_per",
        ),
        (BASE + "[objectives]\ntail_share = 2\n", "objectives.tail_share: must be from 0.01 to 1"),
        (
            BASE + "[constraints]\nsensitivity_limit = 1\n",
            "constraints.sensitivity_limit: must be from 1.05 to 100, got 1",
        ),
        (
            BASE + "[constraints]\nfeel_low = 1\n",
            "constraints.feel_low: unknown key; the nearest allowed is feel_low_deg_per_mps2",
        ),
        # Courses.
        (
            BASE + "[courses.cruise]\nmanoeuvre.speed_mps = [[0, 3], [0, 4]]\n",
            "courses.cruise.manoeuvre.speed_mps: wanted speed must be pairs of rising time in s",
        ),
        (
            BASE + "[courses.cruise]\nmanoeuvre.speed_mps = [[0, 300]]\n",
            "and a number from 0 to 30, got [[0, 300]]",
        ),
        (BASE + "[courses.cruise]\nmanoeuvre.speed_mps = []\n", "wanted speed must be pairs"),
        (
            BASE + "[courses.cruise]\nmanoeuvre.hold_s = [[3, 2]]\n",
            "courses.cruise.manoeuvre.hold_s: windows in which level is held must be pairs",
        ),
        (
            BASE + "[courses.cruise]\nmanoeuvre.hold_s = [[3, 200]]\n",
            "courses.cruise.manoeuvre.hold_s: must end by duration_s = 9, got a window to 200",
        ),
        (
            BASE + "[courses.cruise]\nmanoeuvre.hold_s = [[3.001, 3.004]]\n",
            "courses.cruise.manoeuvre.hold_s: every window must last 0.1 s or longer, got 0.003 s",
        ),
        # What nothing measures.
        (
            BASE + "".join(f"[courses.{name}]\nmanoeuvre.hold_s = []\n" for name in COURSES),
            "courses: at least one must have a window hold_s, in which level_error_deg is measured",
        ),
        (
            BASE + "".join(f"[courses.{name}]\nmanoeuvre.count_s = []\n" for name in COURSES),
            "courses: at least one must have a window count_s, in which excess_current_a is"
            " measured, got none; add a course such as steep_up, or write manoeuvre.count_s",
        ),
        # A whole table without `use`: every key that it lacks is named.
        (
            BASE.replace('board = "lender_15"', "")
            + "[board.motor]\nkv_rpm_per_v = 16.0\nphase_inductance_h = 1e-4\npole_pairs = 15\n",
            "board.motor.phase_resistance_ohm: phase resistance at 20 degC (a number from 0.001 to"
            " 2) is missing; add it, or begin its table with use = a known name; missing beside it:"
            " winding_heat_capacity_j_per_k, winding_resistance_k_per_w, ",
        ),
        (
            BASE.replace('"clerk_62", ', "") + "[constraints]\nrider_spread_limit = 2.0\n",
            "constraints.rider_spread_limit: at least one course with a window hold_s must be",
        ),
        (
            BASE + "[constraints]\nhandling.climb_speed_ratio = [0.8, inf]\n",
            "constraints.handling.climb_speed_ratio: the lightest and the heaviest rider must each",
        ),
        (
            BASE.replace('"kerb_up"', '"steep_up"')
            + '[courses.steep_up]\nriders = ["baker_80"]\n'
            + "[constraints]\nrider_difference.climb_speed_ratio = 0.2\n",
            "constraints.rider_difference.climb_speed_ratio: the lightest and the heaviest rider",
        ),
        (
            BASE + '[courses.cruise]\nmanoeuvre.start = "flying"\n',
            "courses.cruise.manoeuvre.start: this key must be one of rolling, standing, tail_down",
        ),
        (
            BASE + "[courses.cruise]\nroad.patches = []\n",
            "courses.cruise.road.patches: must be a list of at least one surface, got []",
        ),
        (
            BASE + '[courses.cruise]\nroad.patches = [{ from_m = 4, surface = "grass" }]\n',
            "courses.cruise.road.patches: from_m must be 0 first and rise from patch to patch",
        ),
        (
            BASE + '[courses.cruise]\nroad.patches = [{ from_m = 0, surface = "gras" }]\n',
            "courses.cruise.road.patches.0.surface.use: the catalogue has no 'gras'",
        ),
        (
            BASE + "[courses.cruise]\nroad.grade_percent = [[0, 80]]\n",
            "courses.cruise.road.grade_percent: grade must be pairs of rising distance in m",
        ),
        (
            BASE + '[courses.cruise]\nroad.elevation.file = "no.gpx"\n',
            "no.gpx: there is no such file",
        ),
    ],
)
def test_a_bad_study_is_refused_in_one_line(tmp_path, text, message):
    line = refusal(tmp_path, text)

    assert line.startswith(f"{tmp_path}{os.sep}")
    assert message in line
    assert "\n" not in line


@pytest.mark.parametrize("course", entry_names(COURSE))
def test_a_course_of_the_catalogue_alone_is_read_or_told_what_it_can_not_measure(tmp_path, course):
    text = BASE.replace('"cruise", "kerb_up"', f'"{course}"')
    counts = "count_s" in shelves()["courses"][course]["manoeuvre"]

    if counts:
        assert list(load_study(written(tmp_path, text)).courses) == [course]
    else:
        assert "excess_current_a is measured, got none; add a course such" in refusal(
            tmp_path, text
        )


DOTTED = """
title = "A test"
board.use = "lender_15"
riders.a.use = "clerk_62"
courses.b.use = "cruise"
baseline.use = "workshop_15"
"""
PLACES = [
    *("title", "seed", "board", "riders", "riders.use", "riders.a", "courses", "courses.use"),
    *("courses.b", "courses.b.title", "courses.b.riders", "courses.b.weight", "courses.b.road"),
    *("courses.b.road.patches", "courses.b.road.kerbs", "courses.b.road.elevation"),
    *("courses.b.road.elevation.file", "courses.b.road.elevation.line", "courses.b.manoeuvre"),
    *("courses.b.manoeuvre.duration_s", "courses.b.manoeuvre.speed_mps"),
    *("courses.b.manoeuvre.hold_s", "courses.b.manoeuvre.start", "courses.b.manoeuvre.mosfet_c"),
    *("baseline", "baseline.damping", "baseline.damping.rate_filter_hz", "board.motor"),
    *("board.motor.use", "board.motor.pole_pairs", "riders.a.skill", "riders.a.body.mass_kg"),
    *("search", "search.bounds", "search.bounds.rate_filter_hz", "search.fixed"),
    *(
        "search.population",
        "search.hard_rides",
        "search.hard_rides_h",
        "objectives",
        "objectives.weights",
        "objectives.weights.nose_downs_per_1000_km",
    ),
    *(
        "objectives.tail_share",
        "objectives.worst_rider_weight",
        "constraints",
        "constraints.rider_spread_limit",
    ),
]
JUNK = [
    *("3", "-1", "1e300", "inf", "nan", "true", '"all"', '""', '"x/y"', "1979-05-27", "[]", "{}"),
    *("[1]", "[[]]", "[[1, 2]]", "[[0, 1], [1, 2, 3]]", '[["a", 1]]', "[{}]", '["a"]'),
    *("{ use = 3 }", '{ use = "" }', "{ a = 1 }", "[{ from_m = 0 }]", "[nan, nan]", "[2, 1]"),
]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=300)
@given(place=st.sampled_from(PLACES), junk=st.sampled_from(JUNK))
def test_nothing_but_one_line_comes_of_junk_anywhere(tmp_path, place, junk):
    try:
        line = load_study(written(tmp_path, f"{DOTTED}{place} = {junk}\n")).rides[0].name
    except UserInputError as error:
        line = str(error)

    assert line.startswith((f"{tmp_path}{os.sep}", "b/", "stand_still/"))
    assert "\n" not in line


def test_a_folder_without_a_study_is_refused(tmp_path):
    with pytest.raises(UserInputError, match=r"no such file; make a study with: levelgain new"):
        load_study(tmp_path)


def test_a_folder_in_place_of_the_study_file_is_refused(tmp_path):
    (tmp_path / "study.toml").mkdir()

    with pytest.raises(UserInputError, match="can not be read: it is a folder"):
        load_study(tmp_path)


def test_a_study_file_that_is_no_text_is_refused(tmp_path):
    (tmp_path / "study.toml").write_bytes(b'title = "\xff"\n')

    with pytest.raises(UserInputError, match="must be UTF-8 text, byte 9 is not"):
        load_study(tmp_path)


PATHS = [
    (section.name, declared.name)
    for section in dataclasses.fields(Profile)
    for declared in quantities(section.type)
]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    shares=st.lists(st.floats(0.0, 1.0), min_size=len(PROFILE_NAMES), max_size=len(PROFILE_NAMES)),
    wrapped=st.booleans(),
)
def test_a_hand_made_profile_comes_back_as_it_was_written(tmp_path, shares, wrapped):
    ranges = [
        (declared.low, declared.high)
        for section in dataclasses.fields(Profile)
        for declared in quantities(section.type)
    ]
    values = np.array(
        [low + share * (high - low) for share, (low, high) in zip(shares, ranges, strict=True)]
    )
    prefix = "profile." if wrapped else ""
    lines = ["comment = 'of an export'" if wrapped else ""]
    lines += [
        f"{prefix}{section}.{name} = {value!r}"
        for (section, name), value in zip(PATHS, values.tolist(), strict=True)
    ]
    path = tmp_path / "profile.toml"
    path.write_text("\n".join(lines), encoding="utf-8")

    profile = load_profile(path)

    assert profile == array_to_profile(values)


def test_a_profile_may_change_one_of_the_catalogue(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text('use = "workshop_15"\ndamping.rate_filter_hz = 44.0\n', encoding="utf-8")

    profile = load_profile(path)

    assert profile.damping.rate_filter_hz == 44.0
    assert profile.engagement.engage_angle_deg > 0.0


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "stiffness: this key (a table) is missing"),
        ('use = "workshop"\n', "use: the catalogue has no 'workshop' among its profiles"),
        ('use = "workshop_15"\ndamping.rate_hz = 3\n', "damping.rate_hz: unknown key; the near"),
        (
            '[profile]\nuse = "workshop_15"\ndamping.rate_filter_hz = 1\n',
            "profile.damping.rate_filter_hz: cut-off of the pitch-rate low-pass filter must be a"
            " number from 2 to 300, got 1",
        ),
        ("profile = 3\n", "profile: must be a table of keys, got 3"),
    ],
)
def test_a_bad_profile_is_refused_in_one_line(tmp_path, text, message):
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")

    with pytest.raises(UserInputError) as caught:
        load_profile(path)

    assert str(caught.value).startswith(f"{path}: ")
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_template_is_a_study_that_loads(tmp_path):
    path = write_template(tmp_path / "new")

    assert path == tmp_path / "new" / "study.toml"
    assert load_study(path.parent).rides


def test_every_line_that_the_template_comments_out_is_allowed(tmp_path):
    text = (STUDIES_FOLDER / "template" / "study.toml").read_text(encoding="utf-8")
    offered = re.sub(r"^# (?=\[|[a-z0-9_.]+ = )", "", text, flags=re.MULTILINE)
    offered = offered.replace('motor = "hub_17"', "")
    for file in ("road.elevation", "route", "log"):
        offered = offered.replace(f"\n{file} = {{ file", "\n# x = {")

    found = load_study(written(tmp_path, offered))

    assert found.board.motor.kv_rpm_per_v == 16.2
    assert set(found.riders) == {"clerk_62", "baker_80", "courier"}
    assert "my_hill" in found.courses
    assert found.weights["level_error_deg"] == 2.0
    assert found.settings.feel_high_deg_per_mps2 is not None


def test_a_template_does_not_replace_a_study(tmp_path):
    (tmp_path / "study.toml").write_text("mine", encoding="utf-8")

    with pytest.raises(UserInputError, match=r"study.toml: is there already; edit it"):
        write_template(tmp_path)

    assert (tmp_path / "study.toml").read_text(encoding="utf-8") == "mine"


def test_the_example_study_loads():
    found = load_study(STUDIES_FOLDER / "hill_town")

    assert [rider.body.mass_kg for rider in found.riders.values()] == [40.0, 62.0, 80.0, 105.0]
    assert len(found.courses) >= 19
    assert any(course.road.elevation is not None for course in found.courses.values())
    assert 25 <= found.space.n_parameters <= len(PROFILE_NAMES)


def test_the_example_baseline_is_ridden_to_the_end_and_meets_every_constraint():
    found = load_study(STUDIES_FOLDER / "hill_town")
    profiles = profile_to_array(found.baseline)[None]

    ridden = simulate(profiles, found.rides)
    columns = ride_columns(ridden, found.rides)
    rules = score_rules(found.rides, ride_weight=found.ride_weights, settings=found.settings)

    assert not ridden.outcome.any()
    assert (score(columns, profiles, rules).constraints <= 0.0).all()


def test_the_lightest_and_the_heaviest_ride_every_handling_course_and_all_lean_too_far():
    found = load_study(STUDIES_FOLDER / "hill_town")

    by_test = {}
    for ride in found.handling:
        by_test.setdefault(ride.course.name, []).append(ride.rider_name)

    assert by_test.pop("handling_lean_past_limit") == list(found.riders)
    assert set(map(tuple, by_test.values())) == {("pupil_40", "smith_105")}
    assert len(by_test) == len(HANDLING_TESTS) - 1


@pytest.mark.parametrize(
    "more",
    [
        """
[riders.idle]                       # heavier than all others, and rides nothing
use = "baker_80"
body.mass_kg = 120.0
[courses.cruise]
riders = ["clerk_62", "baker_80"]
[courses.kerb_up]
riders = ["clerk_62", "baker_80"]
""",
        """
[riders.calm]                       # equals in mass, who ride in another order
use = "baker_80"
skill.sway_ratio = 0.001
[riders.keen]
use = "baker_80"
skill.sway_ratio = 0.002
[courses.cruise]
riders = ["keen", "calm", "clerk_62", "baker_80"]
""",
    ],
)
def test_riders_between_whom_handling_is_compared_ride_its_courses(study, more):
    found = study(BASE + more)

    places = handling_rules(found.rides, found.handling, baseline=None).places

    measured = {(test, which) for test, which, _ in places}
    assert measured == {(test, which) for test in HANDLING_TESTS for which in (0, 1)}


def test_handling_is_asked_for_in_bands_over_the_defaults(study):
    found = study(
        BASE
        + "[constraints]\nlike_baseline_percent = 20.0\nhandling.grade_dip_deg = [-inf, 4.0]\n"
        + "rider_difference.feel_deg_per_mps2 = 1.5\n"
    )

    assert found.settings.like_baseline_percent == 20.0
    assert found.settings.handling["grade_dip_deg"] == (-math.inf, 4.0)
    assert found.settings.handling["braking_feel_deg_per_mps2"] == (0.0, math.inf)
    assert found.settings.rider_difference == {"feel_deg_per_mps2": 1.5}
    assert found.digest != study(BASE).digest


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ("handling.dip = [0.0, 1.0]", "constraints.handling.dip: must be one of feel_deg"),
        ("handling.grade_dip_deg = [2.0, 1.0]", "grade_dip_deg: must be [low, high], got [2, 1]"),
        ("handling.grade_dip_deg = 2.0", "must be [low, high], got 2;"),
        ("rider_difference.grade_dip_deg = 0.0", "grade_dip_deg: must be above 0, got 0"),
    ],
)
def test_wrong_bands_of_handling_are_refused(study, asked, words):
    with pytest.raises(UserInputError) as caught:
        study(BASE + f"[constraints]\n{asked}\n")

    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_warning_in_time_is_asked_where_warnings_are_searched_or_it_is_asked_for(study):
    fixed = '[search]\nfixed = ["reserve_warning_ratio", "warning_lift_deg"]\n'

    assert study(BASE).settings.least_warning_s == 1.1
    assert study(BASE + fixed).settings.least_warning_s is None
    asked = study(BASE + fixed + "[constraints]\nleast_warning_s = 0.8\n")
    assert asked.settings.least_warning_s == 0.8
