"""The largest pitch error that the loop can recover from, on a full, a half and a low pack."""

import dataclasses
import math
from collections.abc import Sequence

import numpy as np

from optimizer.study.study import Study
from optimizer.validation.current_headroom import answered_pitch, current_headroom, warning_lift
from plant.arrays import Floats
from plant.constants import WARNING_PERCEIVED_DEG
from plant.description.profile_array import array_to_profile


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class RecoverablePitch:
    """The largest recoverable pitch error on a pack, the least over speeds and riders.

    Attributes
    ----------
    pack : str
    charge_ratio : float
    balanced_deg : float
        Pitch error, nose down, whose least balancing current is all that the drive has left; inf
        where the rider is warned at every speed, or nothing needs balancing.
    answered_deg : float
        Pitch error up to which the gain is the whole one, as for `balanced_deg`.
    driving_left_a, braking_left_a : float
        Current left beyond that of the steady ride, at any speed.
    worst_mps : float
        Speed of the least `balanced_deg`.
    warned_from_mps : float
        Lowest speed at which a rider is warned in a steady ride; inf if at none.
    """

    pack: str
    charge_ratio: float
    balanced_deg: float
    answered_deg: float
    driving_left_a: float
    braking_left_a: float
    worst_mps: float
    warned_from_mps: float


def recoverable_pitches(
    study: Study, profile: Floats, least_gain_a_per_deg: Floats, *, speeds_mps: Sequence[float]
) -> list[RecoverablePitch]:
    """Return the largest recoverable pitch error on each pack, full first.

    Speeds and riders at which the rider is warned already do not count: the profile has said so.

    Parameters
    ----------
    study : Study
    profile : (parameter,) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    least_gain_a_per_deg : (speed, rider) float64
        Least stiffness with which the loop is stable; inf where it is not.
    speeds_mps : sequence of float
    """
    packs = {"full": 1.0, "half": 0.5, "low": study.riding_day.least_charge_ratio}
    return [
        _on_pack(study, profile, least_gain_a_per_deg, speeds_mps=speeds_mps, pack=pack)
        for pack in packs.items()
    ]


def _on_pack(
    study: Study,
    profile: Floats,
    least_gain: Floats,
    *,
    speeds_mps: Sequence[float],
    pack: tuple[str, float],
) -> RecoverablePitch:
    whole = array_to_profile(profile)
    riders = study.every_rider
    shape = (len(speeds_mps), len(riders))
    balanced, answered = np.full(shape, math.inf), np.full(shape, math.inf)
    driving, braking = np.empty(shape), np.empty(shape)
    warned = np.zeros(shape, dtype=bool)
    for row, speed in enumerate(speeds_mps):
        for column, rider in enumerate(riders):
            place = row, column
            headroom = current_headroom(study.board, rider, speed_mps=speed, charge_ratio=pack[1])
            driving[place] = headroom.high_a - headroom.steady_a
            braking[place] = headroom.steady_a - headroom.low_a
            warned[place] = warning_lift(whole, study.board, headroom) >= WARNING_PERCEIVED_DEG
            if not warned[place]:
                answered[place] = answered_pitch(profile, headroom)
                balanced[place] = driving[place] / max(least_gain[place], 1e-9)
    places = np.flatnonzero(warned.any(axis=1))
    return RecoverablePitch(
        pack=pack[0],
        charge_ratio=pack[1],
        balanced_deg=float(balanced.min()),
        answered_deg=float(answered.min()),
        driving_left_a=float(driving.min()),
        braking_left_a=float(braking.min()),
        worst_mps=speeds_mps[int(np.argmin(balanced.min(axis=1)))],
        warned_from_mps=speeds_mps[places[0]] if len(places) else math.inf,
    )


def in_words(found: RecoverablePitch) -> str:
    """Return the largest recoverable pitch error on a pack as a phrase."""
    pack = f"{found.pack} pack ({100.0 * found.charge_ratio:.0f} %)"
    warned = math.isfinite(found.warned_from_mps)
    if math.isinf(found.balanced_deg):
        return f"{pack} warned at every speed" if warned else f"{pack} without limit"
    words = (
        f"{pack} {found.balanced_deg:.0f} deg at {found.worst_mps:g} m/s,"
        f" with the whole gain up to {found.answered_deg:.0f} deg"
    )
    return f"{words}, warned from {found.warned_from_mps:g} m/s" if warned else words
