"""How a search is going: a live line in a terminal, plain lines when piped."""

import time

import numpy as np
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
from rich.progress import Progress as Bar

from optimizer.analysis.results import study_cost
from optimizer.cli.stages_view import ShownBar
from optimizer.search.loop import Progress
from optimizer.search.pareto import hypervolume, non_dominated
from optimizer.study.study import Study

_REFERENCE_RATIO = 2.0  # hypervolume is counted up to twice the baseline's objectives
_PLAIN_EVERY_S = 5.0


class SearchView(ShownBar):
    """Shows a search: candidates, time left, size and hypervolume of the front, best cost.

    The hypervolume is in units of the box between zero and twice the baseline's objectives, so
    it lies between 0 and 1 and grows as the front does. On standard error, beside JSON, there are
    no plain lines.
    """

    def __init__(self, study: Study, console: Console) -> None:
        self._study = study
        self._console = console
        self._started = time.monotonic()
        self._said = -_PLAIN_EVERY_S
        super().__init__(
            Bar(
                TextColumn("candidates"),
                BarColumn(),
                MofNCompleteColumn(),
                TimeRemainingColumn(),
                TextColumn("{task.fields[note]}"),
                console=console,
                disable=not console.is_terminal,
            )
        )
        self._task = self._bar.add_task("search", total=None, note="compiling the kernel")

    def update(self, progress: Progress) -> None:
        """Show where the search stands."""
        note = summary(self._study, progress)
        self._bar.update(self._task, completed=progress.n_done, total=progress.n_wanted, note=note)
        now = time.monotonic()
        done = progress.n_done >= progress.n_wanted
        plain = not (self._console.is_terminal or self._console.stderr)
        if plain and (done or now - self._said >= _PLAIN_EVERY_S):
            self._said = now
            left = _time_left(progress, now - self._started)
            self._console.print(f"{progress.n_done}/{progress.n_wanted} candidates{left}, {note}")


def summary(study: Study, progress: Progress) -> str:
    """Return size and hypervolume of the front and the best weighted cost, as one phrase."""
    history = progress.history
    if not len(history):
        return "first generation"
    on_front = non_dominated(history.objectives, history.constraints)
    if not on_front.any():
        return "no candidate meets every constraint yet"
    baseline = history.objectives[0]
    front = history.objectives[on_front]
    volume = hypervolume(front / baseline, np.full(front.shape[1], _REFERENCE_RATIO))
    share = volume / _REFERENCE_RATIO ** front.shape[1]
    best = study_cost(study, front, baseline=baseline).min()
    return f"front {len(front)}, hypervolume {share:.3f}, best cost {best:.3f} (baseline 1)"


def _time_left(progress: Progress, elapsed_s: float) -> str:
    new = progress.n_done - progress.n_resumed
    if new <= 0 or progress.n_done >= progress.n_wanted:
        return ""
    left = elapsed_s / new * (progress.n_wanted - progress.n_done)
    return f", about {left:.0f} s left"
