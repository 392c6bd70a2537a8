"""The demonstrations on one page: a panel for each, with what is expected and what is measured."""

import dataclasses
import math
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optimizer.analysis.demonstration_catalogue import example_board, example_profile, rider_of
from optimizer.analysis.demonstrations import DRAWN, Demonstration, Ridden
from optimizer.analysis.tail_statics import motor_moment_nm, press_limit_nm, tail_hold_ratio
from optimizer.base.cautions import CAUTIONS
from optimizer.reports.signs import BLACK, BLUE, VERMILION
from optimizer.reports.style import new_figure

_COLUMNS = 4
_LINES = ((BLUE, "-"), (VERMILION, (0, (5, 1.5))), (BLACK, ":"))
_WIDE = 58  # characters of a line over a panel
_TITLE_WIDE = 46
_SOFT, _FIRM = 0.5, 1.2  # braking stiffness ratios of the panel on statics
_LINE_PT = 11.5  # height of such a line


def demonstrations_figure(rides: Sequence[tuple[Demonstration, Mapping[str, Ridden]]]) -> Figure:
    """Return one page with a panel for each demonstration, and one on who holds the tail down."""
    n_panels = len(rides) + 1
    n_rows = math.ceil(n_panels / _COLUMNS)
    figure = new_figure(4.1 * _COLUMNS, 1.1 + 3.0 * n_rows)
    figure.suptitle(
        "Simulation only: what each section of a profile is for, by rides that differ in it alone."
        f" A cross: the ride ended; dash-dotted: a limit.\n{CAUTIONS[0]} {CAUTIONS[1]}",
        fontsize=11,
    )
    panels = figure.subplots(n_rows, _COLUMNS, squeeze=False).ravel()
    for axes, (shown, ridden) in zip(panels, rides, strict=False):
        _panel(axes, shown, ridden)
    _tail_panel(panels[len(rides)])
    for axes in panels[n_panels:]:
        axes.set_axis_off()
    return figure


def result_line(shown: Demonstration, ridden: Mapping[str, Ridden]) -> str:
    """Return the measured number of every ride in words."""
    unit = shown.measure.unit
    words = (f"{_number(ride, unit)} ({variant}{_end(ride)})" for variant, ride in ridden.items())
    return f"{shown.measure.called} {', '.join(words)}"


def _number(ride: Ridden, unit: str) -> str:
    if math.isnan(ride.measured):
        return "nothing to measure"
    digits = 1 if abs(ride.measured) >= 10.0 else 2
    return f"{round(ride.measured, digits) + 0.0:.{digits}f} {unit}".rstrip()  # no minus zero


def _end(ride: Ridden) -> str:
    if not ride.ended_early:
        return ""
    return f": {ride.signals.outcome.message} at {ride.metrics['ride_time_s']:.1f} s"


def _panel(axes: Axes, shown: Demonstration, ridden: Mapping[str, Ridden]) -> None:
    start, end = shown.draw_s or (0.0, shown.ride.course.manoeuvre.duration_s)
    for place, (variant, ride) in enumerate(ridden.items()):
        color, style = _LINES[place]
        time_s, values = ride.signals.time_s, getattr(ride.signals, shown.draw)
        inside = (time_s >= start) & (time_s <= end) & np.isfinite(values)
        time_s, values = time_s[inside], values[inside]
        # The ride with the effect lies over the one without, a third dotted over both.
        look: dict[str, Any] = {"color": color, "zorder": (2.9, 2.8, 3.0)[place]}
        axes.plot(time_s, values, linestyle=style, linewidth=1.3, label=variant, **look)
        if ride.ended_early:
            axes.plot(time_s[-1], values[-1], marker="X", markersize=7, **look)
    axes.set_xlim(start, end)
    axes.set_ylim(axes.get_ylim())  # limits are drawn where they are near, not made room for
    for limit in _limits(shown):
        axes.axhline(limit, color="0.45", linestyle="-.", linewidth=0.9)
    seen = result_line(shown, ridden)
    _write_over(axes, title=shown.title, expected=shown.expected, seen=seen)
    axes.set_xlabel("time / s")
    axes.set_ylabel(DRAWN[shown.draw])
    axes.legend(fontsize=7.5, loc="best")


def _tail_panel(axes: Axes) -> None:
    """Draw the moment that a tail held down at rest must bear, and what a light rider can press."""
    board, profile, light = example_board(), example_profile(), rider_of("pupil_40")
    angle_deg = np.linspace(0.0, board.frame.tail_contact_deg, 201)
    shares = []
    for ratio, (color, style) in zip((_SOFT, _FIRM), _LINES, strict=False):
        braking = dataclasses.replace(profile.braking, braking_stiffness_ratio=ratio)
        tried = dataclasses.replace(profile, braking=braking)
        moment_nm = motor_moment_nm(tried, board, angle_deg)
        axes.plot(
            angle_deg, moment_nm, color=color, linestyle=style, label=f"stiffness ratio {ratio:g}"
        )
        share = 100.0 * tail_hold_ratio(tried, board, light)
        shares.append(f"{share:.0f} % (ratio {ratio:g})")
    limit_nm = press_limit_nm(light)
    axes.axhline(limit_nm, color="0.45", linestyle="-.", linewidth=0.9)
    axes.set_ylim(0.0, 1.7 * limit_nm)
    _write_over(
        axes,
        title="Braking ratios, holding the tail down at rest: statics",
        expected="A rider of 40 kg holds it at its contact on soft braking",
        seen=f"needs of what the rider can press {', '.join(shares)}",
    )
    axes.set_xlabel("pitch error, nose above the setpoint / deg")
    axes.set_ylabel("motor torque / N·m")
    axes.legend(fontsize=7.5, loc="upper left")


def _write_over(axes: Axes, *, title: str, expected: str, seen: str) -> None:
    """Write a panel's title, what is expected and what is seen over it."""
    texts = (f"Expected: {expected}.", f"Seen: {seen}.")
    lines = [line for text in texts for line in textwrap.wrap(text, _WIDE)]
    axes.text(0.0, 1.02, "\n".join(lines), transform=axes.transAxes, fontsize=8, va="bottom")
    axes.set_title(
        textwrap.fill(title, _TITLE_WIDE),
        loc="left",
        fontsize=9.5,
        fontweight="bold",
        pad=6.0 + _LINE_PT * len(lines),
    )


def _limits(shown: Demonstration) -> tuple[float, ...]:
    """Return the limits of the board that belong to the drawn signal."""
    frame, battery = shown.ride.board.frame, shown.ride.board.battery
    return {
        "ground_pitch_deg": (frame.nose_contact_deg, -frame.tail_contact_deg),
        "bus_v": (battery.bus_low_v, battery.bus_high_v),
    }.get(shown.draw, ())
