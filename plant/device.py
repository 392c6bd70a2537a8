"""What simulates rides: this machine's cores, or its GPU. The results have the same bits."""

from typing import Literal, TypeAlias, get_args

from plant.cuda.available import require_cuda

Device: TypeAlias = Literal["cpu", "cuda"]
DEVICES: tuple[Device, ...] = get_args(Device)

# A processor rides a block of eight with the instructions of one lane. A GPU rides 256 lanes on
# each multiprocessor at a time, and the largest have about 130 of these.
_LANES_AT_ONCE: dict[Device, int] = {"cpu": 8, "cuda": 32_768}


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


def batches_at_once(device: Device, n_lanes: int) -> int:
    """Return how many batches of so many lanes a device rides in the time of one."""
    return max(lanes_at_once(device) // n_lanes, 1)


def lanes_at_once(device: Device) -> int:
    """Return about how many lanes a device rides in the time of one; fewer leave it idle."""
    return _LANES_AT_ONCE[device]
