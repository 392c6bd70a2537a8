"""The delay between sensing and current: what the control law asks acts up to two steps later.

A law that reads its sensors at the start of a step has its answer some time later, and the
inverter's bridge takes it at its next update. From then on it is held for one step, which
delays it by half a step more on the mean. A change within a step acts for the rest of the step:
the mean command of the step is then the mix of two commands by the parts of the step they hold.
"""

from plant.compile import scalar
from plant.constants import DT_S

HOLD_S = 0.5 * DT_S  # mean age of a command that is held for one step
N_COMMANDS = 3  # this step's command and two before it


def command_shares(delay_s: float) -> tuple[float, ...]:
    """Return the parts of a step in which its own command, the last and the one before act.

    Parameters
    ----------
    delay_s : float
        From sensing to the middle of the command's hold: from half a step, where the command acts
        at once, to two steps and a half.
    """
    steps = (delay_s - HOLD_S) / DT_S
    return tuple(max(1.0 - abs(steps - age), 0.0) for age in range(N_COMMANDS))


@scalar
def commanded_current(
    now: float,
    was: float,
    before: float,
    share_now: float,
    share_was: float,
    share_before: float,
) -> float:
    """Return the mean current in A that acts in a step, from what was wanted at three steps."""
    return share_now * now + share_was * was + share_before * before
