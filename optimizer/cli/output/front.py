"""What is printed of a whole front beside its table; loads little, so that it shows at once."""

from rich.console import Console

from objectives import OBJECTIVES
from optimizer.analysis.candidate_numbers import comparison_in_words
from optimizer.analysis.pinned_ends import pinned_ends
from optimizer.analysis.results import Results

FRONT_COLUMNS = ("number", "picks", *OBJECTIVES, "weighted_cost_ratio", "feel_deg_per_mps2")


def print_comparison_note(out: Console, results: Results) -> None:
    """Print what candidates are compared with, where the baseline itself measures other numbers."""
    note = comparison_in_words(results)
    if note:
        out.print(note)


def print_pinned_ends(out: Console, results: Results) -> None:
    """Print at which ends of searched ranges much of the whole front lies."""
    pinned = pinned_ends(results)
    for each in pinned:
        more = "" if each.can_be_widened else ", beyond which it can not go"
        out.print(f"{each.sentence}{more}.")
    if any(each.can_be_widened for each in pinned):
        folder = results.study.folder
        out.print(f"What wider bounds would bring: levelgain explain {folder} lowest_cost")
