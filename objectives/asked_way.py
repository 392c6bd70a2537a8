"""How far a rider asks to ride."""

import numpy as np

from plant.description.course import Manoeuvre


def asked_way_m(manoeuvre: Manoeuvre, *, until_s: float | None = None) -> float:
    """Return how far the wanted speed leads, in m, exactly: speeds are joined by straight lines.

    Parameters
    ----------
    manoeuvre : Manoeuvre
    until_s : float, optional
        From the start until then; the whole manoeuvre if not given.
    """
    end_s = manoeuvre.duration_s if until_s is None else until_s
    times, speeds = (np.array(values) for values in zip(*manoeuvre.speed_mps, strict=True))
    inside = np.unique(np.clip([*times, 0.0, end_s], 0.0, end_s))
    return float(np.trapezoid(np.interp(inside, times, speeds), inside))
