"""The one place where functions are marked to become machine code, which they do when called.

No flag lets the compiler change what is computed, for then a ride would depend on the processor:
what is fused and what is inverted is fixed before (plant/arithmetic.py). Nor may it assume that
NaN or infinity can not occur: a lane that leaves the model is found by comparisons that NaN fails.

The compiler takes longer to load than all else that a command needs to show a front, so it is
loaded with the first function that is called.
"""

import functools
import hashlib
import importlib
import pathlib
import threading
from collections.abc import Callable
from importlib.metadata import version
from typing import Any, ParamSpec, TypeVar, cast

import platformdirs

from plant.arithmetic import fixed

_Args = ParamSpec("_Args")
_Result = TypeVar("_Result")


def _kernel_digest() -> str:
    """Return a digest of every source file of this package, and of the compiler's release."""
    releases = f"{version('numba')} {version('llvmlite')}\n"
    digest = hashlib.sha256(releases.encode())
    package = pathlib.Path(__file__).parent
    for source in sorted(package.rglob("*.py")):
        digest.update(source.relative_to(package).as_posix().encode())
        digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


CACHE_FOLDER = pathlib.Path(platformdirs.user_cache_dir("levelgain")) / _kernel_digest()

# A division by zero gives infinity or NaN, as in numpy.
COMPILER_OPTIONS: dict[str, Any] = {"error_model": "numpy", "fastmath": False}

_building = threading.RLock()  # one compiled function of each, whichever thread calls it first


class Compiled:
    """A function that is compiled when it is first called, from Python or from compiled code.

    It has what numba's own wrapper has besides, such as `signatures`.

    Parameters
    ----------
    function : callable
        As it is written.
    is_entry : bool
        Whether Python calls it: its machine code is kept on disk.
    """

    def __init__(self, function: Callable[..., Any], *, is_entry: bool) -> None:
        functools.update_wrapper(self, function)
        self._function = function
        self._is_entry = is_entry

    def __call__(self, *arguments: Any) -> Any:
        """Call what is made of the function."""
        return self.compiled(*arguments)

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):
            raise AttributeError(name)  # what copies and inspects asks for these
        return getattr(self.compiled, name)

    def __reduce__(self) -> str:
        return str(self.__qualname__)  # to other processes it goes by its name, as functions do

    @functools.cached_property
    def py_func(self) -> Callable[..., Any]:
        """The function in Python, by the rules of `plant.arithmetic`."""
        with _building:
            return self.__dict__.get("py_func") or fixed(self._function)

    @functools.cached_property
    def compiled(self) -> Any:
        """What numba makes of it."""
        with _building:
            if "compiled" in self.__dict__:
                return self.__dict__["compiled"]
            compiler = importlib.import_module("plant.compiler")
            make = compiler.entry_of if self._is_entry else compiler.inlined
            self.__dict__["compiled"] = made = make(self.py_func)
            return made


def scalar(function: Callable[_Args, _Result]) -> Callable[_Args, _Result]:
    """Compile a small function of one lane, to be inlined into the pass that calls it."""
    return cast(Callable[_Args, _Result], Compiled(function, is_entry=False))


def kernel(function: Callable[_Args, _Result]) -> Callable[_Args, _Result]:
    """Compile a block-level entry point: releases the GIL, kept in the cache folder on disk."""
    return cast(Callable[_Args, _Result], Compiled(function, is_entry=True))


def entry(function: Callable[_Args, _Result]) -> Callable[_Args, _Result]:
    """Return a function of one lane for calls from Python, kept in the cache folder on disk.

    Called as it is, it would be compiled anew by every process that calls it.
    """
    return kernel(getattr(function, "__wrapped__", function))
