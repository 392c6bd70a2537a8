"""What is measured of a ride: accumulators kept while it runs, metrics read at its end."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

_LEAST_FEEL = 0.25  # m2/s3, assumed: less than half a second at 0.7 m/s2 tells no feel

# Kept by the kernel, one row each.
ACCUMULATOR_NAMES = (
    "outcome",
    "ride_time_s",
    "hold_time_s",
    "hold_pitch_deg_s",
    "hold_pitch_most",
    "hold_square_deg2_s",
    "hold_rate_square",
    "counted_excess_a",
    "peak_a",
    "demand_a",
    "least_reserve",
    "least_nose_margin",
    "feel_product",
    "feel_square",
    "braking_product",
    "braking_square",
    "accel_smooth_mps2",
    "accel_smoother_mps2",
    "tail_effort",
    "start_jerk",
    "start_time_s",
    "started_s",
    "traction_peak",
    "vibration_square",
    "wheel_rise_was",
    "weighting_1",
    "weighting_2",
    "weighting_3",
    "weighting_4",
    "weighting_5",
    "weighting_6",
    "weighting_7",
    "weighting_8",
    "energy_j",
    "mosfet_peak",
    "winding_peak",
    "bus_high",
    "bus_low",
    "battery_peak",
    "warning_time",
    "off_time_s",
    "roll_back",
)

# Read at the end: the columns of `Rides.metrics`.
#
# Four are NaN where a ride has nothing to measure: `feel_deg_per_mps2` where it never accelerates,
# `braking_feel_deg_per_mps2` where it never brakes, `start_jerk_mps3` where it does not start
# tail-down or never engages, and `start_delay_s` where it does not start tail-down; a start that
# never settles lasts until the ride ends. The largest pitch is 0 where the nose never dips.
METRIC_NAMES = (
    "ride_time_s",
    "distance_m",
    "hold_pitch_mean_deg",
    "hold_pitch_most_deg",
    "hold_pitch_rms_deg",
    "hold_pitch_rate_rms_deg_per_s",
    "excess_current_a",
    "peak_current_a",
    "least_reserve_ratio",
    "least_nose_margin_ratio",
    "feel_deg_per_mps2",
    "braking_feel_deg_per_mps2",
    "tail_effort_ratio",
    "start_jerk_mps3",
    "start_delay_s",
    "traction_peak_ratio",
    "vibration_mps2",
    "energy_wh",
    "mosfet_peak_c",
    "winding_peak_c",
    "bus_high_v",
    "bus_low_v",
    "battery_peak_a",
    "warning_time_s",
    "end_speed_mps",
    "roll_back_mps",
)


def lane_metrics(row: Callable[[str], NDArray[np.float64]]) -> NDArray[np.float64]:
    """Return the metrics of finished lanes, (lane, metric).

    Parameters
    ----------
    row : callable
        From the name of a row to its value in every lane, (lane,), once the rides have ended.
    """

    def ratio(top: str, under: str, *, least: float = 0.0) -> NDArray[np.float64]:
        low = row(under)
        return np.divide(row(top), low, out=np.zeros(len(low)), where=low > least)

    tail_down = row("start_tail_rad") < 0.0
    measured = {
        "feel_deg_per_mps2": row("feel_square") > _LEAST_FEEL,
        "braking_feel_deg_per_mps2": row("braking_square") > _LEAST_FEEL,
        "start_jerk_mps3": row("start_jerk") >= 0.0,
        "start_delay_s": tail_down,
    }
    values = {
        "ride_time_s": row("ride_time_s"),
        "distance_m": row("distance_m"),
        "hold_pitch_mean_deg": ratio("hold_pitch_deg_s", "hold_time_s"),
        "hold_pitch_most_deg": row("hold_pitch_most"),
        "hold_pitch_rms_deg": np.sqrt(ratio("hold_square_deg2_s", "hold_time_s")),
        "hold_pitch_rate_rms_deg_per_s": np.sqrt(ratio("hold_rate_square", "hold_time_s")),
        "excess_current_a": row("counted_excess_a"),
        "peak_current_a": row("peak_a"),
        "least_reserve_ratio": row("least_reserve"),
        "least_nose_margin_ratio": row("least_nose_margin"),
        "feel_deg_per_mps2": ratio("feel_product", "feel_square", least=_LEAST_FEEL),
        "braking_feel_deg_per_mps2": ratio("braking_product", "braking_square", least=_LEAST_FEEL),
        "tail_effort_ratio": row("tail_effort"),
        "start_jerk_mps3": row("start_jerk"),
        "start_delay_s": row("start_time_s"),
        "traction_peak_ratio": row("traction_peak"),
        "vibration_mps2": np.sqrt(ratio("vibration_square", "ride_time_s")),
        "energy_wh": row("energy_j") / 3600.0,
        "mosfet_peak_c": row("mosfet_peak"),
        "winding_peak_c": row("winding_peak"),
        "bus_high_v": row("bus_high"),
        "bus_low_v": row("bus_low"),
        "battery_peak_a": row("battery_peak"),
        "warning_time_s": row("warning_time"),
        "end_speed_mps": row("speed_mps"),
        "roll_back_mps": row("roll_back"),
    }
    table = np.column_stack([values[name] for name in METRIC_NAMES])
    # A lane that left the numbers is an ended ride; its last state is not a result.
    finite: NDArray[np.float64] = np.nan_to_num(table, nan=0.0, posinf=0.0, neginf=0.0)
    for name, known in measured.items():
        place = METRIC_NAMES.index(name)
        finite[~(known & np.isfinite(table[:, place])), place] = np.nan
    return finite
