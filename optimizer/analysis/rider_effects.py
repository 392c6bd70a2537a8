"""What a rider notices of a changed setting, by parameter."""

import numpy as np

from optimizer.analysis.results import Results
from optimizer.search.space import to_unit

# What more of it and less of it feel like. Common practice, no source.
PERCEIVED = {
    "inner_gain_a_per_deg": ("steadier at rest and at walking pace", "looser at rest"),
    "inner_band_deg": ("steady over a wider angle around level", "steady very near level only"),
    "base_gain_a_per_deg": ("a firmer board under a lean", "a softer, deeper lean"),
    "mid_knee_deg": ("stiffens later in a lean", "stiffens earlier in a lean"),
    "mid_gain_ratio": ("stiffens more once it leans", "stays softer once it leans"),
    "outer_knee_deg": ("the last stiffening comes later", "the last stiffening comes earlier"),
    "outer_gain_ratio": ("a harder stop near the ground", "less of a stop near the ground"),
    "rate_gain_a_per_deg_per_s": ("calmer over bumps, slower to tip", "livelier, rocks more"),
    "rate_filter_hz": ("quicker damping, more hum from the motor", "smoother, later damping"),
    "rate_current_cap_a": ("holds harder against a kick", "lets a kick pass with less push"),
    "integral_gain_a_per_deg_s": ("comes back to level sooner", "rests off level for longer"),
    "integral_clamp_a": ("leans back on long climbs by itself", "needs the rider on long climbs"),
    "braking_stiffness_ratio": ("firmer under braking", "the tail comes down more easily"),
    "braking_damping_ratio": ("a calmer stop", "a livelier stop"),
    "braking_current_cap_a": ("can brake harder", "brakes less hard, and gives way sooner"),
    "expected_current_a_per_mps2": (
        "takes less of a push for a hill",
        "takes more of a push for a hill: the nose comes up while accelerating",
    ),
    "load_deadband_mps2": ("answers hills later", "answers small slopes too"),
    "uphill_gain_deg_per_mps2": ("the nose rises more uphill", "the nose rises less uphill"),
    "downhill_gain_deg_per_mps2": ("the nose drops more downhill", "the nose drops less downhill"),
    "load_shift_cap_deg": ("can tilt further on steep hills", "tilts less on steep hills"),
    "load_rise_deg_per_s": ("tilts quicker where a hill begins", "tilts slower where one begins"),
    "load_fall_deg_per_s": ("levels quicker where a hill ends", "levels slower where one ends"),
    "stiffness_lift_per_mps2": ("much firmer on hills", "alike on hills and on the flat"),
    "stiffness_lift_cap_ratio": ("firmer on the steepest hills", "softer on the steepest hills"),
    "turn_gain_deg_per_mps2": ("the nose comes up in a carve", "the nose stays lower in a carve"),
    "turn_build_up_s": ("the lift in a carve comes later", "the lift in a carve comes sooner"),
    "turn_lift_cap_deg": ("more lift in a hard carve", "less lift in a hard carve"),
    "reserve_warning_ratio": ("warns earlier at speed and on hills", "warns later"),
    "heat_warning_margin_k": ("warns earlier when the drive is hot", "warns later when hot"),
    "bus_warning_margin_v": ("warns earlier on an empty or full pack", "warns later on those"),
    "warning_lift_deg": ("a plainer warning tilt", "a fainter warning tilt"),
    "warning_slew_deg_per_s": ("the warning tilt comes quicker", "the warning tilt comes slower"),
    "engage_angle_deg": ("engages with the tail lower", "engages nearer to level"),
    "torque_build_up_s": ("takes over more slowly at a start", "takes over at once at a start"),
    "level_slew_deg_per_s": ("comes level quicker at a start", "comes level slower at a start"),
    "feed_forward_ratio": ("the pitch loop pushes more directly", "the inner loop pushes more"),
    "acceleration_gain_a_per_mps2": ("holds an acceleration harder", "holds it less"),
    "acceleration_integral_a_per_mps": ("makes up for hills sooner", "makes up for hills later"),
    "acceleration_clamp_a": ("can make up for steeper hills", "makes up for less"),
    "acceleration_filter_hz": ("quicker and rougher at low speed", "smoother and later"),
}


def perceived(name: str, *, more: bool) -> str:
    """Return what a rider notices of more of a setting, or of less."""
    return PERCEIVED[name][0 if more else 1]


def largest_changes(results: Results, number: int, *, limit: int = 6) -> list[str]:
    """Return the settings that changed most against the baseline, and what a rider notices.

    Parameters
    ----------
    results : Results
    number : int
        Candidate.
    limit : int
        At most so many, by the share of the searched range.
    """
    space = results.study.space
    before, after = results.history.values[[0, number]]
    change = to_unit(space, after[None, :])[0] - to_unit(space, before[None, :])[0]
    order = np.argsort(-np.abs(change), kind="stable")[:limit]
    return [
        f"{space.names[place]} {before[place]:.4g} → {after[place]:.4g}:"
        f" {perceived(space.names[place], more=change[place] > 0.0)}"
        for place in order.tolist()
        if change[place] != 0.0
    ]
