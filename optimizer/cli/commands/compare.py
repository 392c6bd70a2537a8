"""The command that compares profiles, wherever they come from."""

from pathlib import Path

import joblib
import numpy as np
import pandas as pd
import typer
from numpy.typing import NDArray
from rich.console import Console

from objectives import OBJECTIVES
from optimizer.analysis.candidate import failures
from optimizer.analysis.comparison import Comparison, changed_rides, compared, differing, in_words
from optimizer.analysis.profile_source import chosen_profile
from optimizer.base.atomic_files import refuse_existing
from optimizer.base.errors import UserInputError
from optimizer.base.json_io import json_text
from optimizer.base.pick_names import PICKS
from optimizer.cli.console import console, print_table
from optimizer.cli.stages_view import StagesView
from optimizer.reports.comparison_figures import MOST_PROFILES, loop_figure, traces_figure
from optimizer.reports.style import save, styled
from optimizer.study.load import load_study
from optimizer.study.paths import COMPARISON_FOLDER
from optimizer.study.study import Study
from plant.description.profile_array import PROFILE_NAMES

_MOST_TOLD = 3


def compare(
    *,
    folder: Path,
    profiles: list[str],
    to: Path | None,
    jobs: int | None,
    force: bool,
    as_json: bool,
) -> None:
    """Compare profiles over all rides of a study; the first is what the others are held against."""
    if not 2 <= len(profiles) <= MOST_PROFILES:
        raise UserInputError(
            f"compare: give from 2 to {MOST_PROFILES} profiles, got {len(profiles)};"
            " such as baseline balanced"
        )
    place = folder / COMPARISON_FOLDER if to is None else to
    stems = [place / name for name in ("traces", "loop")]
    if not force and not as_json:
        files = [stem.with_suffix(suffix) for stem in stems for suffix in (".png", ".svg")]
        refuse_existing(files, advice="give --force to replace it, or --to another folder")
    out = console(as_json=as_json)
    with StagesView(out) as stages:
        stages.begin("reading the study")
        study = load_study(folder)
        chosen = [_chosen(study, text) for text in profiles]
        names = [called for _, called in chosen]
        stages.begin("riding the profiles")
        found = compared(
            study, names, np.array([row for row, _ in chosen]), n_jobs=jobs or joblib.cpu_count()
        )
    if as_json:
        typer.echo(json_text(_told(found)), nl=False)
        return
    print_table(out, _objectives(found))
    out.print()
    print_table(out, _parameters(found))
    shown = _print_changes(out, found)
    with StagesView(out) as stages, styled():
        stages.begin("drawing", 2)
        written = save(traces_figure(found, shown[:4]), stems[0])
        stages.advance()
        written += save(loop_figure(found), stems[1])
    out.print(f"\n{written[0]} and {written[2]} written.")


def _print_changes(out: Console, found: Comparison) -> list[int]:
    """Print what each profile wins and loses against the first; return the rides to draw."""
    shown: list[int] = []
    for which in range(1, len(found.names)):
        wins, losses = changed_rides(found, which, limit=_MOST_TOLD)
        for word, rides in (("wins", wins), ("loses", losses)):
            out.print(f"\n{found.names[which]} {word} most against {found.names[0]}:")
            for ride in rides:
                out.print(f"- {in_words(found, which, ride)}")
            shown += [ride for ride in rides[:2] if ride not in shown]
    return shown


def _chosen(study: Study, text: str) -> tuple[NDArray[np.float64], str]:
    if text == "baseline":
        return chosen_profile(study, None, None)[0], text
    if text in PICKS or text.isdigit():
        row, called, _ = chosen_profile(study, text, None)
        return row, called
    return chosen_profile(study, None, Path(text))[0], Path(text).name


def _objectives(found: Comparison) -> pd.DataFrame:
    failed = ["; ".join(failures(row)) or "none" for row in found.constraints]
    columns = dict(zip(OBJECTIVES, found.objectives.T, strict=True))
    return pd.DataFrame({"profile": found.names, **columns, "fails": failed})


def _parameters(found: Comparison) -> pd.DataFrame:
    names = differing(found)
    places = [PROFILE_NAMES.index(name) for name in names]
    columns = {called: row[places] for called, row in zip(found.names, found.profiles, strict=True)}
    return pd.DataFrame({"parameter": names, **columns})


def _told(found: Comparison) -> dict[str, object]:
    changes = {}
    for which in range(1, len(found.names)):
        wins, losses = changed_rides(found, which, limit=_MOST_TOLD)
        changes[found.names[which]] = {
            "wins": [in_words(found, which, ride) for ride in wins],
            "losses": [in_words(found, which, ride) for ride in losses],
        }
    return {
        "objectives": _objectives(found).to_dict(orient="records"),
        "parameters": _parameters(found).to_dict(orient="records"),
        "against_the_first": changes,
    }
