"""The part of cupy's interface that a launch uses, on the processor: its kernels are built by g++.

As on a GPU, what is copied from page-locked memory arrives only when something waits for it.
"""

import sys
import time
import weakref
from types import ModuleType, SimpleNamespace

import numpy as np

from plant.cuda import launch
from tests.plant.cuda.host_build import passed


class RuntimeFaultError(RuntimeError):
    """Stands for an error of the GPU's runtime."""


class CompileFaultError(Exception):
    """Stands for what the GPU's compiler refuses."""


IN_USE = weakref.WeakValueDictionary()  # arrays on the pretended GPUs


class OnGpu(np.ndarray):
    """An array of the pretended GPU, counted for as long as something holds its memory."""

    def __new__(cls, shape):
        made = super().__new__(cls, shape)
        IN_USE[id(made)] = made
        return made

    @property
    def data(self):
        return SimpleNamespace(ptr=self.ctypes.data)

    def set(self, source, *, stream):
        stream.under_way.append((self, source))


class Stream:
    """What is copied one after the other, and arrives when somebody waits for it."""

    def __init__(self, *, non_blocking):
        assert non_blocking  # another would wait for the rides
        self.under_way = []

    def __enter__(self):
        return self

    def __exit__(self, *_):
        return None

    def synchronize(self):
        for target, source in self.under_way:
            target[...] = source
        self.under_way.clear()


class Device:
    """A pretended GPU of so much memory."""

    n_bytes = 1 << 30

    def __init__(self, number):
        self.number = number
        self.mem_info = (self.n_bytes, self.n_bytes)
        self.attributes = {"MaxSharedMemoryPerMultiprocessor": 1 << 17}

    def __enter__(self):
        return self

    def __exit__(self, *_):
        return None


def install(monkeypatch, run, *, n_gpus=1, n_bytes=1 << 30):
    """Put the pretended package in cupy's place; `run` is the built program's launch."""

    class Kernel:
        def __call__(self, grid, _block, given, **_shared):
            if grid[0] < 1:
                raise RuntimeFaultError("CUDA_ERROR_INVALID_VALUE: invalid argument")
            time.sleep(0.001)  # other threads go on, as while a GPU is at work
            n_lanes, n_rides, *arrays = given
            run(grid[0], int(n_lanes), int(n_rides), passed(arrays))

    cupy = ModuleType("cupy")
    cupy.take, cupy.zeros, cupy.ascontiguousarray = np.take, np.zeros, np.ascontiguousarray
    cupy.empty = OnGpu
    cupy.asarray = np.asarray
    cupy.asnumpy = np.array
    cupy.RawModule = lambda **_: SimpleNamespace(get_function=lambda _: Kernel())
    cupy.cuda = SimpleNamespace(
        Device=type("Device", (Device,), {"n_bytes": n_bytes}),
        Stream=Stream,
        compiler=SimpleNamespace(CompileException=CompileFaultError),
        runtime=SimpleNamespace(CUDARuntimeError=RuntimeFaultError, getDeviceCount=lambda: n_gpus),
    )
    cupyx = ModuleType("cupyx")
    cupyx.empty_pinned = np.empty
    monkeypatch.setitem(sys.modules, "cupy", cupy)
    monkeypatch.setitem(sys.modules, "cupyx", cupyx)
    launch._gpu.cache_clear()
    IN_USE.clear()  # what a failed test still holds is none of the next one's
    return cupy
