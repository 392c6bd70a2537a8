"""How work that takes seconds reports its progress, to any viewer or none."""

from typing import Protocol


class Stages(Protocol):
    """Receives the stage that begins, and how much of it is done."""

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
    """Stages without a viewer."""

    def begin(self, text: str, total: float | None = None) -> None:
        """Drop the report."""

    def advance(self, amount: float = 1.0) -> None:
        """Drop the report."""


UNWATCHED = Unwatched()


def unheard(_text: str) -> None:
    """Drop a notice in words."""
