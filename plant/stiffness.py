"""The stiffness of a profile as a curve: what current a pitch error asks for."""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from plant.compile import entry
from plant.description.profile_array import array_to_profile
from plant.physics.control import stiffness_current

Floats: TypeAlias = NDArray[np.float64]
_stiffness_current = entry(stiffness_current)


def stiffness_curve(profile: Floats, error_deg: Floats) -> Floats:
    """Return the current in A that the stiffness asks, (2, error): riding, then braking.

    Parameters
    ----------
    profile : (parameter,) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    error_deg : (error,) float64
        Pitch error, positive with the nose below the wanted level.
    """
    whole = array_to_profile(profile)
    curve = whole.stiffness
    riding = [
        _stiffness_current(
            error,
            curve.inner_gain_a_per_deg,
            curve.inner_band_deg,
            curve.base_gain_a_per_deg,
            curve.mid_knee_deg,
            curve.mid_gain_ratio,
            curve.outer_knee_deg,
            curve.outer_gain_ratio,
        )
        for error in error_deg.tolist()
    ]
    return np.outer([1.0, whole.braking.braking_stiffness_ratio], riding)
