"""What is proposed, stored, shown and exported has few digits, and is what was ridden."""

import io
import json
import re
import tomllib

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.analysis.candidate import candidate_profile
from optimizer.analysis.results import read_results
from optimizer.analysis.tables import candidates_table
from optimizer.base.typed_digits import TYPED_DIGITS, typed
from optimizer.interface.profiles import load_profile
from optimizer.reports.page.facts import candidate_facts
from optimizer.reports.profile_export import export
from optimizer.search.space import Space, from_unit, on_grid
from optimizer.study.catalogue import shelves
from optimizer.study.load import load_study
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from tests.optimizer.reports.page.unpacking import unpacked

BOUNDS = shelves()["bounds"]
SPACE = Space(
    names=tuple(BOUNDS),
    low=np.array([low for low, _ in BOUNDS.values()]),
    high=np.array([high for _, high in BOUNDS.values()]),
)


@pytest.fixture(scope="module")
def results(finished):
    return read_results(load_study(finished))


def has_few_digits(value):
    """Say whether a number is the one that its first four significant digits are read as."""
    return value == float(f"{value:.4g}")


@given(st.floats(0.0, 1.0))
def test_every_setting_that_can_be_proposed_has_at_most_four_digits(share):
    [values] = on_grid(SPACE, from_unit(SPACE, np.full((1, len(SPACE.names)), share)))

    assert TYPED_DIGITS == 4
    assert all(map(has_few_digits, values.tolist()))
    assert [typed(value) for value in values.tolist()] == values.tolist()


def test_all_settings_of_a_search_have_few_digits(results):
    assert all(map(has_few_digits, results.history.values.ravel().tolist()))


def test_an_export_holds_the_settings_that_were_ridden(results, tmp_path):
    number = int(np.flatnonzero(results.on_front)[-1])
    ridden = candidate_profile(results, number).tolist()
    written = {
        path.suffix: path
        for path in export(
            results,
            number,
            formats=("toml", "json", "c"),
            template=None,
            folder=tmp_path,
            force=False,
        )
    }

    assert profile_to_array(load_profile(written[".toml"])).tolist() == ridden
    by_name = dict(zip(PROFILE_NAMES, ridden, strict=True))
    for sections in (
        tomllib.loads(written[".toml"].read_text())["profile"],
        json.loads(written[".json"].read_text())["profile"],
    ):
        told = {name: value for part in sections.values() for name, value in part.items()}
        assert told == {name: by_name[name] for name in told}
    header = written[".h"].read_text()
    for name, text in re.findall(r"#define LEVELGAIN_(\w+) \((.*?)f\)", header):
        assert float(text) == by_name[name.lower()]


def test_tables_and_the_page_show_the_settings_that_were_ridden(results):
    names = list(results.study.space.names)
    read = pd.read_csv(io.StringIO(candidates_table(results).to_csv(index=False)))

    np.testing.assert_array_equal(read[names].to_numpy(), results.history.values)
    page = unpacked(candidate_facts(results, np.arange(len(results)))["rows"]["values"])
    # The page shows four digits of a single-precision number.
    shown = [float(f"{value:.4g}") for value in page.ravel().tolist()]
    assert shown == results.history.values.ravel().tolist()
