"""One look for every figure, and how a figure becomes files."""

import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine

from optimizer.base.atomic_files import write_whole
from optimizer.base.cautions import SHORT_CAUTION

# Okabe & Ito 2008: eight colours distinct to colour-blind readers.
BLACK, ORANGE, SKY, GREEN, BLUE, VERMILION, PURPLE = (
    "#000000",
    "#E69F00",
    "#56B4E9",
    "#009E73",
    "#0072B2",
    "#D55E00",
    "#CC79A7",
)
PICK_STYLE = {
    "balanced": (VERMILION, "o"),
    "calmest_level": (BLUE, "s"),
    "lowest_current": (GREEN, "^"),
    "fewest_nose_downs": (PURPLE, "v"),
    "lowest_cost": (ORANGE, "D"),
}
OBJECTIVE_LABELS = {
    "level_error_deg": "level error / deg",
    "excess_current_a": "peak current beyond the ride's need / A",
    "nose_downs_per_1000_km": "nose-downs / (1,000 km), worst rider weighted up",
}
# Numbers on logarithmic axes, for they differ by powers of ten, and the least that is drawn of
# each: rates below say that no hard ride was near a fall.
LEAST_DRAWN = {"nose_downs_per_1000_km": 1e-4}
RIDE_COST_LABELS = {
    **{name: OBJECTIVE_LABELS[name] for name in ("level_error_deg", "excess_current_a")},
    "nose_down_risk": "graded nose-down risk / 1",
}
_FOOT_IN = 0.14
_SETTINGS: dict[Any, Any] = {
    "font.size": 9.0,
    "axes.grid": True,
    "grid.alpha": 0.25,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "legend.frameon": False,
    "svg.hashsalt": "levelgain",  # the same figure gives the same file
    "figure.dpi": 130.0,
}


@contextmanager
def styled() -> Iterator[None]:
    """Draw with the project's settings inside the block."""
    with mpl.rc_context(_SETTINGS):
        yield


class ShownFigure(Figure):
    """A figure that a notebook shows although pyplot does not know it."""

    def _repr_png_(self) -> bytes:
        content = io.BytesIO()
        self.savefig(content, format="png")
        return content.getvalue()


def new_figure(width_in: float, height_in: float) -> Figure:
    """Return a figure with nothing but the caution in a line at its foot."""
    foot = _FOOT_IN / height_in
    layout = ConstrainedLayoutEngine(rect=(0.0, foot, 1.0, 1.0 - foot))
    figure = ShownFigure(figsize=(width_in, height_in), layout=layout)
    figure.text(0.995, 0.004, SHORT_CAUTION, ha="right", va="bottom", fontsize=6.5, color="0.35")
    return figure


def save(figure: Figure, stem: Path) -> list[Path]:
    """Write a figure as PNG and SVG in the project's look, each file whole.

    Parameters
    ----------
    figure : Figure
    stem : Path
        Path without suffix.

    Raises
    ------
    UserInputError
        A file can not be written.
    """
    written = []
    for suffix, metadata in ((".png", {}), (".svg", {"Date": None})):
        content = io.BytesIO()
        with styled():
            figure.savefig(content, format=suffix[1:], metadata=metadata)
        path = stem.with_name(stem.name + suffix)
        write_whole(path, content.getvalue())
        written.append(path)
    return written
