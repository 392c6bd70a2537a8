"""Nose-downs are ridden again with one thing changed, and what prevents them is counted."""

import dataclasses
import json
import math

import numpy as np
import pytest

from optimizer.analysis.front_profiles import FrontProfiles, finished_front
from optimizer.base.errors import StudyFileError
from optimizer.reports.nose_down_lines import remedy_lines
from optimizer.riding_day.drawn_course import drawn_course
from optimizer.study.load import load_study
from optimizer.study.tolerances import with_numbers
from optimizer.validation import remedies as remedies_module
from optimizer.validation.changed_rides import CHANGES, Kind, slower
from optimizer.validation.nose_down_rate import ride_days, rides_at
from optimizer.validation.remedies import Remedies, Remedy, remedies_of_day, ride_remedies
from plant.constants import GRAVITY_MPS2
from plant.description.course import Course, Manoeuvre, Patch, Road
from plant.description.profile_array import PROFILE_NAMES
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import Ride, simulate
from tests.invented_rides import ASPHALT
from tests.optimizer.small_study import searched, write_small_study
from tests.optimizer.study.test_load import BASE, written
from tests.optimizer.validation.profiles import ROW, SHORT_DAY, STUDY, WEAK

WALL_PERCENT = 22.0


def wall(limit_a):
    """Return a ride up a wall with a phase current limit."""
    road = Road(
        patches=(Patch(from_m=0.0, surface=ASPHALT),),
        grade_percent=((0.0, 0.0), (15.0, WALL_PERCENT)),
        grade_blend_m=3.0,
    )
    manoeuvre = Manoeuvre(duration_s=12.0, speed_mps=((0.0, 3.0),))
    return Ride(
        course=Course(name="wall", title="wall", road=road, manoeuvre=manoeuvre, road_seed=1),
        rider_name="clerk_62",
        rider=STUDY.riders["clerk_62"],
        board=with_numbers(STUDY.board, {"phase_current_limit_a": limit_a}),
        noise_seed=5,
    )


def climbing_current_a():
    """Return what holds board and rider on the wall: m g sin(slope) r over torque per amp.

    8.27 = 60 / (2 pi) x sqrt(3) / 2: of an ideal machine with sinusoidal currents, no source.
    """
    board, rider = STUDY.board, STUDY.riders["clerk_62"]
    mass = rider.body.mass_kg + board.frame.frame_mass_kg + board.wheel.wheel_mass_kg
    torque = (
        mass * GRAVITY_MPS2 * math.sin(math.atan(WALL_PERCENT / 100.0)) * board.wheel.wheel_radius_m
    )
    return torque / (8.27 / board.motor.kv_rpm_per_v)


@pytest.fixture(scope="module")
def day():
    return ride_days(STUDY, WEAK, hours=2.0, n_jobs=2)


def prevented(found):
    return {remedy.name: remedy.prevented for remedy in found.each}


def test_a_climb_at_the_current_limit_is_prevented_by_a_higher_limit_and_not_by_chance():
    # A rider on the ankles also tips the board: by trial this takes up to a quarter more.
    ride = wall(1.2 * climbing_current_a())
    [outcome] = simulate(ROW[None, :], [ride]).outcome[0]
    assert Outcome(int(outcome)) is Outcome.NOSE_DOWN

    found = ride_remedies(ROW, [ride], [ride], front=None)

    by_name = prevented(found)
    assert by_name["phase_current_limit_a 15 % higher"] == 1
    for name in (
        "tyre_stiffness_n_per_m 20 % lower",
        "nose_contact_deg 2 deg more",
        "a fifth slower over kerbs and over rough or slippery ground",
        "other noise and nothing else",
    ):
        assert by_name[name] == 0
    assert found.nothing == 0
    assert found.n_front is None
    assert found.no_profile is None


def test_a_climb_far_beyond_the_limit_is_the_boards_whatever_is_changed():
    ride = wall(0.5 * climbing_current_a())

    found = ride_remedies(
        ROW, [ride], [ride], front=FrontProfiles(profiles=WEAK[None, :], picks={"soft": 0})
    )

    assert set(prevented(found).values()) == {0}
    assert (found.no_profile, found.nothing) == (1, 1)


