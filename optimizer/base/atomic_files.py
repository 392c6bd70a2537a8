"""Files written whole: a reader finds the old content or the new one, never a half."""

import errno
import os
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path

from optimizer.base.errors import AlreadyThereError, FileError
from optimizer.base.unfinished import unfinished_file

_ADVICE = {
    errno.ENOSPC: "the disk is full; free some space and do it again",
    errno.EDQUOT: "the disk quota is used up; free some space and do it again",
    errno.EROFS: "the disk is read-only; copy the folder to a disk where you can write",
    errno.EACCES: "it can not be written; allow writing, or name another folder",
    errno.EPERM: "it can not be written; allow writing, or name another folder",
    errno.ENOTDIR: "a file stands where a folder is needed; name another folder",
    errno.EISDIR: "a folder stands where a file is needed; name another file",
    errno.ENAMETOOLONG: "the name is too long; choose a shorter one",
}


def refusal(path: Path, error: OSError) -> FileError:
    """Return the one line for a file that could not be written."""
    advice = _ADVICE.get(error.errno or 0)
    if advice is None:
        advice = f"it can not be written ({error.strerror or error}); check the disk"
    return FileError(f"{path}: {advice}")


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Turn the system's errors inside the block into a `FileError` that names the file."""
    try:
        yield
    except OSError as error:
        raise refusal(path, error) from error


def make_folder(path: Path) -> None:
    """Make a folder and those above it where they are missing.

    Raises
    ------
    UserInputError
        It can not be made.
    """
    with writing(path):
        try:
            path.mkdir(parents=True, exist_ok=True)
        except FileExistsError:
            raise FileError(
                f"{path}: a file stands where a folder is needed; name another folder"
            ) from None


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file whole, in place of the one of that name if there is one.

    Parameters
    ----------
    path : Path
        Its folder is made where it is missing.
    content : str or bytes
        Text is written as UTF-8 with its line ends as they are.

    Raises
    ------
    UserInputError
        The disk is full or the folder can not be written; nothing is left behind.
    """
    write_all({path: content})


def write_all(contents: Mapping[Path, str | bytes]) -> None:
    """Write several files whole, none of them before all fit on the disk.

    Parameters
    ----------
    contents : mapping of path to str or bytes
        As of `write_whole`.

    Raises
    ------
    UserInputError
        As of `write_whole`, or a folder stands where one of the files is to be.
    """
    with ExitStack() as unfinished:
        written = {}
        for path, content in contents.items():
            payload = content.encode("utf-8") if isinstance(content, str) else content
            make_folder(path.parent)
            with writing(path):
                if path.is_dir():
                    raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
                handle, written[path] = unfinished.enter_context(unfinished_file(path))
                _write_all(handle, payload)
                make_public(written[path])
        for path, whole in written.items():
            with writing(path):
                whole.replace(path)


def make_public(path: Path) -> None:
    """Give a file or folder that was made for this user alone the permissions of any new one."""
    path.chmod((0o777 if path.is_dir() else 0o666) & ~_umask())


def refuse_existing(paths: Iterable[Path], *, advice: str) -> None:
    """Refuse when any of the files is there already.

    Raises
    ------
    AlreadyThereError
        Names the first such file and what to do.
    """
    for path in paths:
        with writing(path):
            there = path.exists()
        if there:
            raise AlreadyThereError(path, advice=advice)


def copy_whole(paths: Iterable[Path], folder: Path) -> None:
    """Copy files into a new folder, each whole.

    Raises
    ------
    UserInputError
        The folder holds one of them already, or can not be written.
    """
    copies = {folder / path.name: path for path in paths}
    make_folder(folder)
    refuse_existing(copies, advice="name a new folder")
    write_all({copy: path.read_bytes() for copy, path in copies.items()})


def _write_all(handle: int, payload: bytes) -> None:
    try:
        rest = memoryview(payload)
        while rest:
            rest = rest[os.write(handle, rest) :]
        # After a loss of power the name must not point to a file without its content.
        os.fsync(handle)
    finally:
        os.close(handle)


def _umask() -> int:
    """Return the mask of new files' permissions; the system gives it only in exchange."""
    mask = os.umask(0o077)
    os.umask(mask)
    return mask
