"""Machine code of compiled functions, kept on disk and used again only as it was written.

numba's own cache trusts its files: half a file ends the command, a changed byte is run. Where its
folder can not be written it keeps code beside a source, and does not see when another one changes.
Here each function has one file, which begins with the checksum of the rest. What does not hold is
compiled anew, which a line in the log says: on standard error, unless the program has handlers.

A change of the kernel leaves a folder behind that nobody asks for again. Folders beside the one in
use are removed by a process that compiles, when none has used them for two months. A process that
still runs has its code in memory, and would compile what it asks for later.
"""

import contextlib
import functools
import hashlib
import logging
import os
import pickle
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from numba.core.caching import FunctionCache
from numba.core.compiler import CompileResult
from numba.core.serialize import dumps

_log = logging.getLogger("levelgain")
_DIGEST_BYTES = hashlib.sha256().digest_size
_SUFFIX = ".code"
_UNUSED_S = 60 * 24 * 3600.0


class CodeCache(FunctionCache):
    """The compiled forms of one function, in the way in which numba's dispatchers ask for them.

    Parameters
    ----------
    function : callable
        As it is compiled.
    folder : Path
        One for all that changes every function: sources that are inlined, the compiler's release.
        It need not exist, nor be writable: then each process compiles for itself.
    """

    def __init__(self, function: Callable[..., Any], folder: Path) -> None:
        # Not numba's own, which looks for folders of its own.
        self._name = repr(function)
        self._py_func = function
        code = function.__code__
        name = f"{function.__module__}.{function.__qualname__}-{code.co_firstlineno}"
        abi = f"{sys.implementation.cache_tag}{getattr(sys, 'abiflags', '')}"
        self._path = folder / f"{name.replace('<', '').replace('>', '')}.{abi}{_SUFFIX}"
        self._source = _file_digest(code.co_filename)
        self._enabled = True

    @property
    def cache_path(self) -> str:
        """Return the folder, for the dispatcher's statistics."""
        return str(self._path.parent)

    def flush(self) -> None:
        """Forget what is kept of the function."""
        _remove(self._path)

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """Return what is kept for a signature on this processor, or None."""
        target_context.refresh()
        if not self._enabled:
            return None
        packed = self._kept().get(self._key(sig, target_context.codegen()))
        if packed is None:
            return None
        _mark_used(self._path.parent)
        return CompileResult._rebuild(target_context, *pickle.loads(packed))  # noqa: S301, SLF001

    def save_overload(self, sig: Any, data: Any) -> None:
        """Keep what was compiled for a signature, where the folder can be written."""
        if not self._enabled or data.lifted or data.library.has_dynamic_globals:
            return  # code that holds addresses of this process
        key = self._key(sig, data.codegen)
        kept = {**self._kept(), key: dumps(data._reduce())}  # noqa: SLF001
        try:
            write_checked(self._path, dumps((self._source, kept)))
        except OSError as error:
            _say_not_kept(self._path.parent, error.strerror or str(error))
        else:
            _sweep_beside(self._path.parent)

    def _key(self, sig: Any, codegen: Any) -> Any:
        numbas: Any = super()  # it publishes no types of this
        return numbas._index_key(sig, codegen)  # noqa: SLF001

    def _kept(self) -> Mapping[Any, bytes]:
        content = read_checked(self._path)
        if content is None:
            return {}
        source, kept = pickle.loads(content)  # noqa: S301
        return kept if source == self._source else {}


def read_checked(path: Path) -> bytes | None:
    """Return what `write_checked` wrote; None where there is nothing, or nothing whole.

    What is there and not whole is removed, so that it is said once.
    """
    try:
        content = path.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        return None
    except OSError as error:
        fault = f"can not be read ({error.strerror or error})"
    else:
        digest, rest = content[:_DIGEST_BYTES], content[_DIGEST_BYTES:]
        if hashlib.sha256(rest).digest() == digest:
            return rest
        fault = "is damaged, its checksum does not hold"
    _remove(path)
    _say_damaged(path, fault)
    return None


def write_checked(path: Path, content: bytes) -> None:
    """Write a file whole, with its checksum.

    After a loss of power there is the old file, or the new one, or one whose checksum does not
    hold.

    Raises
    ------
    OSError
        It can not be written; nothing is left behind.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    name = ""
    try:
        with tempfile.NamedTemporaryFile(
            dir=path.parent, prefix=f".{path.name[:80]}.", delete=False
        ) as unfinished:
            name = unfinished.name
            unfinished.write(hashlib.sha256(content).digest() + content)
            unfinished.flush()
            os.fsync(unfinished.fileno())
        Path(name).replace(path)
    except OSError:
        if name:
            Path(name).unlink(missing_ok=True)
        raise


@functools.cache  # once in a process
def _mark_used(folder: Path) -> None:
    """Let a folder's time say when it was last used; to write into it does so too."""
    with contextlib.suppress(OSError):
        os.utime(folder)


@functools.cache
def _sweep_beside(folder: Path) -> None:
    """Remove the folders of code beside this one that nobody has used for long."""
    oldest_s = time.time() - _UNUSED_S
    with contextlib.suppress(OSError):
        for other in list(folder.parent.iterdir()):
            with contextlib.suppress(OSError):  # another process may remove it too, or this not
                old = other != folder and other.stat().st_mtime < oldest_s
                if old and any(other.glob(f"*{_SUFFIX}")):
                    shutil.rmtree(other)


def _remove(path: Path) -> None:
    """Remove a file, or a folder that stands in its place, where that is allowed."""
    with contextlib.suppress(OSError):
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink()


@functools.cache
def _file_digest(source: str) -> bytes:
    return hashlib.sha256(Path(source).read_bytes()).digest()


_said: set[str] = set()  # what a process says once, however many functions it is true of


def _say_damaged(path: Path, fault: str) -> None:
    if "damaged" not in _said:
        _said.add("damaged")
        _log.warning("%s: compiled code %s; it is compiled anew", path, fault)


def _say_not_kept(folder: Path, fault: str) -> None:
    if "not kept" not in _said:
        _said.add("not kept")
        _log.warning(
            "%s: compiled code can not be kept there (%s), so that each command compiles it anew;"
            " make the folder writable, or set XDG_CACHE_HOME to another",
            folder,
            fault,
        )
