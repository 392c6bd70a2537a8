"""The commands that turn a ride log into a plant: `levelgain log ...`."""

from pathlib import Path

import typer

from optimizer.base.atomic_files import copy_whole, refuse_existing, write_whole
from optimizer.base.errors import UserInputError
from optimizer.base.json_io import json_text
from optimizer.cli.console import console, print_cautions
from optimizer.cli.stages_view import StagesView
from optimizer.ridelog.data.checks import Checked, check_log
from optimizer.ridelog.data.findings import Weight
from optimizer.ridelog.data.mapping import load_mapping
from optimizer.ridelog.data.mapping_proposal import propose
from optimizer.ridelog.data.resampling import load_log
from optimizer.ridelog.fit_figures import draw_intervals, draw_residuals
from optimizer.ridelog.fits.all_fits import Fits, fit_all, told_fits
from optimizer.ridelog.fits.road import fit_road
from optimizer.ridelog.replay import compare, replayed, speed_lag_s, told_comparison
from optimizer.ridelog.replay_figures import draw_overlay
from optimizer.ridelog.ridden_segment import ridden_stretch
from optimizer.ridelog.study_from_log import fitted_names, road_fit, write_study
from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.load import load_study

FIT_FILE = "fit.json"
COMPARED_FILE = "compared.json"


def mapping_path(log: Path, mapping: Path | None) -> Path:
    """Return where the mapping of a log stands."""
    return log.with_name(f"{log.stem}.mapping.toml") if mapping is None else mapping


def write_example_log(*, folder: Path) -> None:
    """Write the packaged ride and its mapping."""
    source = STUDIES_FOLDER / "ridden"
    files = sorted(source.iterdir())
    copy_whole(files, folder)
    log = next(path for path in files if path.suffix == ".csv")
    console().print(
        f"{folder / log.name} and its mapping written: an invented ride."
        f" Next: levelgain log fit {folder / log.name}"
    )


def propose_mapping(
    *,
    log: Path,
    mapping: Path | None,
) -> None:
    """Write a mapping of the log's columns for you to check and confirm."""
    path = mapping_path(log, mapping)
    refuse_existing([path], advice="edit it, or name another file with --mapping")
    text = propose(log)
    write_whole(path, text)
    out = console()
    out.print(text)
    out.print(f"{path} written: check every line, then write confirmed = true in it.")


def check_ride_log(
    *,
    log: Path,
    mapping: Path | None,
    as_json: bool,
) -> None:
    """Read the whole log and say what is wrong with it, and where."""
    with StagesView(console(as_json=as_json)) as stages:
        stages.begin("reading the log")
        checked = check_log(log, load_mapping(mapping_path(log, mapping)))
    if as_json:
        typer.echo(json_text(_told(checked)), nl=False)
    else:
        print_checked(checked)


