"""A small study of four searched parameters, on which advice takes a second or two."""

from pathlib import Path

from optimizer.study.load import load_study
from tests.optimizer.small_study import write_small_study

SEARCHED = (
    "inner_gain_a_per_deg",
    "rate_gain_a_per_deg_per_s",
    "uphill_gain_deg_per_mps2",
    "turn_gain_deg_per_mps2",
)


def write_advice_study(folder: Path) -> Path:
    """Write the study file into a folder, and return the folder; nothing is searched in it."""
    whole = load_study(write_small_study(folder))
    fixed = [name for name in whole.space.names if name not in SEARCHED]
    return write_small_study(folder, ("[search]\n", f"[search]\nfixed = {fixed}\n"))
