"""A validation as files: one page to read and print, and the same as JSON for a script."""

import dataclasses
from collections import Counter
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from optimizer.base.atomic_files import write_whole
from optimizer.base.cautions import CAUTIONS
from optimizer.base.json_io import json_text
from optimizer.execution.provenance import model_digest
from optimizer.reports.nose_down_lines import accelerated_line, beside_line, remedy_lines
from optimizer.reports.profile_export import profile_sections
from optimizer.study.course_text import courses_text
from optimizer.study.study import Study
from optimizer.validation.fallen_rides import fallen_courses
from optimizer.validation.validate import Report
from optimizer.validation.verdict import Grade, worst
from plant.description.profile import Profile

_FALLS_HEAD = """\
# Rides of a drawn day in which the nose went down, as courses of a study. Each has the rider, the
# board and the noise of that ride. This adds them to a new study:
# levelgain fork FOLDER NEW_FOLDER --falls THIS_FILE
"""


def verdict_paths(folder: Path, stem: str) -> tuple[Path, Path, Path]:
    """Return where a validation's page, its JSON, and the courses of its nose-downs go."""
    return folder / f"{stem}.html", folder / f"{stem}.json", folder / f"{stem}_falls.toml"


def films_path(folder: Path, stem: str) -> Path:
    """Return where the films of a validation's nose-downs go."""
    return folder / f"{stem}_nose_downs.html"


def validation_facts(
    study: Study,
    report: Report,
    *,
    called: str,
    profile: Profile,
    baseline: Report | None,
) -> dict[str, Any]:
    """Return everything a validation says, as plain values.

    Parameters
    ----------
    study : Study
    report : Report
    called : str
        What to call the profile.
    profile : Profile
    baseline : Report or None
        Of the study's baseline on the same days; None where the profile is the baseline.
    """
    counts = Counter(verdict.grade for verdict in report.verdicts)
    return {
        "called": called,
        "overall": str(worst(report.verdicts)),
        "counts": {str(grade): counts[grade] for grade in Grade},
        "title": study.title,
        "board_name": study.board_name,
        "riders": list(study.riders),
        "profile": profile_sections(profile),
        "verdicts": _verdicts(report),
        "baseline": None
        if baseline is None
        else {
            "overall": str(worst(baseline.verdicts)),
            "verdicts": _verdicts(baseline),
            "line": beside_line(report.day, baseline.day),
            "accelerated": None
            if baseline.accelerated is None
            else {
                **dataclasses.asdict(baseline.accelerated),
                "line": accelerated_line(baseline.accelerated),
            },
        },
        "causes_of_nose_downs": dict(report.day.causes),
        "nose_downs_by_speed": dict(report.day.by_pace),
        "nose_downs_per_1000_km_by_rider": {
            name: {
                "nose_downs": each.n_events,
                "rate": each.rate,
                "low": each.low,
                "high": each.high,
            }
            for name, each in report.day.by_rider.items()
        },
        # Of the riding day's nose-downs, course and lane by which they are drawn again.
        "nose_down_places": [list(place) for place in report.day.nose_downs],
        "other_ends": dict(report.day.other_ends),
        "falls": fallen_courses(study, report.day),
        "remedies": None
        if report.remedies is None
        else {**dataclasses.asdict(report.remedies), "lines": remedy_lines(report.remedies)},
        "accelerated": None
        if report.accelerated is None
        else {
            **dataclasses.asdict(report.accelerated),
            "line": accelerated_line(report.accelerated),
        },
        "cautions": list(CAUTIONS),
        "provenance": {
            "study_digest": study.digest,
            "model_digest": model_digest(),
            "seed": study.seed,
            "device": study.device,
        },
    }


def _verdicts(report: Report) -> list[dict[str, Any]]:
    return [
        {**dataclasses.asdict(verdict), "grade": str(verdict.grade)} for verdict in report.verdicts
    ]


def write_verdict(
    facts: dict[str, Any], paths: tuple[Path, Path, Path], *, films: Path | None = None
) -> None:
    """Write the page, the JSON and the courses of nose-downs, if there are any, each file whole.

    Parameters
    ----------
    facts : dict
        Of `validation_facts`.
    paths : tuple of Path
        Of `verdict_paths`.
    films : Path or None
        The page of its nose-downs beside them, to which the page leads.

    Raises
    ------
    UserInputError
        A file can not be written.
    """
    environment = Environment(
        loader=PackageLoader("optimizer.reports"), autoescape=True, undefined=StrictUndefined
    )
    page, data, courses = paths
    write_whole(
        page,
        environment.get_template("validation.html.jinja").render(facts, films=films and films.name),
    )
    write_whole(data, json_text({**facts, "falls": list(facts["falls"])}))
    if facts["falls"]:
        write_whole(courses, f"{_FALLS_HEAD}\n{courses_text(facts['falls'])}")
    else:
        courses.unlink(missing_ok=True)  # of a validation that this one replaces
