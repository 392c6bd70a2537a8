"""The compiler of `plant.compile`: loaded with the first function that is called."""

from collections.abc import Callable
from typing import Any

import llvmlite.binding
import numba
from llvmlite import ir
from numba import types
from numba.extending import intrinsic, overload, typeof_impl

from plant.code_cache import CodeCache
from plant.compile import CACHE_FOLDER, COMPILER_OPTIONS, Compiled
from plant.fused import fused

_DOUBLE = ir.DoubleType()


def target_processor() -> str:
    """Return the name of the processor that functions are compiled for."""
    config: Any = numba.config  # its names are made at import, unseen by a type checker
    return str(config.CPU_NAME or llvmlite.binding.get_host_cpu_name())


def inlined(function: Callable[..., Any]) -> Any:
    """Compile a function to be inlined into those that call it."""
    return numba.njit(function, forceinline=True, **COMPILER_OPTIONS)


def entry_of(function: Callable[..., Any]) -> Any:
    """Compile a function that Python calls, and keep its machine code on disk."""
    compiled: Any = numba.njit(function, nogil=True, **COMPILER_OPTIONS)
    if hasattr(compiled, "py_func"):  # not as plain Python, NUMBA_DISABLE_JIT=1
        # numba has no other way to name a cache.
        compiled._cache = CodeCache(compiled.py_func, CACHE_FOLDER)  # noqa: SLF001
    return compiled


@typeof_impl.register(Compiled)
def _called(function: Compiled, context: Any) -> Any:
    """Return the type of a function that compiled code calls: that of what is made of it."""
    return typeof_impl(function.compiled, context)


def _typed(_context: Any, a: Any, b: Any, c: Any) -> Any:
    def generate(_generator: Any, builder: Any, _signature: Any, arguments: Any) -> Any:
        kind = ir.FunctionType(_DOUBLE, (_DOUBLE, _DOUBLE, _DOUBLE))
        return builder.call(
            builder.module.declare_intrinsic("llvm.fma", (_DOUBLE,), kind), arguments
        )

    return types.float64(*(types.float64 for _ in (a, b, c))), generate


_fused_doubles: Any = intrinsic(_typed)


@overload(fused, inline="always", strict=False)
def _fused(a: Any, b: Any, c: Any) -> Any:
    """Give compiled code the processor's own instruction."""
    if all(isinstance(kind, types.Integer) for kind in (a, b, c)):
        return lambda a, b, c: a * b + c
    return lambda a, b, c: _fused_doubles(float(a), float(b), float(c))
