"""What simulates rides: this machine's cores, or its GPU. The results have the same bits."""

from typing import Literal, TypeAlias, get_args

from plant.cuda.available import require_cuda

Device: TypeAlias = Literal["cpu", "cuda"]
DEVICES: tuple[Device, ...] = get_args(Device)

# A GPU takes as long over one lane as over all that it holds at once: 256 on each multiprocessor,
# of which the largest have about 130. A processor's threads are busy with a few dozen each.
_LANES_AT_ONCE: dict[Device, int] = {"cpu": 1024, "cuda": 32_768}


def require(device: Device) -> None:
    """Check that a device can be used on this machine.

    Raises
    ------
    CudaMissingError
        It is "cuda", and the package or the GPU is missing.
    ValueError
        There is no such device.
    """
    if device not in DEVICES:
        raise ValueError(f"device must be one of {', '.join(DEVICES)}, got {device!r}")
    if device == "cuda":
        require_cuda()


def lanes_at_once(device: Device) -> int:
    """Return how many lanes keep a device busy; a call with fewer wastes a part of it."""
    return _LANES_AT_ONCE[device]
