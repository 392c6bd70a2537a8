"""A GPU that is asked for and not there is refused in one line that says what to do."""

import sys
from types import ModuleType, SimpleNamespace

import pytest

from plant.cuda.available import CudaMissingError, require_cuda


class DriverError(RuntimeError):
    """Stands for the error of a machine without a driver."""


def pretend_cupy(monkeypatch, count):
    module = ModuleType("cupy")
    runtime = SimpleNamespace(CUDARuntimeError=DriverError, getDeviceCount=count)
    module.cuda = SimpleNamespace(runtime=runtime)
    monkeypatch.setitem(sys.modules, "cupy", module)


def no_driver():
    raise DriverError("cudaErrorInsufficientDriver: CUDA driver version is insufficient")


def test_a_missing_package_is_named_with_how_to_install_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "cupy", None)

    with pytest.raises(CudaMissingError, match="needs the package cupy") as refused:
        require_cuda()

    assert "pip install 'levelgain[cuda]'" in str(refused.value)
    assert 'device = "cpu" works' in str(refused.value)
    assert "\n" not in str(refused.value)


def no_library():
    raise RuntimeError("failed to load libcudart")


@pytest.mark.parametrize(
    ("count", "said"),
    [(no_driver, "InsufficientDriver"), (no_library, "libcudart"), (int, "none is")],
)
def test_a_missing_gpu_is_refused(monkeypatch, count, said):
    pretend_cupy(monkeypatch, count)

    with pytest.raises(CudaMissingError, match=said) as refused:
        require_cuda()

    assert 'device = "cpu" works' in str(refused.value)
    assert "\n" not in str(refused.value)
