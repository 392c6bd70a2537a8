"""The command that says which parameters matter, and what they do around a chosen profile."""

from pathlib import Path

import pandas as pd
import typer

from objectives import OBJECTIVES
from optimizer.candidate import bound_marks
from optimizer.cores import available_cores
from optimizer.figures import FIGURES_FOLDER
from optimizer.figures_sensitivity import sensitivity_figure
from optimizer.figures_style import save, styled
from optimizer.importance import importances
from optimizer.json_text import json_text
from optimizer.printing import console, print_table
from optimizer.results import candidate_number, read_results
from optimizer.sensitivity import Sensitivity, most_important, sensitivity, sentence
from optimizer.stages_view import StagesView
from optimizer.study_file import load_study
from optimizer.tables import RESULTS_FOLDER

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
        found = sensitivity(results, number, n_jobs=jobs or available_cores())
        stages.begin("ranking parameters over all candidates")
        shares = importances(results)
    sentences = [sentence(found, place) for place in most_important(found)]
    marks = bound_marks(results, number)
    table = _table(found)
    if as_json:
        told = {
            "number": number,
            "sentences": sentences,
            "importance": shares,
            "around": table.to_dict(orient="records"),
            "parameters_at_bounds": marks,
        }
        typer.echo(json_text(told), nl=False)
        return
    out.print(f"What moves candidate {number} most:")
    for line in sentences:
        out.print(f"- {line}")
    for objective, by_name in shares.items():
        first = ", ".join(
            f"{name} {100 * share:.0f} %" for name, share in list(by_name.items())[:5]
        )
        out.print(f"Over all feasible candidates, {objective} depends on {first or 'too few'}.")
    for name in marks:
        out.print(
            f"{name} sits at an end of its searched range: widen search.bounds.{name} in a new"
            " study (levelgain fork), or keep the end on purpose."
        )
    out.print(f"\nEach parameter moved by itself; unmoved the weighted cost is {found.cost:.4g}:")
    print_table(out, table[[*_SHOWN]])
    with StagesView(out) as stages, styled():
        stages.begin("drawing")
        stem = folder / RESULTS_FOLDER / FIGURES_FOLDER / f"sensitivity_{number}"
        written = save(sensitivity_figure(found, called=f"candidate {number}"), stem)
    out.print(f"\n{written[0]} written.")


def _table(found: Sensitivity) -> pd.DataFrame:
    order = most_important(found, limit=len(found.names))
    table = {
        "parameter": [found.names[place] for place in order],
        "value": found.here[order],
    }
    for side, word in enumerate(("lowered", "raised")):
        table[word] = found.moved[side, order]
        table[f"{word}_cost_ratio"] = found.moved_cost[side, order]
        for column, objective in enumerate(OBJECTIVES):
            table[f"{word}_{objective}"] = found.moved_objectives[side, order, column]
        table[f"{word}_meets"] = found.meets[side, order]
    return pd.DataFrame(table)
