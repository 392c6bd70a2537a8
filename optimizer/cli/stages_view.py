"""What a command is at: a bar in a terminal, a line now and then on standard error when piped."""

import math
import sys
import threading
from types import TracebackType
from typing import Self

from rich.console import Console
from rich.progress import (
    BarColumn,
    Progress,
    ProgressColumn,
    SpinnerColumn,
    Task,
    TextColumn,
    TimeElapsedColumn,
    TimeRemainingColumn,
)
from rich.text import Text

from optimizer.base.printable import printable
from optimizer.interface.progress import Progress as CallProgress

_FIRST_S, _EVERY_S = 2.0, 10.0  # until a line is said in a pipe, and from one to the next


def share_done(done: float, total: float | None) -> str:
    """Return how much of a stage is done, of how much; nothing where that is not known."""
    return "" if total is None else f"{math.floor(done)}/{math.ceil(total)}"


class ShownBar:
    """Shows a bar inside a `with` block."""

    def __init__(self, bar: Progress) -> None:
        self._bar = bar

    def __enter__(self) -> Self:
        self._start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stop()

    def _start(self) -> None:
        self._bar.start()

    def _stop(self) -> None:
        self._bar.stop()


class _Share(ProgressColumn):
    """How much of the stage is done, of how much, where that is known."""

    def render(self, task: Task) -> Text:
        return Text(share_done(task.completed, task.total))


class StagesView(ShownBar):
    """Shows the stage of a command and how far it is; the bar goes when the command is done.

    Where nobody sees a bar, a command that takes seconds says on standard error what it is at.
    """

    def __init__(self, console: Console) -> None:
        self._ended = threading.Event()
        self._teller = (
            None if console.is_terminal else threading.Thread(target=self._tell, daemon=True)
        )
        self._done = 0.0
        self._total: float | None = None
        super().__init__(
            Progress(
                SpinnerColumn(),
                TextColumn("{task.description}", markup=False),
                BarColumn(),
                _Share(),
                TimeElapsedColumn(),
                TimeRemainingColumn(),
                console=console,
                transient=True,
                disable=not console.is_terminal,
            )
        )
        self._task = self._bar.add_task("", total=None, visible=False)
        self._stage = ""

    def _start(self) -> None:
        if self._teller is not None:
            self._teller.start()
        super()._start()

    def _stop(self) -> None:
        self._ended.set()
        if self._teller is not None:
            self._teller.join()
        super()._stop()

    def begin(self, text: str, total: float | None = None) -> None:
        """Begin a stage; see `optimizer.base.progress.Stages`."""
        self._bar.remove_task(self._task)
        self._task = self._bar.add_task(text, total=total)
        self._stage = text
        self._reached(0.0, total)

    def advance(self, amount: float = 1.0) -> None:
        """Show that more of the stage is done."""
        self._bar.advance(self._task, amount)
        self._reached(self._done + amount, self._total)

    def show(self, progress: CallProgress) -> None:
        """Show how far a call of `optimizer.interface` has come."""
        if progress.stage != self._stage:
            self.begin(progress.stage, progress.total)
        self._bar.update(self._task, completed=progress.done)
        self._reached(progress.done, progress.total)

    def reach(self, done: float, total: float) -> None:
        """Show how much of the stage is done in all."""
        self._bar.update(self._task, completed=done, total=total)
        self._reached(done, total)

    def _reached(self, done: float, total: float | None) -> None:
        """Keep how far the stage is, for the lines in a pipe."""
        self._done, self._total = done, total

    def _tell(self) -> None:
        """Say now and then what the command is at, until it is done."""
        wait_s = _FIRST_S
        while not self._ended.wait(wait_s):
            wait_s = _EVERY_S
            share = share_done(self._done, self._total)
            stage = printable(self._stage)
            sys.stderr.write(f"{stage}: {share}\n" if share else f"{stage}\n")
            sys.stderr.flush()
