"""How a search is going: a live line in a terminal, plain lines when piped."""

import time

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
from rich.progress import Progress as Bar

from optimizer.cli.stages_view import ShownBar, share_done
from optimizer.execution.hard_rides import LOOKING
from optimizer.interface.progress import Progress
from optimizer.interface.search_progress import REEVALUATION, SEARCH

_PLAIN_EVERY_S = 5.0


class SearchView(ShownBar):
    """Shows a search, what goes before and the re-evaluation after, and keeps how far they came.

    On standard error, beside JSON, there are no plain lines.

    Attributes
    ----------
    searched : Progress
        The latest of the search.
    finished : bool
        Whether all is searched and the front is evaluated again.
    """

    def __init__(self, console: Console) -> None:
        self.searched = Progress(stage=SEARCH, done=0, total=None)
        self.finished = False
        self._console = console
        self._started = time.monotonic()
        self._said = -_PLAIN_EVERY_S
        self._said_stage = self._started  # stages beside the search are said only where they last
        self._n_resumed = 0.0
        super().__init__(
            Bar(
                TextColumn("{task.description}", markup=False),
                BarColumn(),
                MofNCompleteColumn(),
                TimeRemainingColumn(),
                TextColumn("{task.fields[note]}", markup=False),
                console=console,
                disable=not console.is_terminal,
            )
        )
        self._tasks = {
            LOOKING: self._bar.add_task(LOOKING, total=None, note="", visible=False),
            SEARCH: self._bar.add_task(SEARCH, total=None, note="compiling the kernel"),
            REEVALUATION: self._bar.add_task(REEVALUATION, total=None, note="", visible=False),
        }

    def show(self, progress: Progress) -> None:
        """Show how far `optimizer.interface.studies.run` has come."""
        self._bar.update(
            self._tasks[progress.stage],
            completed=progress.done,
            total=progress.total,
            note=progress.note,
            visible=True,
        )
        if progress.stage == REEVALUATION:
            self.finished = progress.done == progress.total
        if progress.stage != SEARCH:
            self._print_plain_stage(progress)
            return
        if self.searched.total is None:  # the first report
            self._n_resumed = progress.done
            self._started = time.monotonic()
        self.searched = progress
        self._print_plain(progress)

    def _print_plain_stage(self, progress: Progress) -> None:
        """Print a line of what goes before the search or after it, where it takes long."""
        now = time.monotonic()
        if self._is_plain and progress.total and now - self._said_stage >= _PLAIN_EVERY_S:
            self._said_stage = now
            share = share_done(progress.done, progress.total)
            self._console.print(f"{progress.stage}: {share}")

    @property
    def _is_plain(self) -> bool:
        """Whether nobody sees the bar, and no JSON stands beside."""
        return not (self._console.is_terminal or self._console.stderr)

    def _print_plain(self, progress: Progress) -> None:
        """Print a line where nobody sees the bar, not too often."""
        now = time.monotonic()
        done = progress.done == progress.total
        if self._is_plain and (done or now - self._said >= _PLAIN_EVERY_S):
            self._said = now
            left = self._time_left(progress, now - self._started)
            self._console.print(
                f"{progress.done:g}/{progress.total:g} candidates{left}, {progress.note}"
            )

    def _time_left(self, progress: Progress, elapsed_s: float) -> str:
        new = progress.done - self._n_resumed
        if progress.total is None or new <= 0 or progress.done >= progress.total:
            return ""
        return f", about {elapsed_s / new * (progress.total - progress.done):.0f} s left"
