"""What the constraints on the balance loop found and ask, in words."""

import math

import numpy as np

from optimizer.analysis.ridden_profile import RiddenProfile
from plant.arrays import Floats
from plant.linear.balance_loop import GAIN_POINTS, loop_gains, loop_margins
from plant.linear.margins import Margins

GAIN_POINT_WORDS = dict(
    zip(GAIN_POINTS, ("near level", "beyond the inner band", "lifted on a hill"), strict=True)
)


def loop_words(ridden: RiddenProfile) -> dict[str, tuple[str, str]]:
    """Return what each constraint on the loop found and asks, by its name."""
    margins = loop_margins(ridden.rules.loop, loop_gains(ridden.profile[np.newaxis]))
    return {
        "sensitivity": _sensitivity(ridden, margins),
        "phase_margin": _phase_margin(ridden, margins),
        "gain_margin": _gain_margin(ridden, margins),
        "closed_loop": _closed_loop(ridden, margins),
    }


def _at(ridden: RiddenProfile, values: Floats) -> tuple[float, str]:
    """Return the least of (1, gain point, speed and rider) values, and where it is, in words."""
    place = int(np.argmin(values[0]))
    point, lane = np.unravel_index(place, values.shape[1:])
    names = list(ridden.study.named_variants)
    rider = names[int(lane) % len(names)]
    where = f"{GAIN_POINT_WORDS[GAIN_POINTS[int(point)]]}, with {rider}"
    return float(values[0].flat[place]), where


def _signed(margins: Margins, values: Floats) -> Floats:
    return np.where(margins.stable, values, -values)


def _sensitivity(ridden: RiddenProfile, margins: Margins) -> tuple[str, str]:
    asked = f"at most {ridden.rules.settings.sensitivity_limit:g}"
    modulus, where = _at(ridden, _signed(margins, margins.modulus))
    if modulus <= 0.0:
        return f"the loop is unstable {where}", asked
    return f"largest sensitivity {1.0 / modulus:.3g}, {where}", asked


def _phase_margin(ridden: RiddenProfile, margins: Margins) -> tuple[str, str]:
    asked = f"at least {ridden.rules.settings.phase_margin_deg:g} deg"
    phase, where = _at(ridden, _signed(margins, margins.phase_deg))
    return _least_margin("phase margin", phase, f"{phase:.3g} deg", where), asked


def _gain_margin(ridden: RiddenProfile, margins: Margins) -> tuple[str, str]:
    asked = f"at least x{ridden.rules.settings.gain_margin_ratio:g}, upper and lower"
    room, where = _at(ridden, _signed(margins, margins.gain_room))
    return _least_margin("gain margin", room, f"x{np.exp(room):.3g}", where), asked


def _least_margin(called: str, least: float, in_words: str, where: str) -> str:
    if least <= 0.0:
        return f"the loop is unstable {where}"
    return f"{called} without limit" if math.isinf(least) else f"{called} {in_words}, {where}"


def _closed_loop(ridden: RiddenProfile, margins: Margins) -> tuple[str, str]:
    poles, where = _at(ridden, -margins.n_unstable.astype(np.float64))
    if poles < 0.0:
        return f"{-poles:.0f} unstable poles {where}", "none"
    return "the linearised loop is stable", "no unstable pole"
