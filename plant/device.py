"""What simulates rides: this machine's cores, or its GPU. The results have the same bits."""

from typing import Literal, TypeAlias, get_args

from plant.cuda.available import require_cuda

Device: TypeAlias = Literal["cpu", "cuda"]
DEVICES: tuple[Device, ...] = get_args(Device)


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
