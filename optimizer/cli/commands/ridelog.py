"""Commands that turn a ride log into a plant: `levelgain log ...`."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.base.atomic_files import copy_whole, refuse_existing, write_whole
from optimizer.base.errors import LogError, UserInputError
from optimizer.cli.loading import loading
from optimizer.cli.options import AsJson, Force, NewFolder, named
from optimizer.study.paths import FIT_FILE, fit_folder, mapping_beside

COMPARED_FILE = "compared.json"

Log = Annotated[
    Path,
    typer.Argument(
        parser=named, metavar="LOG", help="The ride log: CSV or Parquet.", show_default=False
    ),
]
MappingFile = Annotated[
    Path | None,
    typer.Option(
        "--mapping",
        parser=named,
        metavar="FILE",
        help="Default: the log's name with .mapping.toml.",
    ),
]


def write_example_log(
    folder: NewFolder,
) -> None:
    """Write an invented log to try the others on.

    Its mapping is written beside it.

    Example: levelgain log example tried
    """
    with loading():
        from optimizer.cli.console import console
        from optimizer.study.catalogue import STUDIES_FOLDER

    files = sorted((STUDIES_FOLDER / "ridden").iterdir())
    copy_whole(files, folder)
    log = next(path for path in files if path.suffix == ".csv")
    console().print(
        f"{folder / log.name} and its mapping written: an invented ride."
        f" Next: levelgain log fit {folder / log.name}"
    )


def propose_mapping(log: Log, mapping: MappingFile = None) -> None:
    """Propose which column is what, for you to confirm.

    Check the mapping, then set `confirmed = true` in it.

    Example: levelgain log propose ride.csv
    """
    path = mapping_beside(log) if mapping is None else mapping
    refuse_existing([path], advice="edit it, or name another file with --mapping")
    with loading():
        from optimizer.cli.console import console
        from optimizer.study.log_data.mapping_proposal import propose

    text = propose(log)
    write_whole(path, text)
    out = console()
    out.print(text)
    out.print(f"{path} written: check every line, then write confirmed = true in it.")


def check_ride_log(log: Log, mapping: MappingFile = None, as_json: AsJson = False) -> None:
    """Say what is wrong with a log, and where.

    Example: levelgain log check ride.csv
    """
    with loading():
        from optimizer.cli.console import console, print_json
        from optimizer.cli.output.ridelog import check_facts, print_checked
        from optimizer.cli.stages_view import StagesView
        from optimizer.study.log_data.checks import check_log
        from optimizer.study.log_data.mapping import load_mapping

    out = console(as_json=as_json)
    with StagesView(out) as stages:
        stages.begin("reading the log")
        named = mapping_beside(log) if mapping is None else mapping
        checked = check_log(log, load_mapping(named))
    if as_json:
        print_json(check_facts(checked))
    else:
        print_checked(out, checked)


def fit_ride_log(
    log: Log,
    mapping: MappingFile = None,
    to: Annotated[
        Path | None,
        typer.Option(parser=named, metavar="FOLDER", help="Default: the log's name with .fit."),
    ] = None,
    force: Force = False,
    as_json: AsJson = False,
) -> None:
    """Fit board and controller, with intervals.

    The intervals are of 95 %. What the log does not determine is named.

    Example: levelgain log fit ride.csv
    """
    folder = fit_folder(log) if to is None else to
    if not force:
        refuse_existing([folder / FIT_FILE], advice="add --force to replace it, or name --to")
    with loading():
        from optimizer.base.json_io import json_text
        from optimizer.cli.console import console, print_cautions, print_json
        from optimizer.cli.output.ridelog import (
            check_facts,
            print_checked,
            print_fits,
            print_next_ride,
        )
        from optimizer.cli.stages_view import StagesView
        from optimizer.interface.logs import fit_log, read_log
        from optimizer.ridelog.figures import draw_intervals, draw_residuals
        from optimizer.ridelog.fit_file import fit_facts, made_of
        from optimizer.ridelog.next_ride import proposal_facts, proposals

    out = console(as_json=as_json)
    with StagesView(out) as stages:
        stages.begin("reading the log")
        logged = read_log(log, mapping=mapping)
        fits = fit_log(logged, on_progress=stages.show)
    if all(isinstance(fit, str) for fit in fits.values()):
        reasons = "; ".join(f"{subject} {reason}" for subject, reason in fits.items())
        raise LogError(f"{log}: nothing can be fitted: {reasons}")
    next_rides = proposals(fits, logged.log, logged.mapping)
    facts = {
        **fit_facts(fits, made_of(log, logged.mapping), log=check_facts(logged.checked)),
        "next_rides": proposal_facts(next_rides),
    }
    write_whole(folder / FIT_FILE, json_text(facts))
    with StagesView(out) as stages:
        stages.begin("drawing")
        draw_residuals(fits, folder / "residuals")
        draw_intervals(fits, folder / "intervals")
    if as_json:
        print_json(facts)
        return
    print_checked(out, logged.checked)
    print_fits(out, fits)
    print_next_ride(out, next_rides)
    out.print(f"\n{folder} holds {FIT_FILE} and the figures.")
    print_cautions(out)


def use_ride_log(
    log: Log,
    folder: Annotated[
        Path | None,
        typer.Argument(
            parser=named, metavar="NEW", help="Folder of the new study.", show_default=False
        ),
    ] = None,
    mapping: MappingFile = None,
    into: Annotated[
        Path | None,
        typer.Option(parser=named, metavar="STUDY", help="Put it into this study."),
    ] = None,
    fit: Annotated[
        Path | None,
        typer.Option(parser=named, metavar="FOLDER", help="Default: the log's name with .fit."),
    ] = None,
) -> None:
    """Make a study of what was fitted, or change one.

    A new one holds the fitted board, the route of the log and the profile that was ridden. --into
    moves board, tolerances and baseline of a study; of a searched one it makes a fork NEW. The fit
    of `levelgain log fit` is taken if it is of this log.

    Example: levelgain log use ride.csv my_board
    """
    if folder is None and into is None:
        raise UserInputError("log use: name a folder NEW for the study, or one with --into")
    with loading():
        from optimizer.cli.console import console, print_cautions
        from optimizer.cli.output.log_use import print_moved
        from optimizer.cli.output.ridelog import print_next_ride, print_not_taken
        from optimizer.cli.stages_view import StagesView
        from optimizer.interface.logs import (
            kept_or_new_fits,
            log_into_study,
            read_log,
            study_for_log,
            study_from_log,
        )
        from optimizer.ridelog.next_ride import proposals
        from optimizer.ridelog.study_from_log import ended_at_bound, fitted_names
        from optimizer.study.paths import ROUTE_FILE, STUDY_FILE

    # What can not be written is said before the log is fitted, which takes a while.
    if into is not None:
        study_for_log(log, into, folder)
    elif folder is not None:
        refuse_existing([folder / STUDY_FILE, folder / ROUTE_FILE], advice="name a new folder")
    out = console()
    with StagesView(out) as stages:
        stages.begin("reading the log")
        logged = read_log(log, mapping=mapping)
        fits = kept_or_new_fits(logged, fit, notice=out.print, on_progress=stages.show)
        stages.begin("writing the study")
        if into is not None:
            before, made = log_into_study(logged, fits, into, folder)
        elif folder is not None:
            before, made = None, study_from_log(logged, fits, folder)
    if before is None:
        names = ", ".join(fitted_names(fits))
        out.print(f"{made.folder / STUDY_FILE} written; from the log: {names}.")
    else:
        print_moved(out, before, made)
    if bound := ended_at_bound(fits):
        print_not_taken(out, bound)
    rest = "the catalogue's" if before is None else "as it was"
    out.print(f"Everything else is {rest}. Check it: levelgain check {made.folder}")
    print_next_ride(out, proposals(fits, logged.log, logged.mapping))
    print_cautions(out)


def compare_ride_log(
    log: Log,
    folder: Annotated[
        Path,
        typer.Argument(
            parser=named,
            metavar="FOLDER",
            help="Study made with `levelgain log use`.",
            show_default=False,
        ),
    ],
    mapping: MappingFile = None,
    force: Force = False,
    as_json: AsJson = False,
) -> None:
    """Compare the predicted ride with the log.

    The logged speeds and route are simulated on the fitted board, and both are drawn over time.

    Example: levelgain log compare ride.csv my_board
    """
    if not force:
        refuse_existing([folder / COMPARED_FILE], advice="add --force to replace it")
    with loading():
        from optimizer.base.json_io import json_text
        from optimizer.cli.console import console, print_cautions, print_json
        from optimizer.cli.output.ridelog import print_compared
        from optimizer.cli.stages_view import StagesView
        from optimizer.interface.logs import read_log
        from optimizer.interface.studies import load_study
        from optimizer.ridelog.figures import draw_overlay
        from optimizer.ridelog.fits.road import fit_road
        from optimizer.ridelog.replay import compare, comparison_facts, replayed, speed_lag_s
        from optimizer.ridelog.ridden_segment import ridden_segment

    out = console(as_json=as_json)
    with StagesView(out) as stages:
        stages.begin("reading the log")
        logged = read_log(log, mapping=mapping)
        study = load_study(folder)
        ride, known = logged.log, logged.mapping
        fit = fit_road(ride, known.board, known.rider_mass_kg)
        stages.begin("riding")
        ridden = replayed(study)
        stages.begin("comparing predicted with measured")
        segment = ridden_segment(ride, known, fit)
        lag_s = speed_lag_s(ride, segment, ridden)
        compared = compare(ride, segment, ridden, lag_s=lag_s)
    facts = comparison_facts(compared, ridden, lag_s=lag_s)
    write_whole(folder / COMPARED_FILE, json_text(facts))
    draw_overlay(compared, folder / "compared")
    if as_json:
        print_json(facts)
        return
    print_compared(out, compared, lag_s=lag_s, does_not_fit=facts["does_not_fit"])
    out.print(f"{folder / 'compared.png'} and {COMPARED_FILE} written.")
    print_cautions(out)
