"""A selected profile as files for the bench: TOML, JSON, a C header, or the user's own template."""

import dataclasses
from pathlib import Path
from typing import Any

import tomli_w
from jinja2 import Environment, PackageLoader, StrictUndefined, TemplateError
from jinja2.sandbox import SandboxedEnvironment

from objectives import OBJECTIVES
from optimizer.analysis.candidate import (
    bound_marks,
    candidate_profile,
    failures_of,
    study_as_scored,
)
from optimizer.analysis.candidate_numbers import candidate_numbers
from optimizer.analysis.constraint_facts import facts_of_candidates
from optimizer.analysis.handling_tables import handling_tables
from optimizer.analysis.nose_down_rates import nose_down_rates
from optimizer.analysis.results import Results
from optimizer.base.atomic_files import refuse_existing, write_whole
from optimizer.base.cautions import CAUTIONS
from optimizer.base.errors import UserInputError
from optimizer.base.json_io import json_text
from optimizer.base.toml_io import read_text
from optimizer.base.versions import by_library
from optimizer.execution.provenance import model_digest
from optimizer.reports.first_rides import plan_text
from plant.description.profile import SINGLE_LOOP, Profile
from plant.description.profile_array import array_to_profile

FORMATS = ("toml", "json", "c")
# What a template can do wrong: its syntax, its names, and the arithmetic in it.
_TEMPLATE_FAULTS = (
    TemplateError,
    ArithmeticError,
    AttributeError,
    LookupError,
    TypeError,
    ValueError,
)
_SUFFIX = {"toml": ".toml", "json": ".json", "c": ".h"}


def content(results: Results, number: int) -> dict[str, Any]:
    """Return everything an export says, as plain values with units in the names."""
    study = results.study
    numbers = candidate_numbers(results, number)
    profile = array_to_profile(candidate_profile(results, number))
    return {
        "cautions": list(CAUTIONS),
        "profile": profile_sections(profile),
        "candidate": {
            "number": number,
            "picks": list(results.pick_names(number)),
            "feasible": bool(results.feasible[number]),
            "failed_constraints": failures_of(results, number),
            "parameters_at_bounds": bound_marks(results, number),
            "weighted_cost_ratio": numbers.weighted_cost,
            "ridden_on": numbers.noise,
        },
        "objectives": _named(OBJECTIVES, numbers.objectives),
        "nose_down_rates": nose_down_rates(
            study_as_scored(results, number), results.hard[number]
        ).to_dict(orient="records"),
        "handling": handling_tables(results, [number])[0].to_dict(orient="records"),
        "baseline_objectives": _named(OBJECTIVES, numbers.baseline),
        "compared_with_objectives": _named(OBJECTIVES, numbers.compared_with),
        "constraints": [
            {**dataclasses.asdict(fact), "met": fact.met}
            for fact in facts_of_candidates(results, [number])[0]
        ],
        "provenance": {
            "title": study.title,
            "study_digest": study.digest,
            "model_digest": model_digest(),
            "seed": study.seed,
            "weights": dict(study.weights),
            "candidates": len(results),
            "versions": by_library(results.frozen),
        },
        "board_name": study.board_name,
        "board": dataclasses.asdict(study.board),
        "riders": {name: dataclasses.asdict(rider) for name, rider in study.riders.items()},
        "courses": list(study.courses),
    }


def render(facts: dict[str, Any], format_name: str) -> str:
    """Return an export's text in one of `FORMATS`."""
    if format_name == "json":
        return json_text(facts)
    return _toml(facts) if format_name == "toml" else _c_header(facts)


def render_template(facts: dict[str, Any], template: Path) -> str:
    """Return an export's text by the user's own Jinja2 template, run in a sandbox.

    Raises
    ------
    UserInputError
        The template can not be read, or uses a name that an export does not have.
    """
    environment = SandboxedEnvironment(
        undefined=StrictUndefined, keep_trailing_newline=True, autoescape=False
    )
    text = read_text(template)
    try:
        return environment.from_string(text).render(facts)
    except _TEMPLATE_FAULTS as error:
        line = getattr(error, "lineno", None)
        place = f"{template}:{line}" if line else f"{template}"
        raise UserInputError(
            f"{place}: {error}; the names allowed are {', '.join(sorted(facts))}"
        ) from None


def export(
    results: Results,
    number: int,
    *,
    formats: tuple[str, ...],
    template: Path | None,
    folder: Path,
    force: bool,
) -> list[Path]:
    """Write a candidate's profile in each format, and a plan of the first rides, each file whole.

    Raises
    ------
    UserInputError
        A file is there already and `force` is not given, or can not be written.
    """
    facts = content(results, number)
    stem = f"candidate_{number}"
    texts = {folder / f"{stem}{_SUFFIX[name]}": render(facts, name) for name in formats}
    if template is not None:
        suffixes = Path(template.name.removesuffix(".jinja")).suffix or ".txt"
        texts[folder / f"{stem}_{template.name.split('.')[0]}{suffixes}"] = render_template(
            facts, template
        )
    texts[folder / f"{stem}_first_rides.md"] = plan_text(results, number)
    if not force:
        refuse_existing(texts, advice="replace it by force, or name another folder")
    for path, text in texts.items():
        write_whole(path, text)
    return list(texts)


def profile_sections(profile: Profile) -> dict[str, Any]:
    """Return a profile's sections; a single loop has no acceleration loop to write down."""
    sections = dataclasses.asdict(profile)
    if profile.acceleration_loop == SINGLE_LOOP:
        del sections["acceleration_loop"]
    return sections


def _named(names: tuple[str, ...], values: Any) -> dict[str, float]:
    return {name: float(value) for name, value in zip(names, values, strict=True)}


def _toml(facts: dict[str, Any]) -> str:
    """Return TOML that can be read back as a profile: its numbers are the table `profile`."""
    comments = [f"# {caution}" for caution in facts["cautions"]]
    return "\n".join([*comments, "", tomli_w.dumps(facts)])


def _c_header(facts: dict[str, Any]) -> str:
    """Return a C header: one constant for each number of the profile, cautions in its comment."""
    environment = Environment(
        loader=PackageLoader("optimizer.reports"),
        undefined=StrictUndefined,
        trim_blocks=True,
        keep_trailing_newline=True,
        autoescape=False,  # noqa: S701  # C, not HTML; `comment` escapes what a user wrote
    )
    environment.filters |= {"comment": _comment, "literal": lambda value: repr(float(value))}
    return environment.get_template("profile.h.jinja").render(facts)


def _comment(text: str) -> str:
    """Return a text that can not leave a C comment: one line, without its marks."""
    one_line = " ".join(text.replace("\\", "/").split())
    return one_line.replace("*/", "* /").replace("/*", "/ *")
