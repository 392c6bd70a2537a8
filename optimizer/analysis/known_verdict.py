"""What a validation in the study's folder says of a candidate, or that there is none."""

import dataclasses
import json
from pathlib import Path
from typing import Any

from optimizer.analysis.candidate import candidate_profile
from optimizer.analysis.results import Results
from optimizer.base.reading import MOST_TABLE_BYTES, read_text
from optimizer.execution.provenance import model_digest
from optimizer.study.paths import VALIDATION_FOLDER
from plant.description.profile_array import PROFILE_NAMES

NONE, PASS, MARGINAL, FAIL = "none", "pass", "marginal", "fail"


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class KnownVerdict:
    """A validation's verdict on a candidate.

    Attributes
    ----------
    overall : str
        "pass", "marginal" or "fail", or "none" without a validation of this very profile, of this
        study and by this model.
    text : str
        The same as a sentence or two, with what did not pass, or what to do.
    path : Path or None
        The file that it is read from.
    """

    overall: str
    text: str
    path: Path | None = None

    @property
    def is_loud(self) -> bool:
        """Whether nobody should ride on the strength of it."""
        return self.overall in (NONE, FAIL)


def verdict_facts(found: KnownVerdict) -> dict[str, str]:
    """Return a verdict as plain values, for files."""
    named = {} if found.path is None else {"file": found.path.name}
    return {"overall": found.overall, "text": found.text, **named}


def known_verdict(results: Results, number: int) -> KnownVerdict:
    """Return what the validations in the study's folder say of a candidate.

    A file that is no validation of this profile says nothing of it.
    """
    folder = results.study.folder / VALIDATION_FOLDER
    row = candidate_profile(results, number).tolist()
    values = dict(zip(PROFILE_NAMES, row, strict=True))
    # A candidate's own file first; any other name may be a file of the user's own.
    paths = sorted(folder.glob("*.json"), key=lambda path: path.stem != f"candidate_{number}")
    outdated: Path | None = None
    for path in paths:
        facts = _facts_of(path)
        if facts is None or not _is_of(facts, values):
            continue
        made_of = facts["provenance"]
        if (made_of["study_digest"], made_of["model_digest"]) == (
            results.study.digest,
            model_digest(),
        ):
            return KnownVerdict(overall=facts["overall"], text=_in_words(facts), path=path)
        outdated = path
    advice = f"Run: levelgain validate {results.study.folder} {number}"
    if outdated is not None:
        return KnownVerdict(
            overall=NONE,
            text=f"NOT VALIDATED: {outdated.name} is of another study or of another version of"
            f" levelgain. {advice}",
        )
    return KnownVerdict(
        overall=NONE,
        text="NOT VALIDATED: this profile was ridden on nothing but what it was tuned on."
        f" {advice}",
    )


def _facts_of(path: Path) -> dict[str, Any] | None:
    """Return what a validation wrote; None where the file is something else."""
    try:
        facts = json.loads(read_text(path, most_bytes=MOST_TABLE_BYTES))
        known = {name: facts[name] for name in ("overall", "profile", "provenance", "verdicts")}
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
    return known if _is_validation(known) else None


def _is_validation(facts: dict[str, Any]) -> bool:
    """Say whether a file holds what a validation writes, in kind; anybody may write such a file."""
    profile, made_of, verdicts = facts["profile"], facts["provenance"], facts["verdicts"]
    return (
        facts["overall"] in (PASS, MARGINAL, FAIL)
        and isinstance(profile, dict)
        and all(isinstance(section, dict) for section in profile.values())
        and isinstance(made_of, dict)
        and {"study_digest", "model_digest"} <= set(made_of)
        and isinstance(verdicts, list)
        and all(
            isinstance(each, dict)
            and all(isinstance(each.get(key), str) for key in ("grade", "item", "found"))
            for each in verdicts
        )
    )


def _is_of(facts: dict[str, Any], values: dict[str, float]) -> bool:
    """Say whether a validation is of a profile with these numbers."""
    sections = facts["profile"]
    numbers = {name: value for section in sections.values() for name, value in section.items()}
    return bool(numbers) and all(values.get(name) == value for name, value in numbers.items())


def _in_words(facts: dict[str, Any]) -> str:
    by_grade = {
        grade: [each for each in facts["verdicts"] if each["grade"] == grade]
        for grade in (FAIL, MARGINAL, PASS)
    }
    if facts["overall"] == PASS:
        return f"Validation passed: all {len(by_grade[PASS])} items."
    words = [
        f"{title}: {'; '.join(each['item'] + ' (' + each['found'] + ')' for each in found)}."
        for title, found in (("Failed", by_grade[FAIL]), ("Marginal", by_grade[MARGINAL]))
        if found
    ]
    head = "VALIDATION FAILED. DO NOT RIDE IT." if by_grade[FAIL] else "Validation is marginal."
    return " ".join([head, *words])
