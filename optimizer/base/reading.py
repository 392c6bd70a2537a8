"""Opening a file of the user's: only a regular file, no larger than is needed, never a hang.

A named pipe would wait for a writer, `/dev/zero` never ends, and a file of gigabytes would fill the
memory. Every file that a user names is opened here.
"""

import lzma
import os
import stat
import struct
import tokenize
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from optimizer.base.errors import UserInputError

# A study or a mapping takes some 10 kB. A point of a GPX track takes about 150 bytes, so that a day
# at one point a second takes 13 MB.
MOST_SETTINGS_BYTES = 1_000_000
MOST_TABLE_BYTES = 32_000_000

# What the readers of archives raise for a file that is none, a torn one, one with a password, and
# arrays of objects or with a header that can not be read.
NOT_AN_ARCHIVE = (
    ValueError,
    OSError,
    EOFError,
    TypeError,
    RuntimeError,
    SyntaxError,
    MemoryError,
    OverflowError,
    KeyError,
    struct.error,
    tokenize.TokenError,
    lzma.LZMAError,
    zlib.error,
    zipfile.BadZipFile,
)

# Where a system has such flags: not to wait for a pipe's writer, and bytes as they are.
_NOT_TO_WAIT = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
_NO_FILE = {
    stat.S_ISDIR: "a folder",
    stat.S_ISFIFO: "a named pipe",
    stat.S_ISSOCK: "a socket",
    stat.S_ISCHR: "a device",
    stat.S_ISBLK: "a device",
}


def no_such_file(path: Path, *, advice: str = "check the path") -> UserInputError:
    """Return the one line for a file that is not there."""
    return UserInputError(f"{path}: there is no such file; {advice}")


@contextmanager
def reading(path: Path, *, missing: str = "check the path") -> Iterator[None]:
    """Turn the system's errors inside the block into a `UserInputError` that names the file.

    Parameters
    ----------
    path : Path
    missing : str
        What to do when there is no such file.
    """
    if "\0" in str(path):
        raise UserInputError(f"{path}: a file's name can not hold NUL; correct the name")
    try:
        yield
    except FileNotFoundError:
        raise no_such_file(path, advice=missing) from None
    except OSError as error:
        raise UserInputError(
            f"{path}: can not be read: {error.strerror or error}; check its kind and its"
            " permissions"
        ) from None


@contextmanager
def opened(
    path: Path, *, missing: str = "check the path", most_bytes: int | None = None
) -> Iterator[BinaryIO]:
    """Open a regular file for reading bytes, inside a `with` block.

    Parameters
    ----------
    path : Path
    missing : str
        What to do when there is no such file.
    most_bytes : int, optional
        Refuse a larger file; any size if not given, for files that are read block by block.

    Raises
    ------
    UserInputError
        There is no such file, it is no regular file or too large, or it can not be read.
    """
    with reading(path, missing=missing):
        handle = os.open(path, os.O_RDONLY | _NOT_TO_WAIT)
        try:
            _refuse_unfit(path, os.fstat(handle), most_bytes=most_bytes)
        except BaseException:
            os.close(handle)
            raise
    with reading(path, missing=missing), os.fdopen(handle, "rb") as file:
        yield file


def refuse_irregular(path: Path, *, missing: str = "check the path") -> None:
    """Refuse what is no regular file, before a library opens it by its name.

    Raises
    ------
    UserInputError
        There is no such file, or it is a folder, a pipe or a device.
    """
    with opened(path, missing=missing):
        pass


def read_bytes(path: Path, *, missing: str = "check the path", most_bytes: int) -> bytes:
    """Return the content of a file; arguments and errors are those of `opened`."""
    with opened(path, missing=missing, most_bytes=most_bytes) as file:
        return file.read(most_bytes)


def read_text(
    path: Path, *, missing: str = "check the path", most_bytes: int = MOST_SETTINGS_BYTES
) -> str:
    """Return the text of a file, each line ended by a line feed and without a byte order mark.

    Parameters
    ----------
    path, missing, most_bytes : optional
        As of `opened`.

    Raises
    ------
    UserInputError
        There is no such file, it can not be read, or it is not UTF-8 text.
    """
    content = read_bytes(path, missing=missing, most_bytes=most_bytes)
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        raise UserInputError(
            f"{path}: must be UTF-8 text, byte {error.start} is not; save it as UTF-8"
        ) from None
    return text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")


def _refuse_unfit(path: Path, found: os.stat_result, *, most_bytes: int | None) -> None:
    if not stat.S_ISREG(found.st_mode):
        kind = next(
            (called for is_kind, called in _NO_FILE.items() if is_kind(found.st_mode)), "no file"
        )
        raise UserInputError(f"{path}: can not be read: it is {kind}; check its kind")
    if most_bytes is not None and found.st_size > most_bytes:
        raise UserInputError(
            f"{path}: must be no larger than {most_bytes / 1e6:g} MB, got"
            f" {found.st_size / 1e6:.1f} MB; name a smaller file"
        )
