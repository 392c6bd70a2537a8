"""One page of what each section of a profile does, with and without it."""

import dataclasses
import textwrap
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from optimizer.demonstrations import Demonstration, Shown, example_board, example_profile, rider_of
from optimizer.figures_style import BLACK, BLUE, VERMILION, new_figure
from optimizer.tail_hold import motor_moment_nm, press_limit_nm, tail_hold_ratio

_COLUMNS = 4
_LABELS = {
    "pitch_deg": "pitch, nose down / deg",
    "ground_pitch_deg": "pitch to the ground / deg",
    "current_a": "motor current / A",
    "torque_reserve_ratio": "torque reserve / phase limit",
    "stiffness_lift_ratio": "stiffness over flat",
    "mosfet_c": "MOSFET temperature / degC",
    "bus_v": "bus voltage / V",
}
_SOFT, _FIRM = 0.5, 1.2  # braking stiffness ratios of the panel on holding the tail down


def demonstration_figure(shown: Sequence[Demonstration]) -> Figure:
    """Return a page with a panel for each pair, in the order given, and one on the tail."""
    n_panels = len(shown) + 1
    rows = -(-n_panels // _COLUMNS)
    figure = new_figure(4.1 * _COLUMNS, 2.9 * rows + 0.5)
    figure.suptitle(
        "What each section of a profile does: solid with it, dashed without, all else equal"
        " (a cross: the ride ended)",
        fontsize=13,
    )
    panels = figure.subplots(rows, _COLUMNS, squeeze=False).ravel()
    for axes, pair in zip(panels, shown, strict=False):
        _draw_pair(axes, pair)
    _draw_tail(panels[len(shown)])
    for axes in panels[n_panels:]:
        axes.set_axis_off()
    return figure


def _draw_pair(axes: Any, pair: Demonstration) -> None:
    for side, color, style in (
        (pair.without_it, VERMILION, "--"),
        (pair.with_it, BLUE, "-"),
    ):
        signal, time_s = getattr(side.trace, pair.signal), side.trace.time_s
        axes.plot(time_s, signal, color=color, linestyle=style, linewidth=1.1, label=_named(side))
        if side.ended:
            last = np.flatnonzero(np.isfinite(signal))[-1:]
            axes.plot(time_s[last], signal[last], "X", color=color, markersize=9)
    _title(axes, pair.section, pair.shows)
    axes.set_xlabel(f"time / s   (number: {pair.measured})", fontsize=7.5)
    axes.set_ylabel(_LABELS[pair.signal], fontsize=8)
    axes.legend(fontsize=7.5, loc="best")


def _title(axes: Any, section: str, text: str) -> None:
    axes.set_title(
        f"{section.replace('_', ' ')}\n" + "\n".join(textwrap.wrap(text, 52)),
        fontsize=8.5,
        loc="left",
    )


def _named(side: Shown) -> str:
    number = f"{side.value:.3g}" if np.isfinite(side.value) else "ended before"
    return f"{side.name}: {number}"


def _draw_tail(axes: Any) -> None:
    board, profile = example_board(), example_profile()
    light = rider_of("pupil_40")
    angles = np.linspace(0.0, board.frame.tail_contact_deg, 201)
    for ratio, color, style in ((_FIRM, VERMILION, "--"), (_SOFT, BLUE, "-")):
        braking = dataclasses.replace(profile.braking, braking_stiffness_ratio=ratio)
        tried = dataclasses.replace(profile, braking=braking)
        share = 100.0 * tail_hold_ratio(tried, board, light)
        axes.plot(
            angles,
            motor_moment_nm(tried, board, angles),
            color=color,
            linestyle=style,
            label=f"braking at {ratio:g}: {share:.0f} % of what 40 kg can press",
        )
    axes.axhline(press_limit_nm(light), color=BLACK, linestyle=":", label="what 40 kg can press")
    _title(axes, "braking", "On soft braking a rider of 40 kg can hold the tail down")
    axes.set_xlabel("nose above the wanted level / deg, up to tail contact", fontsize=7.5)
    axes.set_ylabel("moment of the motor / N m", fontsize=8)
    axes.set_ylim(0.0, 1.7 * press_limit_nm(light))
    axes.legend(fontsize=7.0, loc="upper left")
