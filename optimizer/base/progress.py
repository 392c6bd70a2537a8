"""How work that takes seconds tells what it is at, without knowing who looks."""

from typing import Protocol


class Stages(Protocol):
    """Told the stage that begins, and how much of it is done."""

    def begin(self, text: str, total: float | None = None) -> None:
        """Begin a stage.

        Parameters
        ----------
        text : str
            What is done in it.
        total : float or None
            How much there is to do, in any unit; None if that is not known.
        """

    def advance(self, amount: float = 1.0) -> None:
        """Say how much was done since the stage began or this was last called."""


class Unwatched:
    """Stages at which nobody looks."""

    def begin(self, text: str, total: float | None = None) -> None:
        """Tell nobody."""

    def advance(self, amount: float = 1.0) -> None:
        """Tell nobody."""


UNWATCHED = Unwatched()
