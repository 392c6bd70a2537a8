"""A note on a terminal while a command loads what it needs."""

import gc
import sys
from collections.abc import Iterator
from contextlib import contextmanager

_NOTE = "loading ..."


@contextmanager
def loading() -> Iterator[None]:
    """Return a context that shows a note on a terminal; the imports of a command stand in it.

    The compiled kernel, tables and figures take seconds to load. Each command imports them in its
    body, so that help and mistakes answer at once.
    """
    with _noted(), _uncollected():
        yield


@contextmanager
def _noted() -> Iterator[None]:
    if not (sys.stdout.isatty() and sys.stderr.isatty()):
        yield
        return
    sys.stderr.write(_NOTE)
    sys.stderr.flush()
    try:
        yield
    finally:
        sys.stderr.write(f"\r{' ' * len(_NOTE)}\r")
        sys.stderr.flush()


@contextmanager
def _uncollected() -> Iterator[None]:
    """Return a context whose objects the garbage collector never looks at.

    Modules live to the end. To look for garbage among them takes a tenth of a short command.
    """
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()
