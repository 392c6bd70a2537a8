"""A motor of the catalogue with another Kv: the same stator, wound with another number of turns.

At equal copper Kv goes with 1 / turns, resistance and inductance with turns squared, and the
current that saturates the iron with 1 / turns, since the ampere-turns stay the same (any machines
textbook).
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from optimizer.base.toml_io import Table
from optimizer.study.catalogue import BOARD, changed, resolved

_KV = "kv_rpm_per_v"
_BY_KV_RATIO = {
    "phase_resistance_ohm": -2.0,
    "phase_inductance_h": -2.0,
    "saturation_current_a": 1.0,
}
_DIGITS = 4


def resolved_board(written: Any, *, path: Path, key: str = "board") -> tuple[Any, Table]:
    """Return the table of a board with its catalogue entries filled in, and what of it is derived.

    Where a file changes the Kv of a motor of the catalogue, the numbers that follow from it and
    that the file does not give are those of the rewound motor.

    Parameters
    ----------
    written : Any
        What the file holds; what is no board is returned as it is, for the table's model to refuse.
    path, key : Path, str
        The file and the place in it, for messages.

    Raises
    ------
    UserInputError
        The catalogue has no entry of a name.
    """
    board = resolved(written, BOARD, path=path, key=key)
    derived = _rewound(written, path=path)
    if not derived or not isinstance(board, dict):
        return board, {}
    return changed(board, {"motor": derived}), derived


def rewound(motor: Mapping[str, float], kv_rpm_per_v: float) -> dict[str, float]:
    """Return the numbers of a motor that follow where it is rewound to another Kv, above zero."""
    ratio = kv_rpm_per_v / motor[_KV]
    return {
        key: float(f"{motor[key] * ratio**power:.{_DIGITS}g}")
        for key, power in _BY_KV_RATIO.items()
    }


def _rewound(written: Any, *, path: Path) -> Table:
    """Return the numbers of the motor that follow from another Kv."""
    own = written.get("motor") if isinstance(written, dict) else None
    if not isinstance(own, dict) or not _is_number(own.get(_KV)):
        return {}
    base = _motor_without_changes(written, own, path=path)
    if not base or own[_KV] <= 0.0:
        return {}
    if own[_KV] == base[_KV]:
        return {}
    return {key: value for key, value in rewound(base, own[_KV]).items() if key not in own}


def _motor_without_changes(board: Table, own: Table, *, path: Path) -> Table:
    """Return the catalogue's motor that a board starts from; empty where it starts from none."""
    if "use" in own:
        named = {"use": own["use"]}
        motor = resolved(named, BOARD.parts["motor"], path=path, key="board.motor")
    elif "use" in board:
        motor = resolved({"use": board["use"]}, BOARD, path=path, key="board")["motor"]
    else:
        return {}
    return motor if isinstance(motor, dict) else {}


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
