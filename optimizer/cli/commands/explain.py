"""The command that says which parameters matter, and what they do around a chosen profile."""

from pathlib import Path

import joblib
import pandas as pd
import typer
from rich.console import Console

from objectives import CONSTRAINT_NAMES, OBJECTIVES
from optimizer.analysis.candidate import bound_marks
from optimizer.analysis.importance import importances
from optimizer.analysis.results import Results, candidate_number, read_results
from optimizer.analysis.sensitivity import Sensitivity, most_important, sensitivity
from optimizer.analysis.sensitivity_text import bound_advice, sentence
from optimizer.base.atomic_files import write_whole
from optimizer.base.json_io import json_text
from optimizer.cli.console import console, print_table
from optimizer.cli.stages_view import StagesView
from optimizer.reports.sensitivity_figures import sensitivity_figure
from optimizer.reports.style import save, styled
from optimizer.study.load import load_study
from optimizer.study.paths import FIGURES_FOLDER, RESULTS_FOLDER

_SHOWN = ("parameter", "value", "lowered", "lowered_cost_ratio", "raised", "raised_cost_ratio")


def explain(
    *,
    folder: Path,
    which: str,
    jobs: int | None,
    as_json: bool,
) -> None:
    """Say which parameters matter and what each does around a candidate, by riding again."""
    out = console(as_json=as_json)
    with StagesView(out) as stages:
        stages.begin("reading the study")
        results = read_results(load_study(folder))
        number = candidate_number(results, which)
        stages.begin("riding the neighbours")
        found = sensitivity(results, number, n_jobs=jobs or joblib.cpu_count())
        stages.begin("ranking parameters over all candidates")
        shares = importances(results.study.space, results.searched)
    sentences = [sentence(found, place) for place in most_important(found)]
    advice = _advice(results, number, found)
    table = _table(found)
    if as_json:
        told = {
            "number": number,
            "sentences": sentences,
            "importance": shares,
            "around": table.to_dict(orient="records"),
            "parameters_at_bounds": list(advice),
            "bound_advice": advice,
        }
        typer.echo(json_text(told), nl=False)
        return
    _print_words(out, number, sentences=sentences, shares=shares, advice=advice)
    out.print(f"\nEach parameter moved by itself; unmoved the weighted cost is {found.cost:.4g}:")
    print_table(out, table[[*_SHOWN]])
    figures = folder / RESULTS_FOLDER / FIGURES_FOLDER
    tables = {f"sensitivity_{number}.csv": table, "importance.csv": _importance_table(shares)}
    with StagesView(out) as stages, styled():
        stages.begin("drawing")
        drawn = sensitivity_figure(found, called=f"candidate {number}")
        written = save(drawn, figures / f"sensitivity_{number}")[:1]
    for name, content in tables.items():
        write_whole(figures / name, content.to_csv(index=False, lineterminator="\n"))
        written.append(figures / name)
    for path in written:
        out.print(f"{path} written.")


def _advice(results: Results, number: int, found: Sensitivity) -> dict[str, str]:
    space = results.study.space
    ends = dict(zip(space.names, zip(space.low, space.high, strict=True), strict=True))
    return {
        name: bound_advice(found, name, low=ends[name][0], high=ends[name][1])
        for name in bound_marks(results, number)
    }


def _print_words(
    out: Console,
    number: int,
    *,
    sentences: list[str],
    shares: dict[str, dict[str, float]],
    advice: dict[str, str],
) -> None:
    out.print(f"What moves candidate {number} most:")
    for line in sentences:
        out.print(f"- {line}")
    for objective, by_name in shares.items():
        if not by_name:
            out.print(f"Too few candidates are feasible to say what {objective} depends on.")
            continue
        first = ", ".join(
            f"{name} {100 * share:.0f} %" for name, share in list(by_name.items())[:5]
        )
        out.print(f"Over all feasible candidates, {objective} depends on {first}.")
    for line in advice.values():
        out.print(line)


def _importance_table(shares: dict[str, dict[str, float]]) -> pd.DataFrame:
    """Return a row for each objective and parameter; none where too few candidates are feasible."""
    rows = [
        (objective, name, share)
        for objective, by_name in shares.items()
        for name, share in by_name.items()
    ]
    return pd.DataFrame(rows, columns=["objective", "parameter", "importance_ratio"])


def _table(found: Sensitivity) -> pd.DataFrame:
    """Return a row for each parameter, the one that moves the weighted cost most first."""
    order = most_important(found, limit=len(found.names))
    table = {
        "parameter": [found.names[place] for place in order],
        "value": found.here[order],
        **dict(zip(OBJECTIVES, found.objectives.tolist(), strict=True)),
        "cost_ratio": found.cost,
    }
    for side, word in enumerate(("lowered", "raised")):
        table[word] = found.moved[side, order]
        table[f"{word}_cost_ratio"] = found.moved_cost[side, order]
        for column, objective in enumerate(OBJECTIVES):
            table[f"{word}_{objective}"] = found.moved_objectives[side, order, column]
        table[f"{word}_meets"] = found.meets[side, order]
        table[f"{word}_fails"] = [_failed(found, side, place) for place in order]
    return pd.DataFrame(table)


def _failed(found: Sensitivity, side: int, place: int) -> str:
    """Return the constraints that a moved profile fails, as a list parted by semicolons."""
    fails = found.moved_constraints[side, place] > 0.0
    return ";".join(name for name, failed in zip(CONSTRAINT_NAMES, fails, strict=True) if failed)
