"""What the constraints on a study's own rides found and ask, in words."""

import numpy as np

from objectives import RIDE_COLUMNS
from objectives.descriptors import rider_spread
from objectives.feel import feel_in_words
from objectives.ride_scores import NOT_RIDDEN, ended_early
from optimizer.analysis.ridden_profile import (
    NOT_ASKED,
    RiddenProfile,
    band,
    counted,
    measured,
    named,
    percent,
)
from plant.kernel.outcomes import Outcome


def ride_words(ridden: RiddenProfile) -> dict[str, tuple[str, str]]:
    """Return what each constraint on the study's own rides found and asks, by its name."""
    return {
        "nose_down": _nose_down(ridden),
        "other_end": _other_end(ridden),
        "rest_shake": _rest_shake(ridden),
        "feel_band": _feel_band(ridden),
        "rider_spread": _rider_spread(ridden),
        "warned": _warned(ridden),
        "climb_speed": _climb_speed(ridden),
    }


def _nose_down(ridden: RiddenProfile) -> tuple[str, str]:
    rides, outcome = ridden.study.rides, ridden.outcome
    down = np.flatnonzero(outcome == Outcome.NOSE_DOWN)
    share = ridden.rules.settings.nose_down_share
    ended = counted(len(down), rides, outcome != NOT_RIDDEN, "ended with the nose down")
    asked = f"at most {100.0 * share:g} % of the rides, by weight" if share else "none"
    return ended + named([rides[place].name for place in down]), asked


def _other_end(ridden: RiddenProfile) -> tuple[str, str]:
    rides, outcome = ridden.study.rides, ridden.outcome
    other = np.flatnonzero(ended_early(outcome) & (outcome != Outcome.NOSE_DOWN))
    names = [f"{rides[place].name} ({Outcome(outcome[place]).message})" for place in other]
    ended = counted(len(other), rides, outcome != NOT_RIDDEN, "ended early otherwise")
    return ended + named(names), "none"


def _rest_shake(ridden: RiddenProfile) -> tuple[str, str]:
    settings = ridden.rules.settings
    limit = settings.rest_shake_limit_deg_per_s
    asked = f"at most {limit * (1.0 - settings.noise_margin_ratio):.3g} deg/s"
    if settings.noise_margin_ratio:
        asked += f" ({limit:g} less {100.0 * settings.noise_margin_ratio:g} % for other noise)"
    shake = ridden.own[:, RIDE_COLUMNS.index("hold_pitch_rate_rms_deg_per_s")]
    standing = np.flatnonzero(ridden.rules.is_standing & np.isfinite(shake))
    if not len(standing):
        return "no standing ride was ridden", asked
    worst = standing[np.argmax(shake[standing])]
    name = ridden.study.rides[worst].name
    return f"standstill oscillation of {shake[worst]:.3g} deg/s (RMS): {name}", asked


def _feel_band(ridden: RiddenProfile) -> tuple[str, str]:
    settings = ridden.rules.settings
    ends = (settings.feel_low_deg_per_mps2, settings.feel_high_deg_per_mps2)
    feel = ridden.number("feel_deg_per_mps2")
    found = (
        "how the nose dips is not measured"
        if np.isnan(feel)
        else f"the nose dips by {measured(feel)} deg per m/s2 ({feel_in_words(feel)}), mean of"
        " lightest and heaviest rider"
    )
    return found, band(*(np.nan if end is None else end for end in ends))


def _rider_spread(ridden: RiddenProfile) -> tuple[str, str]:
    level = ridden.own[np.newaxis, :, RIDE_COLUMNS.index("level_error_deg")]
    spread = float(rider_spread(level, ridden.rules)[0])
    limit = ridden.rules.settings.rider_spread_limit
    found = f"level errors of lightest and heaviest rider differ by a factor of {measured(spread)}"
    return found, NOT_ASKED if limit is None else f"at most {limit:g}"


def _warned(ridden: RiddenProfile) -> tuple[str, str]:
    limit = ridden.rules.settings.more_warned_limit
    own, base = ridden.number("warned_ratio"), ridden.baseline("warned_ratio")
    found = f"warned for {percent(own)} of the time, the baseline for {percent(base)}"
    if limit is None:
        return found, NOT_ASKED
    return found, f"at most {100.0 * limit:g} % of the time more than the baseline"


def _climb_speed(ridden: RiddenProfile) -> tuple[str, str]:
    limit = ridden.rules.settings.climb_speed_loss_limit
    own, base = ridden.number("climb_speed_ratio"), ridden.baseline("climb_speed_ratio")
    found = f"climbs at {percent(own)} of the wanted speed, the baseline at {percent(base)}"
    if not ridden.rules.handling.asked_m.any():
        return "no ride of the study is a climb", NOT_ASKED
    if limit is None:
        return found, NOT_ASKED
    return found, f"at most {100.0 * limit:g} % slower than the baseline"
