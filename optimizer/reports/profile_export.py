"""A selected profile as files for the bench: TOML, JSON, a C header, or the user's own template."""

import dataclasses
import re
from pathlib import Path
from typing import Any

import tomli_w
from jinja2 import Environment, PackageLoader, StrictUndefined

from objectives import OBJECTIVES
from optimizer.analysis.candidate import bound_marks, candidate_profile, failures_of
from optimizer.analysis.candidate_numbers import candidate_numbers
from optimizer.analysis.columns import records
from optimizer.analysis.constraint_facts import facts_of_candidates
from optimizer.analysis.handling_tables import handling_tables
from optimizer.analysis.known_verdict import known_verdict, verdict_facts
from optimizer.analysis.nose_down_rates import rates_of_candidates
from optimizer.analysis.results import Results
from optimizer.base.atomic_files import refuse_existing, write_all
from optimizer.base.cautions import CAUTIONS
from optimizer.base.errors import UserInputError
from optimizer.base.json_io import json_text
from optimizer.base.printable import one_line
from optimizer.base.versions import by_library
from optimizer.execution.provenance import model_digest
from optimizer.reports.first_rides import plan_text
from optimizer.reports.user_template import render_template
from plant.description.profile import SINGLE_LOOP, Profile
from plant.description.profile_array import array_to_profile

FORMATS = ("toml", "json", "c")
_LONGEST_IN_C = 200  # characters of a text in a header's comment
_SUFFIX = {"toml": ".toml", "json": ".json", "c": ".h"}


def content(results: Results, number: int) -> dict[str, Any]:
    """Return everything an export says, as plain values with units in the names."""
    study = results.study
    numbers = candidate_numbers(results, number)
    profile = array_to_profile(candidate_profile(results, number))
    return {
        "cautions": list(CAUTIONS),
        "validation": verdict_facts(known_verdict(results, number)),
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
        "nose_down_rates": records(rates_of_candidates(results, [number])[0]),
        "handling": records(handling_tables(results, [number])[0]),
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
            **(
                {}
                if study.wanted_feel is None
                else {"wanted_feel": study.wanted_feel, "feel_weight": study.feel_weight}
            ),
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


def export(
    results: Results,
    number: int,
    *,
    formats: tuple[str, ...],
    template: Path | None,
    folder: Path,
    force: bool,
) -> list[Path]:
    """Write a candidate's profile in each format, and a plan of the first rides: all or none.

    Raises
    ------
    UserInputError
        A file is there already and `force` is not given, or can not be written; the template has a
        fault, or its file would have the name of another.
    """
    facts = content(results, number)
    stem = f"candidate_{number}"
    texts = {folder / f"{stem}{_SUFFIX[name]}": render(facts, name) for name in formats}
    texts[folder / f"{stem}_first_rides.md"] = plan_text(results, number)
    if template is not None:
        path = folder / f"{stem}_{_named_by(template)}"
        if path in texts:
            raise UserInputError(
                f"{template}: its file would be {path.name}, which is another of this export;"
                " rename the template"
            )
        texts[path] = render_template(facts, template)
    if not force:
        refuse_existing(texts, advice="replace it by force, or name another folder")
    write_all(texts)
    return list(texts)


def _named_by(template: Path) -> str:
    """Return the end of a file's name that a template asks for by its own name."""
    suffix = Path(template.name.removesuffix(".jinja")).suffix or ".txt"
    return f"{template.name.split('.')[0]}{suffix}"


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
    comments = [f"# {line}" for line in (facts["validation"]["text"], *facts["cautions"])]
    return "\n".join([*comments, "", tomli_w.dumps(facts)])


def _c_header(facts: dict[str, Any]) -> str:
    """Return a C header: one constant for each number of the profile, cautions in its comment."""
    environment = Environment(
        loader=PackageLoader("optimizer.reports"),
        undefined=StrictUndefined,
        trim_blocks=True,
        keep_trailing_newline=True,
        autoescape=False,  # noqa: S701  # C, not HTML: `finalize` sees every text that is put in
        finalize=_in_c,
    )
    environment.filters["literal"] = lambda value: repr(float(value))
    return environment.get_template("profile.h.jinja").render(facts)


def _in_c(value: Any) -> Any:
    """Return a text that can leave neither its line nor a C comment, or a number as it is.

    Backslashes and trigraphs, of which `??/` is a backslash, join lines; a slash beside a star
    begins and ends comments.
    """
    if not isinstance(value, str):
        return value
    text = one_line(value).replace("\\", "/")[:_LONGEST_IN_C]
    return re.sub(r"\?(?=\?)|\*(?=/)|/(?=\*)", r"\g<0> ", text)
