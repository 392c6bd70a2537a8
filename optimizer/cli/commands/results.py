"""Commands that look at a study's results, and ride one profile."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.base.atomic_files import refuse_existing
from optimizer.base.errors import UserInputError
from optimizer.base.pick_names import PICKS
from optimizer.cli.loading import loading
from optimizer.cli.options import (
    AsJson,
    Folder,
    Jobs,
    OnDevice,
    Profile,
    Which,
    completing,
    named,
)
from optimizer.study.limits import MOST_CANDIDATES


def front(
    folder: Folder,
    sort: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="Column to sort by; -NAME: largest first."),
    ] = None,
    where: Annotated[
        list[str] | None,
        typer.Option(metavar="TEXT", help="Condition, such as 'level_error_deg<2.5'."),
    ] = None,
    limit: Annotated[
        int, typer.Option(min=1, max=MOST_CANDIDATES, metavar="N", help="Rows to show.")
    ] = 20,
    all_candidates: Annotated[
        bool, typer.Option("--all", help="All candidates, not the front alone.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Show the front as a table.

    Example: levelgain front my_board --where 'level_error_deg<2.5'
    """
    with loading():
        from optimizer.analysis.table_filters import filtered, named_columns, sorted_by
        from optimizer.analysis.tables import candidates_table, front_table
        from optimizer.cli.console import console, print_json, print_table
        from optimizer.cli.output.results import FRONT_COLUMNS, print_comparison_note
        from optimizer.cli.output.run import print_pinned_ends
        from optimizer.cli.read_study import read_study

    out = console(as_json=as_json)
    results = read_study(folder, out)
    table = candidates_table(results) if all_candidates else front_table(results)
    table = sorted_by(filtered(table, where or ()), sort or ["weighted_cost_ratio"])
    if as_json:
        print_json(table.head(limit).to_dict(orient="records"))
        return
    if not results.picks and not all_candidates:
        out.print(
            "No candidate meets every constraint. Next: levelgain front"
            f" {folder} --all --sort violation_ratio"
        )
        return
    noise = ("reevaluated",) if all_candidates else ()
    named = named_columns(where or (), sort or ())
    columns = list(dict.fromkeys((*FRONT_COLUMNS, *noise, *named)))
    print_table(out, table[columns].head(limit))
    out.print(f"{min(limit, len(table))} of {len(table)} shown, of {len(results)} ridden.")
    if all_candidates and results.reevaluated.any():
        out.print(
            "Re-evaluated candidates have their numbers on fresh noise, others in the search."
        )
    print_comparison_note(out, results)
    print_pinned_ends(out, results)


def show(folder: Folder, which: Which, as_json: AsJson = False) -> None:
    """Show one candidate.

    Its objectives, nose-down rates, handling, parameters, constraints, worst rides, and what a
    validation says of it.

    Example: levelgain show my_board balanced
    """
    with loading():
        from optimizer.analysis.candidate_numbers import candidate_numbers
        from optimizer.analysis.known_verdict import known_verdict, verdict_facts
        from optimizer.analysis.results import candidate_number
        from optimizer.cli.console import console, print_json
        from optimizer.cli.output.results import print_candidate, ride_columns
        from optimizer.cli.read_study import read_study
        from optimizer.interface.candidates import candidate

    out = console(as_json=as_json)
    results = read_study(folder, out)
    number = candidate_number(results, which)
    if not as_json:
        print_candidate(out, results, number)
        return
    tables = candidate(results, number)
    tables["worst_rides"] = ride_columns(tables["worst_rides"])
    print_json(
        {
            "number": number,
            "ridden_on": candidate_numbers(results, number).noise,
            "validation": verdict_facts(known_verdict(results, number)),
            "rides_ridden": int(results.rides_ridden[number]),
            **{name: table.to_dict(orient="records") for name, table in tables.items()},
        }
    )


def ride(
    folder: Folder,
    candidate: Annotated[
        str | None,
        typer.Option(
            metavar="CANDIDATE",
            help="Its number, or the name of a pick.",
            autocompletion=completing(*PICKS),
        ),
    ] = None,
    profile: Profile = None,
    film: Annotated[
        Path | None,
        typer.Option(
            parser=named, metavar="FILE", help="Film one ride beside the baseline, .gif or .mp4."
        ),
    ] = None,
    filmed: Annotated[
        str | None,
        typer.Option(metavar="RIDE", help="Ride to film; default: the nearest to a nose-down."),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace the film.")] = False,
    jobs: Jobs = None,
    device: OnDevice = None,
    as_json: AsJson = False,
) -> None:
    """Simulate one profile on every ride of a study.

    It is the baseline, unless another is named. The noise is that of the re-evaluation. Prints
    tables of rides and nose-down rates and writes nothing but a film that is asked for. JSON holds
    the rides.

    Example: levelgain ride my_board --candidate balanced --film ride.gif
    """
    if filmed is not None and film is None:
        raise UserInputError("--filmed names the ride of a film; name its file too, with --film")
    if film is not None and not force:
        refuse_existing([film], advice="give --force to replace it, or name another file")
    with loading():
        from objectives import OBJECTIVES
        from optimizer.analysis.nose_down_rates import nose_down_rates, objective_in_words
        from optimizer.analysis.profile_source import selected_profile
        from optimizer.analysis.tables import rides_table
        from optimizer.cli.console import console, print_json, print_table
        from optimizer.cli.output.results import ride_columns
        from optimizer.cli.stages_view import StagesView
        from optimizer.execution.devices import on_device
        from optimizer.execution.hard_rides import with_hard_rides
        from optimizer.interface.rides import compare, ride_of
        from optimizer.interface.studies import load_study
        from optimizer.reports.film.film_file import film_of, refuse_film, write_film
        from plant.description.profile_array import array_to_profile, profile_to_array

    if film is not None:
        refuse_film(film)
    out = console(as_json=as_json)
    with StagesView(out) as stages:
        stages.begin("reading the study")
        study = on_device(load_study(folder), device)
        to_film = None if filmed is None else ride_of(study, filmed)
        values, called, _ = selected_profile(study, candidate, profile)
        study = with_hard_rides(study, n_jobs=jobs, stages=stages)
        stages.begin("riding")
        # One simulation gives both the rides and the scores.
        found = compare(study, {called: array_to_profile(values)}, jobs=jobs)
        rides = rides_table(study, found.rides[0])
        if film is not None:
            to_film = to_film or ride_of(study, rides.nlargest(1, "nose_down_risk")["ride"].item())
            profiles = {called: values, "the baseline": profile_to_array(study.baseline)}
            stages.begin("drawing the film")
            write_film(film_of(profiles, to_film), film, advance=stages.reach)
    table = ride_columns(rides)
    if as_json:
        print_json(table.to_dict(orient="records"))
        return
    print_table(out, table)
    out.print()
    print_table(out, nose_down_rates(found.study, found.hard[0]))
    out.print(objective_in_words(found.study))
    scores = ", ".join(
        f"{name} {value:.4g}" for name, value in zip(OBJECTIVES, found.objectives[0], strict=True)
    )
    out.print(f"\n{called}: {scores}, on the noise of the re-evaluation")
    for failed in found.fails[0]:
        out.print(f"FAILS: {failed}")
    if film is not None and to_film is not None:
        out.print(f"\n{film} shows {to_film.name}.")
