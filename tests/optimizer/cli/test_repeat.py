import dataclasses
import json
import shutil
from contextlib import contextmanager

import numpy as np
import pandas as pd
import pytest

from objectives import OBJECTIVES
from optimizer.analysis.seed_spread import seed_spread, write_spread
from optimizer.base.errors import StoreError
from optimizer.base.pick_names import PICKS
from optimizer.cli import search_session
from optimizer.cli.app import app
from optimizer.execution.store import read_table
from optimizer.interface import levelgain as lg
from optimizer.interface import seeds
from optimizer.study.load import load_study
from optimizer.study.paths import store_path

TABLES = ("fronts", "picks", "spread", "parameters")


@pytest.fixture(scope="module")
def repeated(finished, tmp_path_factory):
    """Return the folder of a finished study that was run under a second seed; to be read only."""
    folder = shutil.copytree(finished, tmp_path_factory.mktemp("repeated") / "study")
    app(["repeat", str(folder), "--seeds", "2"], standalone_mode=False)
    return folder


@pytest.fixture(scope="module")
def results(repeated):
    return [lg.read_results(load_study(place)) for place in (repeated, repeated / "seeds" / "12")]


@pytest.fixture(scope="module")
def tables(repeated):
    return {name: pd.read_csv(repeated / "seeds" / f"{name}.csv") for name in TABLES}


def test_fronts_are_measured_in_common_units(results, tables):
    common = np.mean([each.history.objectives[0] for each in results], axis=0)
    drawn = np.random.default_rng(1).uniform(0.0, 2.0, (200_000, len(OBJECTIVES)))

    assert tables["fronts"]["seed"].tolist() == [11, 12]
    assert tables["fronts"]["candidates"].tolist() == [36, 36]
    for each, (_, row) in zip(results, tables["fronts"].iterrows(), strict=True):
        front = each.history.objectives[each.on_front] / common
        covered = np.any([(drawn >= point).all(axis=1) for point in front], axis=0).mean()
        assert row["hypervolume_ratio"] == pytest.approx(covered, abs=0.005)
        assert row["best_cost_ratio"] == pytest.approx(front.mean(axis=1).min())


def test_picks_and_their_spread_are_those_of_the_studies(results, tables):
    picks, spread = tables["picks"], tables["spread"]
    for each in results:
        own = picks[picks["seed"] == each.study.seed].set_index("pick")
        assert own["number"].to_dict() == {"baseline": 0, **each.picks}
        np.testing.assert_allclose(
            own.loc["lowest_cost", list(OBJECTIVES)].to_numpy(float),
            each.history.objectives[each.picks["lowest_cost"]],
        )
    assert list(dict.fromkeys(spread["pick"])) == ["baseline", *PICKS]
    row = spread[(spread["pick"] == "balanced") & (spread["of"] == OBJECTIVES[0])].iloc[0]
    values = [each.history.objectives[each.picks["balanced"], 0] for each in results]
    assert (row["lowest"], row["highest"]) == pytest.approx((min(values), max(values)))
    assert row["spread_percent"] == pytest.approx(100.0 * np.ptp(values) / np.mean(values))


def test_parameters_are_compared_over_the_searched_range(results, tables):
    space = results[0].study.space
    table = tables["parameters"].set_index("parameter")
    values = [each.history.values[each.picks["lowest_cost"]] for each in results]

    assert tuple(table.index) == space.names
    for place, name in enumerate(space.names):
        if len(space.log) and space.log[place]:
            continue
        way = 100.0 * abs(values[0][place] - values[1][place])
        assert table.loc[name, "between_seeds_percent"] == pytest.approx(
            way / (space.high[place] - space.low[place]), abs=1e-6
        )
    assert set(table["judged"]) <= {"determined", "partly", "free"}


def test_the_command_goes_on_and_its_json_is_what_it_wrote(levelgain, repeated, tmp_path, tables):
    folder = shutil.copytree(repeated, tmp_path / "study")
    before = read_table(store_path(folder / "seeds" / "12")).history.values

    code, out, _ = levelgain("repeat", folder, "--seeds", 2, "--json")

    facts = json.loads(out)
    assert code == 0
    assert [row["seed"] for row in facts["fronts"]] == [11, 12]
    assert [row["judged"] for row in facts["parameters"]] == tables["parameters"]["judged"].tolist()
    assert not (folder / "seeds" / "11").exists()
    after = read_table(store_path(folder / "seeds" / "12")).history.values
    np.testing.assert_array_equal(before, after)


def test_what_is_printed_says_by_what_rule(levelgain, repeated, tmp_path):
    folder = shutil.copytree(repeated, tmp_path / "study")

    out = levelgain("repeat", folder, "--seeds", 2)[1]

    assert "Seed 12, in " in out
    assert "the 2 seeds differ by 2.5 % of the range at most" in out
    assert f"4 tables in {folder / 'seeds'}." in out


def test_an_interrupted_repetition_goes_on_to_the_same_tables(finished, repeated, tmp_path):
    study = load_study(shutil.copytree(finished, tmp_path / "study"))

    def interrupt(progress):
        if (progress.done, progress.total) == (24, 36):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        lg.repeat(study, seeds=2, on_progress=interrupt)
    spread = lg.repeat(study, seeds=2, jobs=1)

    written = write_spread(spread, tmp_path)
    assert repr(spread) == "<SeedSpread over the seeds 11, 12>"
    for path in written[1:]:  # the first names folders
        assert path.read_bytes() == (repeated / "seeds" / path.name).read_bytes()


def test_a_search_that_stops_by_itself_is_not_compared(results, repeated, monkeypatch):
    monkeypatch.setattr(seeds, "run", lambda *_, **__: results[0].history.rows(0, 12))

    with pytest.raises(StoreError, match="stopped at 12 of 36 candidates"):
        seeds.repeat(load_study(repeated), seeds=2)


def test_a_stop_names_the_way_on(levelgain, finished, tmp_path, monkeypatch):
    folder = shutil.copytree(finished, tmp_path / "study")

    @contextmanager
    def at_once(_announce):
        yield lambda: True

    monkeypatch.setattr(search_session, "stopping_on_interrupt", at_once)
    code, out, _ = levelgain("repeat", folder, "--seeds", 2)

    assert code == 130
    assert out.endswith("The same command goes on.\n")
    assert not [*(folder / "seeds").glob("*.csv")]


def test_without_a_front_nothing_is_said_of_parameters(results):
    nothing = np.zeros(len(results[0]), dtype=bool)
    broken = [dataclasses.replace(each, picks={}, on_front=nothing) for each in results]

    spread = seed_spread(broken)

    assert spread.parameters.empty
    assert spread.fronts["hypervolume_ratio"].tolist() == [0.0, 0.0]
