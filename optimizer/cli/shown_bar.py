"""A bar of rich that is shown for as long as a block of code runs."""

from types import TracebackType
from typing import Self

from rich.progress import Progress


class ShownBar:
    """Shows a bar inside a `with` block."""

    def __init__(self, bar: Progress) -> None:
        self._bar = bar

    def __enter__(self) -> Self:
        self._bar.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._bar.stop()