def fit_ride_log(
    *,
    log: Path,
    mapping: Path | None,
    to: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Fit board and controller to the log, with 95 % intervals, and say what it can not tell."""
    folder = log.with_name(f"{log.stem}.fit") if to is None else to
    if not force:
        refuse_existing([folder / FIT_FILE], advice="add --force to replace it, or name --to")
    out = console(as_json=as_json)
    with StagesView(out) as stages:
        stages.begin("reading the log")
        known = load_mapping(mapping_path(log, mapping))
        ride, checked = load_log(log, known)
        fits = fit_all(ride, known, stages=stages)
    if all(isinstance(fit, str) for fit in fits.values()):
        reasons = "; ".join(f"{subject} {reason}" for subject, reason in fits.items())
        raise UserInputError(f"{log}: nothing can be fitted: {reasons}")
    told = {"log": _told(checked), "fits": told_fits(fits)}
    write_whole(folder / FIT_FILE, json_text(told))
    with StagesView(out) as stages:
        stages.begin("drawing")
        draw_residuals(fits, folder / "residuals")
        draw_intervals(fits, folder / "intervals")
    if as_json:
        typer.echo(json_text(told), nl=False)
        return
    print_checked(checked)
    _print_fits(fits)
    out.print(f"\n{folder} holds {FIT_FILE} and the figures.")
    print_cautions(out)


def use_ride_log(
    *,
    log: Path,
    folder: Path,
    mapping: Path | None,
) -> None:
    """Make a study of the fitted board, the ridden route and the profile that was ridden."""
    out = console()
    with StagesView(out) as stages:
        stages.begin("reading the log")
        known = load_mapping(mapping_path(log, mapping))
        ride, _ = load_log(log, known)
        fits = fit_all(ride, known, stages=stages)
        stages.begin("writing the study")
        stretch = ridden_stretch(ride, known, road_fit(fits))
        path = write_study(folder, fits, stretch, known, log=log)
    out.print(f"{path} written; from the log: {', '.join(fitted_names(fits))}.")
    out.print(f"Everything else is the catalogue's. Check it: levelgain check {folder}")
    print_cautions(out)


def compare_ride_log(
    *,
    log: Path,
    folder: Path,
    mapping: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Ride the logged speeds and route in the plant, and lay prediction over measurement."""
    if not force:
        refuse_existing([folder / COMPARED_FILE], advice="add --force to replace it")
    out = console(as_json=as_json)
    with StagesView(out) as stages:
        stages.begin("reading the log")
        known = load_mapping(mapping_path(log, mapping))
        study = load_study(folder)
        ride, _ = load_log(log, known)
        fit = fit_road(ride, known.board, known.rider_mass_kg)
        stages.begin("riding")
        ridden = replayed(study)
        stages.begin("laying prediction over measurement")
        stretch = ridden_stretch(ride, known, fit)
        lag_s = speed_lag_s(ride, stretch, ridden)
        compared = compare(ride, stretch, ridden, lag_s=lag_s)
    told = told_comparison(compared, ridden, lag_s=lag_s)
    write_whole(folder / COMPARED_FILE, json_text(told))
    draw_overlay(compared, folder / "compared")
    if as_json:
        typer.echo(json_text(told), nl=False)
        return
    out.print(
        f"The predicted ride comes {lag_s:.1f} s after the log, which holds the speed that was"
        " reached and not the one wanted; it is laid over the log without that."
    )
    for one in compared:
        out.print(
            f"{one.name:10s} rms difference {one.rms:.3g} {one.unit}, mean {one.offset:+.3g},"
            f" measured spread {one.spread:.3g}, correlation {one.correlation:.2f}",
        )
    for text in told["does_not_fit"]:
        out.print(f"does not fit: {text}")
    out.print(f"{folder / 'compared.png'} and {COMPARED_FILE} written.")
    print_cautions(out)


def _print_fits(fits: Fits) -> None:
    out = console()
    for subject, fit in fits.items():
        out.print(f"\n{subject}", style="bold")
        if isinstance(fit, str):
            out.print(f"  no fit: {fit}")
            continue
        for name, value, low, high in zip(fit.names, fit.value, fit.low, fit.high, strict=True):
            bound_up = fit.most_bound_up(name)
            also = f"  {bound_up[1]:+.2f} with {bound_up[0]}" if bound_up else ""
            out.print(f"  {name:32s} {value:10.5g}  ({low:.5g} to {high:.5g}){also}")
        for text in fit.cannot:
            out.print(f"  can not tell: {text}")


def print_checked(checked: Checked) -> None:
    """Print what a log is and what was found in it."""
    out = console()
    out.print(
        f"{checked.n_rows} rows, {checked.duration_s:.1f} s at {checked.rate_hz:.4g} Hz;"
        f" {len(checked.findings)} finding(s)."
    )
    for finding in checked.findings:
        style = "bold red" if finding.weight is Weight.WARNING else "yellow"
        out.print(f"{finding.weight:8s}", style=style, end=" ")
        out.print(str(finding))


def _told(checked: Checked) -> dict[str, object]:
    return {
        "rows": checked.n_rows,
        "duration_s": checked.duration_s,
        "rate_hz": checked.rate_hz,
        "findings": [
            {
                "weight": str(finding.weight),
                "channel": finding.subject,
                "line": finding.line or None,
                "time_s": finding.time_s,
                "text": finding.text,
            }
            for finding in checked.findings
        ],
    }
