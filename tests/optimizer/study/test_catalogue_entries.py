"""What the catalogue says of itself, and a schema of the study file that knows its names."""

import tomllib

import pytest

from optimizer.base.errors import UserInputError
from optimizer.study.catalogue import STUDIES_FOLDER, entry_names
from optimizer.study.catalogue_entries import KINDS, kind_of, notes, numbers_of_entry, remark
from optimizer.study.json_schema import study_json_schema

SCHEMA = study_json_schema()
STUDIES = sorted(STUDIES_FOLDER.glob("*/study.toml"))


def numbers(kind, name):
    return {number.key: number for number in numbers_of_entry(KINDS[kind], name)}


@pytest.mark.parametrize("kind", KINDS)
def test_every_entry_can_be_shown(kind):
    for name in entry_names(KINDS[kind]):
        assert numbers(kind, name), name
        assert isinstance(remark(KINDS[kind], name), str)


def test_a_number_is_told_with_range_and_source():
    magnets = numbers("motors", "hub_15")["pole_pairs"]
    resistance = numbers("boards", "lender_17")["motor.phase_resistance_ohm"]

    assert (magnets.value, magnets.declared.low, magnets.declared.high) == (15, 1, 100)
    assert magnets.source == "assumed: 30 magnets around the rotor"
    assert (resistance.value, resistance.source) == (0.039, "0.05 * (15/17)^2")
    # What an entry takes over keeps its source.
    assert "30 magnets" in numbers("boards", "lender_17")["motor.pole_pairs"].source


def test_notes_are_of_the_entry_and_of_its_section():
    assert notes(KINDS["motors"], "hub_17") == [
        "The same stator with 15/17 of the turns: resistance and inductance go with turns squared."
    ]
    assert "Engineering Toolbox" in " ".join(notes(KINDS["surfaces"], "grass"))
    assert "Nose, tail, nose" in " ".join(notes(KINDS["courses"], "tail_press_kerb"))
    assert "Nose, tail, nose" not in " ".join(notes(KINDS["courses"], "kerb_up"))


def test_an_unknown_kind_is_refused_with_the_nearest():
    with pytest.raises(UserInputError, match="nearest is 'motors'"):
        kind_of("moter")


def fits(value, schema):
    """Say whether a value has the type, keys and names of a schema: what is needed here of it."""
    if "$ref" in schema:
        return fits(value, SCHEMA["$defs"][schema["$ref"].rpartition("/")[2]])
    if "anyOf" in schema:
        return any(fits(value, one) for one in schema["anyOf"])
    if "enum" in schema or "const" in schema:
        return value in schema.get("enum", [schema.get("const")])
    if schema.get("type") == "array":
        items = schema.get("items", {})
        return isinstance(value, list) and all(fits(item, items) for item in value)
    if schema.get("type") == "number":
        low, high = schema.get("minimum", -1e99), schema.get("maximum", 1e99)
        return isinstance(value, int | float) and low <= value <= high
    return schema.get("type") != "object" or fits_table(value, schema)


def fits_table(value, schema):
    known, others = schema.get("properties", {}), schema.get("additionalProperties", True)
    return isinstance(value, dict) and all(
        fits(item, known[key])
        if key in known
        else others is not False and (others is True or fits(item, others))
        for key, item in value.items()
    )


@pytest.mark.parametrize("path", STUDIES, ids=lambda path: path.parent.name)
def test_every_packaged_study_fits_the_schema(path):
    assert fits(tomllib.loads(path.read_text(encoding="utf-8")), SCHEMA)


@pytest.mark.parametrize(
    "text",
    [
        'board = "lender_51"',
        "board.motor.kv = 3",
        "board.motor.kv_rpm_per_v = 1.5",
        'board.motor.use = "pack_63"',
        'riders.use = ["nobody"]',
        'riders.cook.skill = "steady_81"',
        "search.bounds.rate_filter_hz = [1.0, 100.0]",
        "baseline.stiffness.inner_gain = 3.0",
        "titel = 'x'",
    ],
)
def test_what_a_study_can_not_hold_does_not_fit(text):
    assert not fits(tomllib.loads(text), SCHEMA)


def test_a_key_is_described():
    motor = SCHEMA["$defs"]["Motor"]["properties"]["kv_rpm_per_v"]

    assert motor["description"] == "speed constant, line-to-line peak"
    assert (motor["minimum"], motor["maximum"]) == (3.0, 200.0)
    assert SCHEMA["required"] == ["title", "board", "riders", "courses", "baseline"]
