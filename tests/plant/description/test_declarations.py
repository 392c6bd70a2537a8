"""One declaration of each number: its range, its name, its place in a row."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.description.board import Board
from plant.description.profile import Profile
from plant.description.profile_array import PROFILE_NAMES, array_to_profile, profile_to_array
from plant.description.quantity import Quantity, quantities
from plant.description.rider import Rider
from plant.kernel.course_tables import script_table
from plant.kernel.lane_layout import BOARD_NAMES, N_ROWS, RIDER_NAMES, SCRIPT_NAMES, WIDTH, R
from plant.kernel.metrics import METRIC_NAMES
from plant.kernel.outcomes import Outcome
from plant.kernel.trace import Trace
from tests import invented, invented_rides

DECLARED: dict[str, Quantity] = {
    declared.name: declared
    for kind in (Profile, Board, Rider)
    for section in dataclasses.fields(kind)
    for declared in quantities(section.type)
}
UNITS = (
    "_a", "_a_per_deg", "_a_per_deg_per_s", "_a_per_deg_s", "_a_per_mps", "_a_per_mps2", "_ah",
    "_c", "_deg", "_deg_per_mps2", "_deg_per_s", "_h", "_hz", "_j_per_k", "_k", "_k_per_w", "_kg",
    "_kg_m2", "_m", "_m2", "_mps2", "_n_per_m", "_n_s_per_m", "_ohm", "_per_mps2", "_ratio",
    "_rpm_per_v", "_s", "_v", "_w", "_w_per_a_v",
)  # fmt: skip
COUNTS = {"pole_pairs", "cells_in_series"}


def profiles():
    """Return a strategy for allowed profiles as rows."""
    return st.tuples(
        *(st.floats(DECLARED[name].low, DECLARED[name].high) for name in PROFILE_NAMES)
    )


@given(profiles())
def test_a_profile_survives_the_way_to_a_row_and_back(values):
    row = np.array(values)

    np.testing.assert_array_equal(profile_to_array(array_to_profile(row)), row)


@pytest.mark.parametrize("name", PROFILE_NAMES)
def test_a_profile_outside_a_range_is_refused_by_name(name):
    for wrong in (DECLARED[name].low - 1e-3, DECLARED[name].high + 1e-3, np.nan, np.inf):
        row = invented_rides.profile_row()
        row[PROFILE_NAMES.index(name)] = wrong
        with pytest.raises(ValueError, match=rf"^{name}: .* must be from .* to .*, got"):
            array_to_profile(row)


def test_a_row_of_another_length_is_no_profile():
    with pytest.raises(ValueError, match=f"a profile has {len(PROFILE_NAMES)} numbers"):
        array_to_profile(np.ones(3))


@pytest.mark.parametrize(
    ("section", "name", "wrong"),
    [
        ("frame", "frame_mass_kg", 0.0),
        ("motor", "phase_resistance_ohm", -0.05),
        ("motor", "kv_rpm_per_v", 1.57),  # 15 rpm/V written in rad/s per volt
        ("battery", "charge_ratio", 80.0),
        ("wheel", "wheel_radius_m", 140.0),
    ],
)
def test_an_impossible_board_is_refused_by_name(section, name, wrong):
    with pytest.raises(ValueError, match=f"^{name}: "):
        dataclasses.replace(
            invented.board(),
            **{section: dataclasses.replace(getattr(invented.board(), section), **{name: wrong})},
        )


@pytest.mark.parametrize(
    ("section", "name", "wrong"),
    [("drive", "throttle_end_c", 79.0), ("battery", "bus_high_v", 41.0)],
)
def test_limits_in_the_wrong_order_are_refused(section, name, wrong):
    with pytest.raises(ValueError, match=f"{name} must be above"):
        dataclasses.replace(
            invented.board(),
            **{section: dataclasses.replace(getattr(invented.board(), section), **{name: wrong})},
        )


def test_a_rider_out_of_range_is_refused():
    with pytest.raises(ValueError, match=r"^reflex_delay_s: "):
        invented_rides.rider(80.0, reflex_delay_s=0.5)


@pytest.mark.parametrize("name", list(DECLARED))
def test_every_declared_number_has_a_range_a_meaning_and_a_unit(name):
    declared = DECLARED[name]

    assert declared.low < declared.high
    assert declared.text
    assert name in COUNTS or name.endswith(UNITS)


def test_every_number_of_a_lane_has_a_row_of_its_own():
    assert [int(row) for row in R] == list(range(0, N_ROWS * WIDTH, WIDTH))
    for name in PROFILE_NAMES + BOARD_NAMES + RIDER_NAMES:
        assert name in R.__members__
    assert tuple(R.__members__)[: len(PROFILE_NAMES)] == PROFILE_NAMES


def test_script_has_a_column_for_each_of_its_names():
    course = invented_rides.courses()["tail_down_uphill"]

    table = script_table(course)

    assert table.shape[1] == len(SCRIPT_NAMES)
    assert len(table) * 0.01 >= course.manoeuvre.duration_s


def test_every_outcome_has_a_message_and_every_metric_one_name():
    assert all(outcome.message for outcome in Outcome)
    assert len({outcome.message for outcome in Outcome}) == len(Outcome)
    assert len(set(METRIC_NAMES)) == len(METRIC_NAMES)


def test_trace_and_metrics_name_their_units():
    bare = {"outcome"}

    for name in {field.name for field in dataclasses.fields(Trace)} - bare | set(METRIC_NAMES):
        assert name.endswith((*UNITS, "_mps", "_mps3", "_wh", "_nm", "_n", "_percent")), name
