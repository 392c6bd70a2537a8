"""What moves a profile: sentences, a table, JSON."""

from rich.console import Console

from optimizer.analysis.explanation import Explanation
from optimizer.cli.console import print_table

_SHOWN = ("parameter", "value", "lowered", "lowered_cost_ratio", "raised", "raised_cost_ratio")


def explanation_facts(found: Explanation) -> dict[str, object]:
    """Return all that is known of what moves a profile, for JSON."""
    return {
        "profile": found.called,
        "number": found.number,
        "sentences": found.sentences,
        "importance": found.shares,
        "around": found.around.to_dict(orient="records"),
        "parameters_at_bounds": list(found.bound_advice),
        "bound_advice": found.bound_advice,
        "front_ends": found.front_ends,
    }


def print_explanation(out: Console, found: Explanation) -> None:
    """Print what moves a profile most, in sentences and as a table."""
    out.print(f"What moves {found.called} most:")
    for line in found.sentences:
        out.print(f"- {line}")
    if not found.shares:
        out.print("Nothing was searched yet, so nothing is known over all candidates.")
    for objective, by_name in found.shares.items():
        if not by_name:
            out.print(f"Too few candidates are feasible to say what {objective} depends on.")
            continue
        first = ", ".join(
            f"{name} {100 * share:.0f} %" for name, share in list(by_name.items())[:5]
        )
        out.print(f"Over all feasible candidates, {objective} depends on {first}.")
    for line in [*found.bound_advice.values(), *found.front_ends.values()]:
        out.print(line)
    cost = found.sensitivity.cost
    out.print(f"\nEach parameter moved by itself; unmoved the weighted cost is {cost:.4g}:")
    print_table(out, found.around[[*_SHOWN]])
