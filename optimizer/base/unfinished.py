"""Files and folders that are being written, and the sweeping of those that killed programs left.

Each has a name of its own kind, and the program that writes it holds the system's lock on it until
it has its final name. The system frees the lock with the program, however that ends, so what can be
locked is nobody's any more. Where a disk or a system has no such locks nothing is swept.
"""

import contextlib
import os
import shutil
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

try:
    import fcntl
except ImportError:  # no such locks on this system
    fcntl = None  # type: ignore[assignment]

_SUFFIX = ".levelgain-unfinished"


@contextmanager
def unfinished_file(path: Path) -> Iterator[tuple[int, Path]]:
    """Give a new file beside the one that is to be written, open; it is gone after the block.

    The block closes it and gives it its final name.
    """
    sweep(path.parent)
    while True:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=_prefix(path), suffix=_SUFFIX)
        # Of its own, so that the block can close the file and the lock stays.
        lock = None if fcntl is None else os.dup(handle)
        if _locked(lock):
            break
        os.close(handle)
        _close(lock)
    try:
        yield handle, Path(name)
    finally:
        Path(name).unlink(missing_ok=True)
        _close(lock)


@contextmanager
def unfinished_folder(path: Path) -> Iterator[Path]:
    """Give a new folder beside the one that is to be made; it is gone after the block."""
    sweep(path.parent)
    while True:
        folder = Path(tempfile.mkdtemp(dir=path.parent, prefix=_prefix(path), suffix=_SUFFIX))
        lock = None if fcntl is None else os.open(folder, os.O_RDONLY)
        if _locked(lock):
            break
        _close(lock)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        _close(lock)


@contextmanager
def passing_folder(name: str) -> Iterator[Path]:
    """Give a new folder in the system's place for what passes; it is gone after the block."""
    with unfinished_folder(Path(tempfile.gettempdir()) / name) as folder:
        yield folder


def sweep(folder: Path, *, below: bool = False) -> None:
    """Delete what programs that were killed have left unfinished in a folder.

    Parameters
    ----------
    folder : Path
    below : bool
        Whether the folders in it are swept too.
    """
    if fcntl is None:
        return
    pattern = f".*{_SUFFIX}"
    for left in [*(folder.rglob(pattern) if below else folder.glob(pattern))]:
        # What can not be deleted, or is somebody's, stays.
        with contextlib.suppress(OSError):
            _delete_unheld(left)


def _delete_unheld(left: Path) -> None:
    handle = os.open(left, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        mode = os.fstat(handle).st_mode
        if stat.S_ISDIR(mode):
            shutil.rmtree(left)
        elif stat.S_ISREG(mode):
            left.unlink()
    finally:
        os.close(handle)


def _prefix(path: Path) -> str:
    return f".{path.name[:80]}."


def _locked(handle: int | None) -> bool:
    """Hold a file where its disk has locks; say whether it is still there then."""
    if fcntl is None or handle is None:
        return True
    with contextlib.suppress(OSError):
        fcntl.flock(handle, fcntl.LOCK_EX)
    return os.fstat(handle).st_nlink > 0  # none: another program swept it before it was held


def _close(handle: int | None) -> None:
    if handle is not None:
        os.close(handle)
