"""What to change first of a profile: tables, sentences, JSON, and the changed profile's file."""

import dataclasses
from collections.abc import Sequence

import numpy as np
import tomli_w
from rich.console import Console

from objectives import OBJECTIVES
from objectives.handling import HANDLING_NAMES
from optimizer.analysis.advice.advice import TOO_LITTLE, Advice, ChangedProfile
from optimizer.analysis.advice.paired_noise import N_DRAWS, Gain
from optimizer.analysis.felt_differences import felt_differences
from optimizer.analysis.ridden_profile import ALL
from optimizer.base.cautions import CAUTIONS
from optimizer.base.messages import counted
from optimizer.base.printable import one_line
from optimizer.cli.console import print_table
from optimizer.reports.profile_export import profile_sections
from plant.arrays import Floats

_COUNTED = ("", "change", "two changes", "three changes")
_SHOWN_SHARE = 0.005  # a smaller change of an objective is not worth a word


def print_advice(out: Console, found: Advice) -> None:
    """Print how a profile scores, and what its best changes buy and cost."""
    out.print(f"{found.called}: {_judged(found.now)}")
    for line in found.now.fails:
        out.print(f"- {line}")
    out.print(
        f"\nAs it is, and with the best changes of {found.n_ridden:,} profiles that were tried on"
        " the noise of the search. The table is on fresh noise and the hard rides of the"
        " re-evaluation, as `levelgain compare` has it. That is one draw of noise, so gains are"
        f" also given on average of {N_DRAWS} further draws, with an interval of 95 %."
    )
    print_table(out, found.scores)
    for n_changes in range(1, len(found.steps)):
        _print_step(out, found, n_changes)
    out.print(f"\n{_advice(found)}")
    out.print(_idle(found))


def advice_facts(found: Advice) -> dict[str, object]:
    """Return all that is known of a profile's best changes, for JSON."""
    return {
        "profile": found.called,
        "ridden": found.n_ridden,
        "changes_advised": found.kept,
        "steps": [
            {
                "changes": [
                    {**dataclasses.asdict(each), "perceived": each.perceived}
                    for each in step.changes
                ],
                "objectives": _named(OBJECTIVES, step.objectives),
                "weighted_cost_ratio": step.cost,
                "feasible": step.feasible,
                "failed_constraints": step.fails,
                "handling": _named(HANDLING_NAMES, step.handling[:, ALL]),
                "gain": dataclasses.asdict(found.gained(n_changes)),
                "draws": N_DRAWS,
                "draws_feasible": step.draws.n_met,
            }
            for n_changes, step in enumerate(found.steps)
        ],
        "parameters_that_do_not_matter": list(found.idle),
    }


def profile_text(found: Advice) -> str:
    """Return the text of a profile file, headed by cautions and by what was changed."""
    step = found.best
    changes = [f"{each.name} {each.before:.4g} -> {each.after:.4g}" for each in step.changes]
    return "\n".join(
        [
            *(f"# {caution}" for caution in CAUTIONS),
            f"# Changed from {one_line(found.called)}: {', '.join(changes)}.",
            "# Not validated.",
            *(f"# FAILS: {one_line(line)}" for line in step.fails),
            "",
            tomli_w.dumps({"profile": profile_sections(step.profile)}),
        ]
    )


def _print_step(out: Console, found: Advice, n_changes: int) -> None:
    now, step = found.now, found.steps[n_changes]
    out.print(f"\nThe best {_COUNTED[n_changes]}:")
    for each in step.changes:
        out.print(f"- {each.name} {each.before:.4g} → {each.after:.4g}: {each.perceived}")
    out.print(f"  {_gain_in_words(found, n_changes)}")
    moved = _moved(OBJECTIVES, now.objectives, step.objectives, share=_SHOWN_SHARE)
    for word, wanted in (("Buys", -1.0), ("Costs", 1.0)):
        parts = [text for text, way in moved if way == wanted]
        out.print(f"  {word}: {', '.join(parts) or 'nothing that shows'}.")
    for word, lines in (("Mends", _only(now, step)), ("Breaks", _only(step, now))):
        for line in lines:
            out.print(f"  {word}: {line}.")
    for line in felt_differences(now.handling, step.handling, name_alike=False):
        out.print(f"  A rider feels: {line}.")


def _judged(step: ChangedProfile) -> str:
    """Return the cost of a profile, and whether it is feasible."""
    fails = len(step.fails)
    met = "it meets every constraint." if not fails else f"it FAILS {counted(fails, 'constraint')}:"
    return f"the weighted cost is {step.cost:.4g} (the baseline's is 1); {met}"


def _gain_in_words(found: Advice, n_changes: int) -> str:
    """Return what changes take off the cost, and what that is worth beside noise."""
    gained = found.gained(n_changes)
    words = f"On average of {N_DRAWS} further draws the weighted cost falls by {_interval(gained)}"
    if not gained.is_more_than_noise:
        words += ", which is no more than noise"
    elif n_changes > 1:
        more = found.gained(n_changes, over=n_changes - 1)
        before = f"the best {_COUNTED[n_changes - 1]}"
        words += (
            f", {_interval(more)} more than {before}"
            if more.is_more_than_noise
            else f", but no more than {before} beyond noise"
        )
    n_met, n_before = found.steps[n_changes].draws.n_met, found.now.draws.n_met
    as_it_is = "" if n_before == n_met else f" ({n_before} as it is)"
    return f"{words}. Every constraint is met on {n_met} of them{as_it_is}."


def _advice(found: Advice) -> str:
    """Return what to do; a profile that fails something is never said to be good as it is."""
    if found.kept:
        words = [f"Advice: make the best {_COUNTED[found.kept]}."]
        if found.kept < len(found.steps) - 1:
            words.append("More changes than that buy no more than noise, or break a constraint.")
    else:
        words = ["No change buys more than noise without breaking a constraint."]
        if found.best.feasible:
            words.append("Leave the profile as it is.")
    if not found.best.feasible:
        folder = found.study.folder
        words.append(
            "The profile FAILS a constraint all the same. A search may find one that meets all:"
            f" levelgain run {folder}"
        )
    return " ".join(words)


def _idle(found: Advice) -> str:
    if not found.idle:
        return "Every other searched parameter matters, by its cost or by a constraint."
    return (
        "These show no effect here: with every value that was tried each alone moves the weighted"
        f" cost by no more than noise, or by less than {100.0 * TOO_LITTLE:g} %, and breaks or"
        f" mends no constraint: {', '.join(found.idle)}."
    )


def _interval(gained: Gain) -> str:
    return f"{gained.mean:.3f} ± {gained.half_width:.3f}"


def _moved(
    names: Sequence[str], before: Floats, after: Floats, *, share: float
) -> list[tuple[str, float]]:
    """Return the numbers that changed by more than a share, in words, and which way."""
    return [
        (f"{name} {old:.3g} → {new:.3g}", float(np.sign(new - old)))
        for name, old, new in zip(names, before.tolist(), after.tolist(), strict=True)
        if abs(new - old) > share * max(abs(old), abs(new))
    ]


def _only(own: ChangedProfile, other: ChangedProfile) -> list[str]:
    """Return in words what one profile fails and another does not."""
    met = {fact.name for fact in other.facts if fact.met}
    return [fact.sentence for fact in own.facts if not fact.met and fact.name in met]


def _named(names: Sequence[str], values: Floats) -> dict[str, float]:
    return dict(zip(names, values.tolist(), strict=True))
