"""The path of a wheel's centre over a profile."""

import math

import numpy as np

from plant.arrays import Floats
from plant.compile import kernel

_BLOCK = 1024  # points that stay in a processor's nearest cache while a wheel rolls over them


def wheel_centre_path(
    height_m: Floats, *, step_m: float, radius_m: float, contact_length_m: float
) -> Floats:
    """Return the height of a wheel's centre over its rest height, rolling over a profile.

    Parameters
    ----------
    height_m : (point,) float64
        Profile every `step_m`; its ends hold beyond.
    radius_m : float
        Radius of the rigid circle that rolls over it.
    contact_length_m : float
        Length over which the tyre averages; 0 for a rigid wheel.

    Notes
    -----
    The wheel turns by the horizontal distance, not by the longer path of its centre. Up a slope b
    of that path the plant therefore asks a torque r W tan(b), where statics of a wheel driven by
    torque asks r W sin(b): at the first contact of a rigid wheel with a step h it is r / (r - h)
    of statics, 1.22 at 25 mm; 1.04 once a tyre of 9 cm contact envelops that step. The force at
    the axle and the friction needed are those of statics.
    """
    reach = math.floor(radius_m / step_m)
    offset = np.arange(reach + 1) * step_m
    circle = np.sqrt(np.maximum(radius_m**2 - offset**2, 0.0)) - radius_m
    rolled = np.empty(len(height_m))
    _roll(_held_beyond(height_m, reach, reach), circle, rolled)
    return moving_mean(rolled, round(contact_length_m / step_m))


@kernel
def _roll(height_m: Floats, circle: Floats, rolled: Floats) -> None:
    """Write the height of a circle's centre that rolls over a profile.

    Parameters
    ----------
    height_m : (reach + point + reach,) float64
    circle : (reach + 1,) float64
        Height of the circle's lower half over its lowest point, negative, from there to one side.
    rolled : (point,) float64
    """
    reach = circle.shape[0] - 1
    for first in range(0, rolled.shape[0], _BLOCK):
        n_points = min(rolled.shape[0] - first, _BLOCK)
        centre = rolled[first : first + n_points]
        centre[:] = height_m[first + reach : first + reach + n_points]
        for offset in range(1, reach + 1):
            behind = height_m[first + reach - offset : first + reach - offset + n_points]
            ahead = height_m[first + reach + offset : first + reach + offset + n_points]
            for point in range(n_points):
                higher = behind[point] if behind[point] > ahead[point] else ahead[point]
                lifted = higher + circle[offset]
                centre[point] = lifted if lifted > centre[point] else centre[point]


def moving_mean(values: Floats, width: int) -> Floats:
    """Return the mean of so many values around each; the first and the last hold beyond."""
    if width <= 1:
        return values
    mean = np.empty(len(values))
    _run_mean(_held_beyond(values, width // 2, width - width // 2), 1.0 / width, mean)
    return mean


def _held_beyond(values: Floats, n_before: int, n_after: int) -> Floats:
    """Return values, the first and the last repeated so often (`numpy.pad` takes longer)."""
    return np.concatenate([np.full(n_before, values[0]), values, np.full(n_after, values[-1])])


@kernel
def _run_mean(values: Floats, share: float, mean: Floats) -> None:
    """Write the running means of (point + width,) values, each of them with that share."""
    width = values.shape[0] - mean.shape[0]
    now = 0.0
    for place in range(width):
        now += values[place] * share
    for point in range(mean.shape[0]):
        mean[point] = now
        now += (values[point + width] - values[point]) * share
