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