def test_what_chance_prevents_is_no_remedy(monkeypatch):
    def by_chance(profiles, rides, **_):
        return np.array([[False, False, False, False, True, False]])

    monkeypatch.setattr(remedies_module, "_survived", by_chance)

    found = ride_remedies(ROW, [wall(50.0)], [wall(50.0)], front=None)

    assert prevented(found)["other noise and nothing else"] == 1
    assert found.nothing == 1


def test_each_change_is_of_one_thing():
    ride = wall(100.0)
    by_name = {name: change(ride) for _, name, change in CHANGES}

    board = ride.board
    assert by_name["phase_current_limit_a 15 % higher"].board.drive == dataclasses.replace(
        board.drive, phase_current_limit_a=pytest.approx(115.0)
    )
    pack = by_name["cells_in_series one more"].board.battery
    ratio = 1.0 + 1.0 / board.battery.cells_in_series
    assert pack.cells_in_series == board.battery.cells_in_series + 1
    for name in ("series_resistance_ohm", "rc_resistance_ohm", "bus_low_v", "bus_high_v"):
        assert getattr(pack, name) == pytest.approx(ratio * getattr(board.battery, name))
    more = by_name["cells_in_series one more"].board
    assert more.drive.regen_taper_v == pytest.approx(ratio * board.drive.regen_taper_v)
    frame = by_name["nose_contact_deg 2 deg more"].board.frame
    assert frame.nose_contact_deg == board.frame.nose_contact_deg + 2.0
    wheel = by_name["tyre_stiffness_n_per_m 20 % lower"].board.wheel
    assert wheel.tyre_stiffness_n_per_m == pytest.approx(0.8 * board.wheel.tyre_stiffness_n_per_m)
    noise = by_name["other noise and nothing else"]
    assert noise != ride
    assert dataclasses.replace(noise, noise_seed=ride.noise_seed) == ride


def test_a_slower_day_has_the_same_roads_and_is_slower_only_where_they_ask_for_care():
    of_day, careful = STUDY.riding_day, slower(STUDY).riding_day
    n_slower = 0
    for number in range(40):
        as_drawn, slow = (drawn_course(one, number=number, seed=3) for one in (of_day, careful))
        assert slow.road == as_drawn.road
        assert slow.road_seed == as_drawn.road_seed
        assert (
            dataclasses.replace(slow.manoeuvre, speed_mps=as_drawn.manoeuvre.speed_mps)
            == as_drawn.manoeuvre
        )
        speeds = [np.array(one.manoeuvre.speed_mps)[:, 1].mean() for one in (as_drawn, slow)]
        n_slower += speeds[1] < speeds[0] - 1e-3
    assert n_slower >= 25
    asphalt_only = dataclasses.replace(of_day, fastest_mps={}, kerbs_per_km=0.0)
    smooth = dataclasses.replace(STUDY, riding_day=asphalt_only)
    assert drawn_course(slower(smooth).riding_day, number=1, seed=3) == drawn_course(
        asphalt_only, number=1, seed=3
    )


def test_the_rides_again_are_those_of_the_day(day):
    rides = rides_at(STUDY, day.nose_downs)

    assert len(rides) == day.per_1000_km.n_events > 5
    assert (simulate(WEAK[None, :], rides).outcome == Outcome.NOSE_DOWN).all()


def test_profiles_are_counted_as_they_ride_and_the_validated_one_is_no_remedy(day):
    nose_downs = day.nose_downs[:20]
    stiffer = WEAK.copy()
    stiffer[PROFILE_NAMES.index("base_gain_a_per_deg")] *= 1.3
    front = FrontProfiles(
        profiles=np.stack([stiffer, WEAK, ROW]), picks={"stiffer": 0, "same": 1, "workshop": 2}
    )

    one, two = (
        remedies_of_day(STUDY, WEAK, nose_downs, front=front, n_jobs=n_jobs) for n_jobs in (1, 2)
    )

    assert one == two
    rides = rides_at(STUDY, nose_downs)
    came = simulate(front.profiles, rides, n_jobs=2).outcome != Outcome.NOSE_DOWN
    by_name = prevented(one)
    assert 0 < by_name["stiffer"] == came[0].sum() < 20
    assert by_name["workshop"] == came[2].sum()
    assert "same" not in by_name
    assert one.n_front == 3
    assert one.no_profile == (~came.any(axis=0)).sum()
    assert one.nothing <= one.no_profile
    profiles = [remedy.prevented for remedy in one.each if remedy.kind is Kind.PROFILE]
    assert profiles == sorted(profiles, reverse=True)


