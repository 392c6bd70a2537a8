"""What a study holds that its file does not say itself, in words."""

from optimizer.study.study import Study

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
    return lines
