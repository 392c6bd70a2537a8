"""Whether a GPU can ride here; the one place that loads the optional package cupy."""

import importlib
from collections.abc import Iterator
from contextlib import contextmanager
from types import ModuleType

PACKAGES = ("cupy-cuda13x", "cupy-cuda12x")  # either brings the module cupy
_INSTALL = "install it with: pip install 'levelgain[cuda]'"
_OTHERWISE = 'device = "cpu" works without'


class CudaMissingError(ValueError):
    """What a ride on a GPU needs is not here; its text is one line for the user."""


def require_cuda() -> ModuleType:
    """Return the module cupy, on a machine where it finds a GPU.

    Raises
    ------
    CudaMissingError
        cupy can not be loaded, or finds no GPU.
    """
    try:
        cupy = importlib.import_module("cupy")
    except ImportError as error:
        raise CudaMissingError(
            f'device = "cuda" needs the package cupy, which can not be loaded here ({error});'
            f" {_INSTALL}; {_OTHERWISE}"
        ) from error
    try:
        n_gpus = cupy.cuda.runtime.getDeviceCount()
    except RuntimeError as error:  # of the driver, or a library of CUDA that can not be loaded
        raise CudaMissingError(
            f'device = "cuda" needs an NVIDIA GPU and its driver for CUDA 13, got {error};'
            f" {_OTHERWISE}"
        ) from error
    if n_gpus == 0:
        raise CudaMissingError(
            f'device = "cuda" needs an NVIDIA GPU, and none is found here; {_OTHERWISE}'
        )
    return cupy


@contextmanager
def faults_in_a_line(cupy: ModuleType) -> Iterator[None]:
    """Tell in one line what a GPU could not do of what the block asks.

    Raises
    ------
    CudaMissingError
        Memory, the compiler or the driver failed.
    """
    try:
        yield
    except (RuntimeError, MemoryError, cupy.cuda.compiler.CompileException) as error:
        fault = " ".join(f"{type(error).__name__}: {error}".split())
        raise CudaMissingError(
            f'device = "cuda": the GPU can not ride, got {fault}; see that its memory is free and'
            f" its driver is for CUDA 13; {_OTHERWISE}"
        ) from error
