"""What a validation says of one item: passed, marginal or failed, why, and what to change."""

import dataclasses
import enum
from collections.abc import Iterable, Mapping


class Grade(enum.StrEnum):
    """How an item came out, best first."""

    PASS = "pass"  # noqa: S105, not a password
    MARGINAL = "marginal"
    FAIL = "fail"


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """One item of a validation.

    Attributes
    ----------
    item : str
    grade : Grade
    found : str
        What was found, in words with numbers.
    asked : str
        What the grade is measured against.
    change : str
        What to change where the item did not pass; empty where it did.
    numbers : mapping of str to float
        The same for a script, units in the names.
    """

    item: str
    grade: Grade
    found: str
    asked: str
    change: str
    numbers: Mapping[str, float]


def worst(verdicts: list[Verdict]) -> Grade:
    """Return the grade of the whole: that of its worst item."""
    return worst_of(verdict.grade for verdict in verdicts)


def worst_of(grades: Iterable[Grade]) -> Grade:
    """Return the worst of some grades."""
    return max(grades, key=list(Grade).index)
