"""A JSON schema of study.toml as a person writes it, for editors that complete and check it.

It comes from the models by which a study is read. There every name of the catalogue is replaced by
its entry; here a name may stand for a table, and a table with `use` need not give all keys.
"""

from collections.abc import Iterator
from typing import Any

from pydantic.json_schema import GenerateJsonSchema
from pydantic_core.core_schema import WithDefaultSchema

from optimizer.study.catalogue import (
    BALANCE_VARIANT,
    BOARD,
    COURSE,
    PROFILE,
    RIDER,
    Kind,
    entry_names,
)
from optimizer.study.catalogue_entries import KINDS
from optimizer.study.schema import StudyTable
from plant.description.profile import Profile
from plant.description.quantity import declared_numbers

_DIALECT = "https://json-schema.org/draft/2020-12/schema"
_REQUIRED = ["title", "board", "riders", "courses", "baseline"]
# Definition of the models -> what of the catalogue may stand for such a table.
_NAMED = {
    "Board": BOARD,
    "Motor": BOARD.parts["motor"],
    "Drive": BOARD.parts["drive"],
    "Battery": BOARD.parts["battery"],
    "Wheel": BOARD.parts["wheel"],
    "Frame": BOARD.parts["frame"],
    "Sensors": BOARD.parts["sensors"],
    "Rider": RIDER,
    "Skill": RIDER.parts["skill"],
    "CourseTable": COURSE,
    "Surface": KINDS["surfaces"],
    "Profile": PROFILE,
}
_GROUPS = {"riders": RIDER, "balance_variants": BALANCE_VARIANT, "courses": COURSE}


class _WithoutDefaults(GenerateJsonSchema):
    """Leaves defaults out: the catalogue fills them in, and infinite ends are no JSON."""

    def default_schema(self, schema: WithDefaultSchema) -> dict[str, Any]:
        return self.generate_inner(schema["schema"])


def study_json_schema() -> dict[str, Any]:
    """Return the schema, in the dialect of 2020-12."""
    schema: dict[str, Any] = StudyTable.model_json_schema(schema_generator=_WithoutDefaults)
    for table in (schema, *schema["$defs"].values()):
        table.pop("required", None)
    for name, kind in _NAMED.items():
        schema["$defs"][name]["properties"]["use"] = _one_of(kind)
    for table in list(_tables(schema)):
        _allow_names(table)
    for name, kind in _GROUPS.items():
        names = [_one_of(kind)] if name == "riders" else [_one_of(kind), {"const": "all"}]
        listed = {"type": "array", "items": _one_of(kind)}
        group = schema["properties"][name]
        group["properties"] = {"use": {"anyOf": [listed, *names[1:]]}}
    _bound(schema)
    return {"$schema": _DIALECT, **schema, "required": _REQUIRED}


def _one_of(kind: Kind) -> dict[str, Any]:
    return {
        "enum": list(entry_names(kind)),
        "description": f"a name of the catalogue's {kind.shelf}",
    }


def _tables(value: Any) -> Iterator[dict[str, Any]]:
    """Yield every object of a schema."""
    if isinstance(value, dict):
        yield value
        for inner in value.values():
            yield from _tables(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _tables(inner)


def _allow_names(table: dict[str, Any]) -> None:
    """Let a name of the catalogue stand for a table that is referred to."""
    for key in ("properties", "items", "additionalProperties"):
        inner = table.get(key)
        if not isinstance(inner, dict):
            continue
        holders = inner.items() if key == "properties" else [(key, inner)]
        for place, referring in list(holders):
            named = _NAMED.get(str(referring.get("$ref", "")).rpartition("/")[2])
            if named is not None:
                either = {"anyOf": [_one_of(named), {"$ref": referring["$ref"]}]}
                (inner if key == "properties" else table)[place] = either


def _bound(schema: dict[str, Any]) -> None:
    """Say of each searched parameter what its bounds are: the models check them by a function."""
    (bounds,) = (
        table
        for table in schema["$defs"].values()
        if "inner_gain_a_per_deg" in table.get("properties", {}) and table["title"] == "Bounds"
    )
    for name, (_, declared) in declared_numbers(Profile).items():
        end = {"type": "number", "minimum": declared.low, "maximum": declared.high}
        bounds["properties"][name] = {
            "type": "array",
            "items": end,
            "minItems": 2,
            "maxItems": 2,
            "description": f"bounds of: {declared.text}",
        }
