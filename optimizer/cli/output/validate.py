"""The verdicts on profiles, printed one after the other and side by side."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd
from rich.console import Console

from optimizer.base.errors import UserInputError
from optimizer.cli.console import print_table

_STYLE = {"pass": "green", "marginal": "yellow", "fail": "bold red"}


def refuse_same_stem(stems: Mapping[str, str]) -> None:
    """Refuse profiles whose files would have one name.

    Parameters
    ----------
    stems : mapping of str to str
        Stem of the files by what a profile is called.

    Raises
    ------
    UserInputError
        Two profiles have the same stem.
    """
    seen: dict[str, str] = {}
    for called, stem in stems.items():
        if stem in seen:
            raise UserInputError(
                f"validate: {called} and {seen[stem]} would both be written to {stem}.html; rename"
                " a file, or validate it on its own with --to another folder"
            )
        seen[stem] = called


def print_validation(
    out: Console, facts: Mapping[str, Any], paths: Sequence[Path], *, folder: Path
) -> None:
    """Print every item of the validation of one profile, and where it is written."""
    out.print(f"{facts['called']}:")
    for verdict in facts["verdicts"]:
        out.print(f"{verdict['grade']:9s}", style=_STYLE[verdict["grade"]], end=" ")
        out.print(f"{verdict['item']}: {verdict['found']}")
        if verdict["change"]:
            out.print(f"          Asked: {verdict['asked']}.")
            out.print(f"          To change: {verdict['change']}")
    if facts["remedies"] is not None:
        out.print("\n" + "\n          ".join(facts["remedies"]["lines"]))
    if facts["accelerated"] is not None:
        out.print(f"\n{facts['accelerated']['line']}.")
    if facts["baseline"] is not None:
        out.print(f"\n{facts['baseline']['line']}.")
        if facts["baseline"]["accelerated"] is not None:
            out.print(f"The baseline: {facts['baseline']['accelerated']['line']}.")
    if facts["falls"]:
        many = f"{len(facts['falls'])} rides" if len(facts["falls"]) > 1 else "1 ride"
        out.print(
            f"\n{paths[2]} written: {many} in which the nose went down, as courses of a study. Add"
            f" them to a new one: levelgain fork {folder} NEW_FOLDER --falls {paths[2]}"
        )
    out.print(f"\n{facts['called']}: {facts['overall']}. {paths[0]} and {paths[1]} written.\n")


def print_verdicts(out: Console, found: Sequence[Mapping[str, Any]]) -> None:
    """Print the grades of all items side by side, the baseline's last."""
    columns = {facts["called"]: facts for facts in found}
    beside = next((facts["baseline"] for facts in found if facts["baseline"]), None)
    if beside is not None and not any(facts["baseline"] is None for facts in found):
        columns["baseline"] = beside
    if len(columns) == 1:
        return
    items = [verdict["item"] for verdict in found[0]["verdicts"]]
    table = {
        called: [*(verdict["grade"] for verdict in facts["verdicts"]), facts["overall"]]
        for called, facts in columns.items()
    }
    print_table(out, pd.DataFrame({"item": [*items, "the whole"], **table}))
