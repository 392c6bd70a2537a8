"""A note on a terminal while a command loads what it needs."""

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
