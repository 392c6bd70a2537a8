"""What a rider feels between two profiles, in words, from how both were measured to handle."""

import dataclasses
import math

from objectives.handling import HANDLING_NAMES, HANDLING_RIDERS
from optimizer.base.messages import two_digits
from plant.arrays import Floats

_RIDERS = HANDLING_RIDERS[:2]  # lightest and heaviest


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class _Felt:
    """How a change of one number of handling is said.

    Attributes
    ----------
    when : str
        Where a rider feels it.
    what : str
    more, less : str
        What more of the number is, and less of it.
    unit : str
        Of the change that is said; "%" of the number before for a relative one.
    factor : float
        From the number's own unit to that one.
    least : float
        A smaller change, in that unit, is not felt.
    """

    when: str
    what: str
    more: str = "more"
    less: str = "less"
    unit: str = "deg"
    factor: float = 1.0
    least: float = 0.2


# What is felt at all: common practice, no source.
_FELT = {
    "feel_deg_per_mps2": _Felt(when="accelerating at 1 m/s2", what="the nose dips"),
    "braking_feel_deg_per_mps2": _Felt(when="braking at 1 m/s2", what="the nose rises"),
    "grade_dip_deg": _Felt(when="where a climb of 10 % begins", what="the nose dips"),
    "bend_lift_deg": _Felt(
        when="in a bend at 45 deg/s", what="the nose lies", more="higher", less="lower"
    ),
    "stiffness_nm_per_deg": _Felt(
        when="near level",
        what="the board is",
        more="stiffer",
        less="softer",
        unit="%",
        factor=100.0,
        least=10.0,
    ),
    "tail_effort_ratio": _Felt(
        when="bringing the tail down",
        what="the effort is",
        more="higher",
        less="lower",
        unit="% of the rider's largest",
        factor=100.0,
        least=5.0,
    ),
    "warned_ratio": _Felt(
        when="where no warning is due",
        what="a warning is felt",
        unit="% of the time",
        factor=100.0,
        least=1.0,
    ),
    "climb_speed_ratio": _Felt(
        when="on climbs",
        what="the board rides",
        more="faster",
        less="slower",
        unit="% of the asked speed",
        factor=100.0,
        least=1.0,
    ),
}


def felt_differences(before: Floats, after: Floats, *, name_alike: bool = True) -> list[str]:
    """Return what a rider feels of one profile against another, a line for each number of handling.

    The last line names what feels alike, where that is asked for.

    Parameters
    ----------
    before, after : (number, rider) float64
        From `objectives.handling.handling_numbers`, lightest and heaviest rider first; NaN where a
        number was not measured, of which nothing is said.
    name_alike : bool
    """
    lines, alike = [], []
    for name, own_before, own_after in zip(HANDLING_NAMES, before, after, strict=True):
        felt = _FELT[name]
        changes = [
            _change(felt, float(old), float(new))
            for old, new in zip(own_before[: len(_RIDERS)], own_after[: len(_RIDERS)], strict=True)
        ]
        if all(map(math.isnan, changes)):
            continue
        if any(abs(change) >= felt.least for change in changes):
            lines.append(f"{felt.when}, {felt.what} {_by_rider(felt, changes)}")
        else:
            alike.append(felt.when)
    if alike and name_alike:
        lines.append(f"alike: {'; '.join(alike)}")
    return lines


def _change(felt: _Felt, before: float, after: float) -> float:
    if felt.unit == "%":
        return felt.factor * (after / before - 1.0) if before > 0.0 else math.nan
    return felt.factor * (after - before)


def _by_rider(felt: _Felt, changes: list[float]) -> str:
    """Return changes of the lightest and the heaviest rider in words, once where they are equal."""
    words = [_amount(felt, change) for change in changes]
    if words[0] == words[1]:
        return f"{words[0]} with every rider" if words[0] else ""
    return " and ".join(
        f"{word} with the {rider} rider" for word, rider in zip(words, _RIDERS, strict=True) if word
    )


def _amount(felt: _Felt, change: float) -> str:
    if math.isnan(change):
        return ""
    if abs(change) < felt.least:
        return "as before"
    return f"{two_digits(abs(change))} {felt.unit} {felt.more if change > 0.0 else felt.less}"
