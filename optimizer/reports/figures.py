"""All figures of a study, written into its results folder."""

from pathlib import Path

from optimizer.analysis.results import Results
from optimizer.base.progress import UNWATCHED, Stages
from optimizer.reports.front_figures import front_figure, parallel_figure
from optimizer.reports.ride_figures import heat_figure, stiffness_figure, traces_figure
from optimizer.reports.style import save, styled
from optimizer.study.paths import FIGURES_FOLDER, RESULTS_FOLDER

SHOWN_PICK = "balanced"


def write_figures(results: Results, *, stages: Stages = UNWATCHED) -> list[Path]:
    """Draw the front, and the balanced pick's rides, curve and worst traces; PNG and SVG.

    Parameters
    ----------
    results : Results
    stages : Stages
        Receives each figure.

    Returns
    -------
    list of Path
        The files; empty when no candidate meets every constraint.

    Raises
    ------
    UserInputError
        A file can not be written.
    """
    if not results.picks:
        return []
    folder = results.study.folder / RESULTS_FOLDER / FIGURES_FOLDER
    shown = results.picks[SHOWN_PICK]
    with styled():
        drawn = {
            "front": front_figure(results),
            "parallel": parallel_figure(results),
            f"{SHOWN_PICK}_rides": heat_figure(results, shown),
            f"{SHOWN_PICK}_stiffness": stiffness_figure(results, shown),
            f"{SHOWN_PICK}_worst_traces": traces_figure(results, shown),
        }
        stages.begin("drawing", len(drawn))
        written = []
        for name, figure in drawn.items():
            written += save(figure, folder / name)
            stages.advance()
    return written
