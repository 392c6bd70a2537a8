"""What a validation found of a candidate stands wherever the candidate is shown or handed over."""

import dataclasses
import json
import tomllib

import pytest

from optimizer.analysis.candidate import candidate_profile
from optimizer.analysis.known_verdict import known_verdict
from optimizer.analysis.results import read_results
from optimizer.execution.provenance import model_digest
from optimizer.reports.first_rides import plan_text
from optimizer.reports.page.details import rides_and_loops
from optimizer.reports.profile_export import content, profile_sections, render
from optimizer.study.load import load_study
from plant.description.profile_array import array_to_profile

NUMBER = 1


@pytest.fixture
def results(finished, tmp_path):
    """Return results whose folder is this test's own, to write validations into."""
    study = load_study(finished)
    found = read_results(study)
    return dataclasses.replace(found, study=dataclasses.replace(found.study, folder=tmp_path))


def validated(results, overall, *, number=NUMBER, of=NUMBER, **provenance):
    """Write what a validation of a candidate's profile found."""
    profile = array_to_profile(candidate_profile(results, of))
    facts = {
        "overall": overall,
        "profile": profile_sections(profile),
        "verdicts": [
            {"item": "Wet leaves in a bend", "grade": overall, "found": "a rider fell"},
            {"item": "Margins", "grade": "pass", "found": "enough"},
        ],
        "provenance": {
            "study_digest": results.study.digest,
            "model_digest": model_digest(),
            **provenance,
        },
    }
    folder = results.study.folder / "validation"
    folder.mkdir(exist_ok=True)
    (folder / f"candidate_{number}.json").write_text(json.dumps(facts))


@pytest.mark.parametrize(
    ("overall", "said"),
    [
        ("pass", "Validation passed: all"),
        ("marginal", "Validation is marginal. Marginal: Wet leaves in a bend (a rider fell)."),
        ("fail", "VALIDATION FAILED. DO NOT RIDE IT. Failed: Wet leaves in a bend"),
        (None, "NOT VALIDATED"),
    ],
)
def test_every_file_and_the_page_tell_the_verdict(results, overall, said):
    if overall:
        validated(results, overall)

    facts = content(results, NUMBER)

    assert facts["validation"]["overall"] == (overall or "none")
    toml, header = render(facts, "toml"), render(facts, "c")
    assert f"# {said}" in toml.splitlines()[0]
    assert said in tomllib.loads(toml)["validation"]["text"]
    assert said in json.loads(render(facts, "json"))["validation"]["text"]
    assert said in header[: header.index("*/")]
    assert said in plan_text(results, NUMBER)
    [on_page] = rides_and_loops(results, [NUMBER])["verdicts"]
    assert said in on_page["text"]


def test_a_verdict_on_another_profile_is_not_taken(results):
    validated(results, "pass", of=NUMBER + 1)

    assert known_verdict(results, NUMBER).overall == "none"
    # A file of any name is of the candidate whose numbers it has.
    assert known_verdict(results, NUMBER + 1).overall == "pass"


@pytest.mark.parametrize("which", ["study_digest", "model_digest"])
def test_a_verdict_of_another_study_or_model_is_outdated(results, which):
    validated(results, "pass", **{which: "0" * 64})

    found = known_verdict(results, NUMBER)

    assert found.overall == "none"
    assert "is of another study or of another version" in found.text


def test_a_file_that_is_no_validation_is_passed_over(results):
    folder = results.study.folder / "validation"
    folder.mkdir()
    (folder / f"candidate_{NUMBER}.json").write_text("[1, 2")
    (folder / "other.json").write_text('{"overall": "pass"}')

    assert known_verdict(results, NUMBER).overall == "none"
