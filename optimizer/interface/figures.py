"""Figures of results, returned and not written; a notebook shows them by itself."""

from matplotlib.figure import Figure

from optimizer.analysis.comparison import Comparison, most_changed
from optimizer.analysis.explanation import Explanation
from optimizer.analysis.results import Results, candidate_number
from optimizer.reports.comparison_figures import MOST_PROFILES, loop_figure
from optimizer.reports.comparison_figures import traces_figure as compared_traces_figure
from optimizer.reports.front_figures import front_figure, parallel_figure
from optimizer.reports.ride_figures import heat_figure, stiffness_figure, traces_figure
from optimizer.reports.sensitivity_figures import sensitivity_figure
from optimizer.reports.style import styled


def front(results: Results) -> Figure:
    """Return the front in every pair of objectives, with the baseline and the named picks."""
    with styled():
        return front_figure(results)


def parallel(results: Results) -> Figure:
    """Return parallel coordinates of the front: each parameter over its searched range."""
    with styled():
        return parallel_figure(results)


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
        return heat_figure(results, candidate_number(results, str(which)))


def stiffness(results: Results, which: int | str = "balanced") -> Figure:
    """Return current over pitch error of a candidate and the baseline; arguments as of `rides`."""
    with styled():
        return stiffness_figure(results, candidate_number(results, str(which)))


def traces(results: Results, which: int | str = "balanced") -> Figure:
    """Return the time traces of a candidate's worst rides; arguments as of `rides`."""
    with styled():
        return traces_figure(results, candidate_number(results, str(which)))


def compared_rides(comparison: Comparison) -> Figure:
    """Return pitch, current and speed of every profile over the rides that differ most.

    Parameters
    ----------
    comparison : Comparison
        Of two profiles or more.

    Raises
    ------
    ValueError
        There are fewer than two profiles, or more than the figure has styles of line.
    """
    _check_drawable(comparison, least=2)
    with styled():
        return compared_traces_figure(comparison, most_changed(comparison))


def compared_loops(comparison: Comparison) -> Figure:
    """Return Bode and Nyquist plots of each profile's loop, for its rider of least margin.

    Parameters
    ----------
    comparison : Comparison

    Raises
    ------
    ValueError
        There are more profiles than the figure has styles of line.
    """
    _check_drawable(comparison, least=1)
    with styled():
        return loop_figure(comparison)


def explanation(explained: Explanation) -> Figure:
    """Return the change of each objective when a parameter is moved down and up by itself."""
    with styled():
        return sensitivity_figure(explained.sensitivity, called=explained.called)


def _check_drawable(comparison: Comparison, *, least: int) -> None:
    n_profiles = len(comparison.names)
    if not least <= n_profiles <= MOST_PROFILES:
        raise ValueError(
            f"comparison must hold from {least} to {MOST_PROFILES} profiles to be drawn,"
            f" got {n_profiles}"
        )
