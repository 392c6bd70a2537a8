"""How a ride can end."""

import enum

ROLL_BACK_LIMIT_MPS = 2.0  # assumed: rolling back faster than this is a lost ride


class Outcome(enum.IntEnum):
    """Why a ride ended; `message` is what a person reads."""

    RIDDEN = 0
    NOSE_DOWN = 1
    TAIL_STRIKE = 2
    RIDER_OFF = 3
    SPEED_LOST = 4
    BUS_TOO_HIGH = 5
    BUS_TOO_LOW = 6
    OUTSIDE_MODEL = 7

    @property
    def message(self) -> str:
        """One phrase for reports."""
        return _MESSAGES[self]


_MESSAGES = {
    Outcome.RIDDEN: "ridden to the end",
    Outcome.NOSE_DOWN: "the nose touched the ground",
    Outcome.TAIL_STRIKE: "the tail struck the ground hard",
    Outcome.RIDER_OFF: "the rider stepped off",
    Outcome.SPEED_LOST: "the board rolled back or ran away from the wanted speed",
    Outcome.BUS_TOO_HIGH: "the drive cut out on high bus voltage",
    Outcome.BUS_TOO_LOW: "the drive cut out on low bus voltage",
    Outcome.OUTSIDE_MODEL: "the ride left what the model can describe",
}
