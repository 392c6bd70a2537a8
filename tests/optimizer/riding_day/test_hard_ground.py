"""The ground of a part of a road, and which ground holds what is hard."""

import numpy as np
import pytest

from optimizer.riding_day import pieces
from optimizer.riding_day.hard_ground import Ground, ground_of, hard_grounds, may_hold
from optimizer.study.load import load_study
from plant.description.course import Patch, Road, Surface
from tests.optimizer.small_study import write_small_study

SMOOTH = Surface(rolling_ratio=0.012, friction_ratio=0.8, roughness_1e6_m3=16.0)
GRAVEL = Surface(rolling_ratio=0.045, friction_ratio=0.5, roughness_1e6_m3=256.0)
GRASS = Surface(rolling_ratio=0.065, friction_ratio=0.45, roughness_1e6_m3=256.0)
ROAD = Road(
    patches=(
        Patch(from_m=0.0, surface=SMOOTH),
        Patch(from_m=50.0, surface=GRAVEL),
        Patch(from_m=80.0, surface=GRASS),
        Patch(from_m=90.0, surface=SMOOTH),
    ),
    kerbs=((20.0, 0.015), (40.0, -0.05), (60.0, 0.01)),
)
PLAIN, GRAVELLY, GRASSY = ((16.0, 0.012), (256.0, 0.045), (256.0, 0.065))


@pytest.mark.parametrize(
    ("from_m", "to_m", "ground"),
    [
        (0.0, 10.0, Ground(*PLAIN, kerb=False)),
        (0.0, 20.0, Ground(*PLAIN, kerb=True)),
        (25.0, 45.0, Ground(*PLAIN, kerb=False)),  # a kerb down is none
        (25.0, 55.0, Ground(*GRAVELLY, kerb=False)),
        (55.0, 65.0, Ground(*GRAVELLY, kerb=False)),  # a flush one is none
        (70.0, 120.0, Ground(*GRASSY, kerb=False)),  # as rough as gravel, and softer
        (95.0, 500.0, Ground(*PLAIN, kerb=False)),
        (10.0, 85.0, Ground(*GRASSY, kerb=True)),
    ],
)
def test_the_ground_of_a_part_is_its_roughest_surface_and_whether_a_kerb_is_climbed(
    from_m, to_m, ground
):
    assert ground_of(ROAD, from_m, to_m, flush_m=0.01) == ground


def test_a_road_may_hold_the_ground_of_each_of_its_parts_and_no_other_surface():
    parts = {
        ground_of(ROAD, start, start + length, flush_m=0.01)
        for start in np.arange(0.0, 120.0, 2.5)
        for length in (1.0, 10.0, 40.0)
    }

    assert all(may_hold(ROAD, frozenset([ground]), flush_m=0.01) for ground in parts)
    assert not may_hold(ROAD, frozenset([Ground(1024.0, 0.05, kerb=False)]), flush_m=0.01)
    assert not may_hold(ROAD, frozenset([Ground(*PLAIN, kerb=True)]), flush_m=0.02)


def test_hard_ground_is_the_least_that_holds_nearly_all_that_is_hard():
    track, kerb, plain, grass = (
        Ground(1024.0, 0.05, kerb=False),
        Ground(*PLAIN, kerb=True),
        Ground(*PLAIN, kerb=False),
        Ground(*GRASSY, kerb=False),
    )
    n_on = {plain: 900, kerb: 60, track: 30, grass: 10}

    chosen, share = hard_grounds(n_on, {plain: 0.4, kerb: 3.0, track: 7.0})

    with_kerb = track._replace(kerb=True)
    with_kerb, on_grass = track._replace(kerb=True), grass._replace(kerb=True)
    assert chosen == {track, with_kerb, kerb, on_grass}  # 10 of 10.4
    assert share == pytest.approx(0.09)
    all_but_grass = {track, with_kerb, kerb, on_grass, plain}
    assert hard_grounds(n_on, {plain: 2.0, kerb: 3.0, track: 5.0})[0] == all_but_grass


def test_a_hard_surface_is_hard_with_a_kerb_too_and_a_hard_kerb_on_all_surfaces():
    track, plain = Ground(1024.0, 0.05, kerb=False), Ground(*PLAIN, kerb=False)
    with_kerb = track._replace(kerb=True)
    n_on = {plain: 100, track: 30, with_kerb: 5}

    assert hard_grounds(n_on, {track: 7.0, with_kerb: 0.0}) == ({track, with_kerb}, 35 / 135)
    assert hard_grounds(n_on, {with_kerb: 7.0}) == (
        {with_kerb, plain._replace(kerb=True)},
        5 / 135,
    )


def test_no_course_with_a_piece_on_some_ground_is_left_out(tmp_path):
    study = load_study(write_small_study(tmp_path / "study"))
    numbers = np.arange(60)
    _, everything = pieces.pieces_of_day(study, None, numbers)
    rare = frozenset(piece.ground for piece in everything if piece.ground.roughness_1e6_m3 > 1000.0)
    expected = [piece.place for piece in everything if piece.ground in rare]

    chosen = pieces.courses_with(study, rare, range(60))
    rides, found = pieces.pieces_of_day(study, rare, chosen)

    assert [piece.place for piece in found] == expected
    assert len(rides) == len(expected) > 0
    assert len(chosen) < 30


def test_courses_without_a_piece_on_some_ground_give_those_of_the_first(tmp_path):
    study = load_study(write_small_study(tmp_path / "study"))
    nowhere = frozenset([Ground(5000.0, 0.3, kerb=False)])

    rides, found = pieces.pieces_of_day(study, nowhere, np.array([7, 9]))

    assert {piece.course for piece in found} == {7}
    assert len(rides) == len(found) == 64
