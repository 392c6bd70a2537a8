"""What a move of one parameter does, in words, and what to do about one at an end of its range."""

import numpy as np

from objectives import CONSTRAINT_NAMES, OBJECTIVES
from optimizer.analysis.sensitivity import Sensitivity
from plant.description.profile import Profile
from plant.description.quantity import declared_numbers

_PERCEIVED = 0.005  # a smaller change of an objective is not worth a word
_UNITS = {
    "level_error_deg": " deg",
    "excess_current_a": " A",
    "nose_downs_per_1000_km": " per 1,000 km",
}
_WORDS = {
    "level_error_deg": "the level error",
    "excess_current_a": "the peak current beyond the need",
    "nose_downs_per_1000_km": "the nose-down rate",
}
_CAN_BE = {
    name: (declared.low, declared.high) for name, (_, declared) in declared_numbers(Profile).items()
}


def sentence(found: Sensitivity, place: int) -> str:
    """Return in words what moving a parameter does, by the move that does more."""
    side = int(np.argmax(np.abs(found.moved_cost[:, place] - found.cost)))
    before, after = found.here[place], found.moved[side, place]
    if before == after:
        return f"{found.names[place]} does nothing that shows."
    verb = "Raising" if after > before else "Lowering"
    return (
        f"{verb} {found.names[place]} from {before:.4g} to {after:.4g}"
        f" {_joined(_changes(found, side, place)) or 'changes no objective that shows'}"
        f"{_constraints(found, side, place)}."
    )


def bound_advice(found: Sensitivity, name: str, *, low: float, high: float) -> str:
    """Return what to do about a parameter that sits at an end of its searched range.

    The profile is held back by an end when a move away from it makes an objective worse or breaks a
    constraint; only then is a wider range worth a search.

    Parameters
    ----------
    found : Sensitivity
    name : str
        Parameter at an end.
    low, high : float
        Its searched range.
    """
    place = found.names.index(name)
    at_high = high - found.here[place] < found.here[place] - low
    side = 0 if at_high else 1
    end, last = (high, _CAN_BE[name][1]) if at_high else (low, _CAN_BE[name][0])
    sits = f"{name} sits at the {'upper' if at_high else 'lower'} end of {low:g} to {high:g}."
    does = _joined(_changes(found, side, place)) or "changes no objective that shows"
    inwards = (
        f"Moving it away to {found.moved[side, place]:.4g} {does}"
        f"{_constraints(found, side, place)}:"
    )
    if not _worse(found, side, place):
        return f"{sits} {inwards} the end does not hold this profile back, so leave the range."
    if end == last:
        return f"{sits} {inwards} it can go no further than {last:g}, so keep it."
    return (
        f"{sits} {inwards} more may be gained beyond. Widen search.bounds.{name} (it can go to"
        f" {last:g}) in a new study (levelgain fork), or keep the end on purpose."
    )


def _worse(found: Sensitivity, side: int, place: int) -> bool:
    """Say whether a move makes an objective worse or breaks a constraint."""
    rise = found.moved_objectives[side, place] - found.objectives
    breaks = (found.moved_constraints[side, place] > 0.0) & (found.constraints <= 0.0)
    return bool(np.any(rise > _PERCEIVED * np.abs(found.objectives)) or breaks.any())


def _changes(found: Sensitivity, side: int, place: int) -> list[str]:
    """Return the objectives that a move changes, in words."""
    changes = []
    for objective, before, after in zip(
        OBJECTIVES,
        found.objectives.tolist(),
        found.moved_objectives[side, place].tolist(),
        strict=True,
    ):
        if abs(after - before) > _PERCEIVED * abs(before):
            verb = "raises" if after > before else "lowers"
            share = f" ({100.0 * (after / before - 1.0):+.0f} %)" if before else ""
            amount = f"{abs(after - before):.3g}{_UNITS[objective]}"
            changes.append(f"{verb} {_WORDS[objective]} by {amount}{share}")
    return changes


def _constraints(found: Sensitivity, side: int, place: int) -> str:
    """Return in words which constraints a move breaks, or that it mends the last."""
    before, after = found.constraints > 0.0, found.moved_constraints[side, place] > 0.0
    broken = [name for name, new in zip(CONSTRAINT_NAMES, after & ~before, strict=True) if new]
    if broken:
        return f"; it then fails {_joined(broken)}"
    return "; it then meets every constraint" if before.any() and not after.any() else ""


def _joined(parts: list[str]) -> str:
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)
