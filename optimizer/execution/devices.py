"""On what a study is ridden: what a command asks for, or else what its file says."""

import dataclasses

from optimizer.base.errors import MachineError
from optimizer.study.study import Study
from plant.cuda.available import CudaMissingError
from plant.device import Device, require


def refuse_missing(device: Device | None) -> None:
    """Refuse a device that this machine does not have; None asks for none.

    Raises
    ------
    MachineError
        Says what is missing, and what to do.
    """
    if device is None:
        return
    try:
        require(device)
    except CudaMissingError as error:
        raise MachineError(str(error)) from None


def on_device(study: Study, device: Device | None = None) -> Study:
    """Return a study that is ridden on a device of this machine.

    Parameters
    ----------
    study : Study
    device : Device, optional
        The study's own if not given.

    Raises
    ------
    MachineError
        This machine does not have it.
    """
    chosen = study.device if device is None else device
    refuse_missing(chosen)
    return dataclasses.replace(study, device=chosen)
