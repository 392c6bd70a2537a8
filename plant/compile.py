"""The one place where functions become machine code.

No flag lets the compiler change what is computed, for then a ride would depend on the processor:
what is fused and what is inverted is fixed before (plant/arithmetic.py). Nor may it assume that
NaN or infinity can not occur: a lane that leaves the model is found by comparisons that NaN fails.
"""

import hashlib
import pathlib
from collections.abc import Callable
from typing import Any, ParamSpec, TypeVar, cast

import llvmlite.binding
import numba
import platformdirs

from plant.arithmetic import fixed
from plant.code_cache import CodeCache

_Args = ParamSpec("_Args")
_Result = TypeVar("_Result")


def _kernel_digest() -> str:
    """Return a digest of every source file of this package, and of the compiler's release."""
    digest = hashlib.sha256(f"{numba.__version__} {llvmlite.__version__}\n".encode())
    package = pathlib.Path(__file__).parent
    for source in sorted(package.rglob("*.py")):
        digest.update(source.relative_to(package).as_posix().encode())
        digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


CACHE_FOLDER = pathlib.Path(platformdirs.user_cache_dir("levelgain")) / _kernel_digest()


# A division by zero gives infinity or NaN, as in numpy.
COMPILER_OPTIONS: dict[str, Any] = {"error_model": "numpy", "fastmath": False}


def target_processor() -> str:
    """Return the name of the processor that functions are compiled for."""
    config: Any = numba.config  # its names are made at import, unseen by a type checker
    return str(config.CPU_NAME or llvmlite.binding.get_host_cpu_name())


def scalar(function: Callable[_Args, _Result]) -> Callable[_Args, _Result]:
    """Compile a small function of one lane, to be inlined into the pass that calls it."""
    # numba's wrapper is called as the function is; its own type says nothing of arguments.
    return cast(
        Callable[_Args, _Result],
        numba.njit(fixed(function), forceinline=True, **COMPILER_OPTIONS),
    )


def kernel(function: Callable[_Args, _Result]) -> Callable[_Args, _Result]:
    """Compile a block-level entry point: releases the GIL, kept in the cache folder on disk."""
    compiled: Any = numba.njit(fixed(function), nogil=True, **COMPILER_OPTIONS)
    if hasattr(compiled, "py_func"):  # not as plain Python, NUMBA_DISABLE_JIT=1
        # numba has no other way to name a cache.
        compiled._cache = CodeCache(compiled.py_func, CACHE_FOLDER)  # noqa: SLF001
    return cast(Callable[_Args, _Result], compiled)


def entry(function: Callable[_Args, _Result]) -> Callable[_Args, _Result]:
    """Return a function of one lane for calls from Python, kept in the cache folder on disk.

    Called as it is, it would be compiled anew by every process that calls it.
    """
    return kernel(getattr(function, "py_func", function))
