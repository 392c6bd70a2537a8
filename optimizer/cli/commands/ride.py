"""The command that simulates one profile on the rides of a study, or on others."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.base.atomic_files import refuse_existing
from optimizer.base.errors import UserInputError
from optimizer.base.pick_names import BASELINE_NAME
from optimizer.cli.loading import loading
from optimizer.cli.options import AnyProfile, AsJson, Folder, Jobs, OnDevice, named


def ride(
    folder: Folder,
    which: AnyProfile = BASELINE_NAME,
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
    what_if: Annotated[
        list[str] | None,
        typer.Option("--if", metavar="NAME=NUMBER", help="A number to change; may be repeated."),
    ] = None,
    courses: Annotated[
        Path | None,
        typer.Option(
            parser=named, metavar="FILE", help="Ride the courses of a file, tables [courses.NAME]."
        ),
    ] = None,
    jobs: Jobs = None,
    device: OnDevice = None,
    as_json: AsJson = False,
) -> None:
    """Simulate one profile on every ride of a study.

    It is the baseline if none is named. --if asks for a plain road (speed_kmh, grade_percent) or
    other numbers (charge_ratio, kv_rpm_per_v, mass_kg ...).

    Example: levelgain ride my_board balanced --if speed_kmh=30
    """
    if filmed is not None and film is None:
        raise UserInputError("--filmed names the ride of a film; name its file too, with --film")
    if film is not None and not force:
        refuse_existing([film], advice="give --force to replace it, or name another file")
    with loading():
        from optimizer.analysis.profile_source import named_profile
        from optimizer.analysis.tables import rides_table
        from optimizer.analysis.what_if import numbers_asked, rides_of_profile, what_if_study
        from optimizer.cli.console import console, print_json
        from optimizer.cli.output.ridden import hardest, print_ridden, ridden_facts
        from optimizer.cli.stages_view import StagesView
        from optimizer.execution.devices import on_device
        from optimizer.execution.hard_rides import with_hard_rides
        from optimizer.interface.rides import compare, ride_named, ride_of
        from optimizer.interface.studies import load_study
        from optimizer.interface.threads import n_threads
        from optimizer.reports.film.film_file import film_of, refuse_film, write_film
        from plant.description.profile_array import array_to_profile, profile_to_array

    if film is not None:
        refuse_film(film)
    numbers = numbers_asked(what_if or ())
    asked = numbers or courses
    out = console(as_json=as_json)
    with StagesView(out) as stages:
        stages.begin("reading the study")
        study = on_device(load_study(folder), device)
        values, source = named_profile(study, which)
        called = "the baseline" if which == BASELINE_NAME else str(source)
        found = None
        find_ride = ride_named if asked else ride_of
        study, changes = what_if_study(study, numbers, courses) if asked else (study, [])
        to_film = None if filmed is None else find_ride(study, filmed)
        if asked:
            rides = rides_of_profile(study, values, n_jobs=n_threads(jobs))
        else:
            study = with_hard_rides(study, n_jobs=jobs, stages=stages)
            stages.begin("riding")
            # One simulation gives both the rides and the scores.
            found = compare(study, {called: array_to_profile(values)}, jobs=jobs)
            rides = rides_table(study, found.rides[0])
        if film is not None:
            to_film = to_film or find_ride(study, hardest(rides))
            profiles = {called: values, "the baseline": profile_to_array(study.baseline)}
            stages.begin("drawing the film")
            write_film(film_of(profiles, to_film), film, advance=stages.reach)
    if as_json:
        print_json(ridden_facts(rides, changes=changes if asked else None))
        return
    print_ridden(out, rides, called=called, found=found, changes=changes)
    if film is not None and to_film is not None:
        out.print(f"\n{film} shows {to_film.name}.")