def test_of_many_nose_downs_some_are_ridden_again_and_the_text_says_how_many(day, monkeypatch):
    monkeypatch.setattr(remedies_module, "MOST_RIDDEN", 3)

    found = remedies_of_day(STUDY, WEAK, day.nose_downs, front=None, n_jobs=2)

    assert (found.ridden_again, found.nose_downs) == (3, len(day.nose_downs))
    assert remedy_lines(found)[0].startswith(f"3 of {len(day.nose_downs)} nose-downs ")


def test_a_day_without_a_nose_down_needs_no_remedy():
    assert remedies_of_day(STUDY, ROW, (), front=None) is None


def test_the_lines_name_each_remedy_with_what_it_prevents():
    found = Remedies(
        nose_downs=9,
        ridden_again=9,
        each=(
            Remedy(kind=Kind.PROFILE, name="candidate 7 (balanced)", prevented=8),
            Remedy(kind=Kind.BOARD, name="more current", prevented=5),
            Remedy(kind=Kind.BOARD, name="more cells", prevented=4),
            Remedy(kind=Kind.RIDING, name="slower", prevented=3),
            Remedy(kind=Kind.CHANCE, name="other noise", prevented=2),
        ),
        n_front=20,
        no_profile=1,
        nothing=0,
    )

    lines = remedy_lines(found)

    assert lines[1] == "another profile, the best first: candidate 7 (balanced): 8"
    assert lines[2] == "another board: more current: 5; more cells: 4"
    assert lines[-2] == (
        "the board's or the riding's, since no profile of the front (20) survives them: 1"
    )
    assert lines[-1] == "prevented by nothing of all this: 0"


def test_only_a_finished_search_has_a_front(finished, tmp_path):
    study = load_study(finished)
    unfinished = write_small_study(tmp_path / "unfinished")
    never = load_study(write_small_study(tmp_path / "never"))
    searched(unfinished, 24, stop=lambda: True)

    front = finished_front(study)

    assert finished_front(never) is None
    assert finished_front(load_study(unfinished)) is None
    assert front is not None
    assert sum(name.count("balanced") for name in front.picks) == 1
    assert max(front.picks.values()) < len(front.profiles)


def test_a_search_that_can_not_be_compared_with_its_baseline_gives_no_front(finished, monkeypatch):
    def nothing_to_compare_with(_):
        raise StudyFileError("study.toml: the baseline's excess_current_a is 0")

    monkeypatch.setattr("optimizer.analysis.front_profiles.read_results", nothing_to_compare_with)

    assert finished_front(load_study(finished)) is None


def test_a_profile_file_without_a_search_is_told_its_nose_downs_and_no_other_profile(
    levelgain, tmp_path
):
    folder = written(tmp_path, BASE + SHORT_DAY)
    soft = tmp_path / "soft.toml"
    soft.write_text(
        'use = "workshop_17"\n[stiffness]\ninner_gain_a_per_deg = 2.0\nbase_gain_a_per_deg = 1.0\n'
        "[load_response]\nuphill_gain_deg_per_mps2 = 0.0\nstiffness_lift_per_mps2 = 0.0\n",
        encoding="utf-8",
    )

    code, out, _ = levelgain("validate", folder, "--profile", soft)

    facts = json.loads((folder / "validation" / "soft.json").read_text(encoding="utf-8"))
    page = (folder / "validation" / "soft.html").read_text(encoding="utf-8")
    remedies = facts["remedies"]
    assert code == 0
    assert remedies["nose_downs"] >= 1
    assert remedies["n_front"] is None
    assert {remedy["kind"] for remedy in remedies["each"]} == {"board", "riding", "chance"}
    for text in (out, page):
        assert "another board" in text
        assert "no other profile" in text
        assert "the front" not in text.split("ridden again")[1]
