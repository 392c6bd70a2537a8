"""Figures of results, returned and not written; a notebook shows them by itself."""

from matplotlib.figure import Figure

from optimizer.analysis.results import Results, candidate_number
from optimizer.reports.front_figures import front_figure, parallel_figure
from optimizer.reports.ride_figures import heat_figure, stiffness_figure, traces_figure
from optimizer.reports.style import captioned, styled


def front(results: Results) -> Figure:
    """Return the front in every pair of objectives, with the baseline and the named picks."""
    with styled():
        return captioned(front_figure(results))


def parallel(results: Results) -> Figure:
    """Return parallel coordinates of the front: each parameter over its searched range."""
    with styled():
        return captioned(parallel_figure(results))


def rides(results: Results, which: int | str = "balanced") -> Figure:
    """Return a map of riders and courses for each objective of a candidate.

    Parameters
    ----------
    results : Results
    which : int or str
        A candidate's number, or the name of a pick.

    Raises
    ------
    CandidateError
        There is no such candidate or pick.
    """
    with styled():
        return captioned(heat_figure(results, candidate_number(results, str(which))))


def stiffness(results: Results, which: int | str = "balanced") -> Figure:
    """Return current over pitch error of a candidate and the baseline; arguments as of `rides`."""
    with styled():
        return captioned(stiffness_figure(results, candidate_number(results, str(which))))


def traces(results: Results, which: int | str = "balanced") -> Figure:
    """Return the time traces of a candidate's worst rides; arguments as of `rides`."""
    with styled():
        return captioned(traces_figure(results, candidate_number(results, str(which))))
