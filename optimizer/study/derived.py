"""What a study holds that its file does not say itself, in words."""

from optimizer.study.paths import STUDY_FILE
from optimizer.study.rewound_motor import resolved_board
from optimizer.study.study import Study

_AS_STRONG = 0.9  # share of the other board's force from which on nothing is said: assumed

_RATIOS = (("torque_ratio", "torque per amp"), ("radius_ratio", "radius"), ("mass_ratio", "mass"))


def derived_lines(study: Study) -> list[str]:
    """Return what follows from a motor's Kv and from the board that is scaled from, a line each."""
    lines = []
    if study.rewound:
        numbers = ", ".join(f"{name} {value:g}" for name, value in study.rewound.items())
        lines.append(
            f"Motor rewound to {study.board.motor.kv_rpm_per_v:g} rpm/V, so its other numbers"
            f" follow: {numbers}. Give them in [board] where you know better."
        )
    by = study.scaling
    if by is None and study.rewound:
        lines.append(
            "The catalogue's baseline and bounds are not those of this motor: write"
            ' scaled_from = "lender_15" above [board], and they follow.'
        )
    if by is not None and not round(by.current_ratio, 3) == round(by.cells_ratio, 3) == 1.0:
        parts = ", ".join(f"{words} {getattr(by, name):.3g}" for name, words in _RATIOS)
        lines.append(
            f"The catalogue's baseline and bounds are scaled from {study.scaled_from}: currents"
            f" times {by.current_ratio:.3g} ({parts} times), bus voltages times"
            f" {by.cells_ratio:.3g}. What study.toml gives itself is not scaled."
        )
    return lines + _weak_drive(study)


def _weak_drive(study: Study) -> list[str]:
    """Return how much less tractive force there is than on the board that is scaled from."""
    by, limit_a = study.scaling, study.board.drive.phase_current_limit_a
    if by is None or study.scaled_from is None:
        return []
    table, _ = resolved_board(study.scaled_from, path=study.folder / STUDY_FILE)
    same_a = by.current_ratio * float(table["drive"]["phase_current_limit_a"])
    if limit_a >= _AS_STRONG * same_a:
        return []
    return [
        f"drive.phase_current_limit_a = {limit_a:g} A gives {100.0 * limit_a / same_a:.0f} % of"
        f" the tractive force of {study.scaled_from}, for which it would be {same_a:.0f} A; enter"
        " your drive's."
    ]
