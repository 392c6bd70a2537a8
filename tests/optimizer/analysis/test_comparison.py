"""Profiles are compared by riding them over the same rides."""

import dataclasses
import json

import numpy as np
import pytest

from objectives import RIDE_COLUMNS
from optimizer.analysis.comparison import changed_rides, compared, differing, in_words
from optimizer.execution.evaluate import ride_portfolio, rules_of
from optimizer.reports.comparison_figures import loop_figure
from optimizer.study.load import load_study
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.linear.balance_loop import loop_gains, loop_margins
from tests.optimizer.small_study import write_small_study


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_small_study(tmp_path_factory.mktemp("compare") / "study")


@pytest.fixture(scope="module")
def comparison(folder):
    study = load_study(folder)
    first = profile_to_array(study.baseline)
    stiff, weak = first.copy(), first.copy()
    stiff[PROFILE_NAMES.index("rate_gain_a_per_deg_per_s")] *= 1.6
    weak[PROFILE_NAMES.index("rate_gain_a_per_deg_per_s")] = 0.0
    return compared(study, ("baseline", "damped", "undamped"), np.stack([first, stiff, weak]))


def test_each_profile_is_ridden_as_it_is_alone(comparison):
    study = comparison.study
    for number in range(3):
        scores, rides = ride_portfolio(
            study, comparison.profiles[number : number + 1], rules=rules_of(study)
        )
        np.testing.assert_array_equal(comparison.objectives[number], scores.objectives[0])
        own, _, hard = np.split(rides[0], [len(study.rides), len(study.rides + study.handling)])
        np.testing.assert_array_equal(comparison.rides[number], own)
        np.testing.assert_array_equal(comparison.hard[number], hard)


def test_only_what_differs_is_told(comparison):
    assert differing(comparison) == ["rate_gain_a_per_deg_per_s"]


def test_a_better_damped_profile_wins_and_an_undamped_one_loses(comparison):
    wins, losses = changed_rides(comparison, 1, limit=6)
    assert len(wins) > len(losses)
    wins, losses = changed_rides(comparison, 2, limit=6)
    assert len(losses) == len(comparison.study.rides)
    assert not wins


def test_a_change_is_told_with_rider_course_and_numbers(comparison):
    place = [ride.name for ride in comparison.study.rides].index("kerb_up/baker_80")

    words = in_words(comparison, 2, place)

    column = RIDE_COLUMNS.index("peak_current_a")
    before, after = comparison.rides[[0, 2], place, column].astype(float)
    assert words.startswith("baker_80 (80 kg), Roll up a lowered kerb: ")
    assert f"peak current {before:.3g} → {after:.3g} A" in words
    assert "nose dip" in words


def test_a_ride_that_loses_torque_reserve_says_so(comparison):
    rides = comparison.rides.copy()
    rides[[0, 2], 0, RIDE_COLUMNS.index("least_reserve_ratio")] = 0.05, -0.1

    words = in_words(dataclasses.replace(comparison, rides=rides), 2, 0)

    assert "torque reserve 5 → -10 %" in words


def test_the_command_draws_and_tells_and_does_not_replace(levelgain, folder, tmp_path):
    mine = tmp_path / "mine.toml"
    mine.write_text('use = "workshop_17"\n', encoding="utf-8")
    facts = ("compare", folder, "baseline", mine, "--to", tmp_path / "figures")

    code, out, _ = levelgain(*facts)

    assert code == 0
    assert "mine.toml is better than baseline above all on:" in out
    for name in ("traces.png", "loop.svg"):
        assert (tmp_path / "figures" / name).stat().st_size > 10_000
    code, _, error = levelgain(*facts)
    assert code == 2
    assert "--force" in error


def test_json_holds_tables_and_words(levelgain, folder, tmp_path):
    mine = tmp_path / "mine.toml"
    mine.write_text('use = "workshop_17"\n', encoding="utf-8")

    code, out, _ = levelgain("compare", folder, "baseline", mine, "--json")

    facts = json.loads(out)
    assert code == 0
    assert [row["profile"] for row in facts["objectives"]] == ["baseline", "mine.toml"]
    assert "inner_gain_a_per_deg" in {row["parameter"] for row in facts["parameters"]}
    assert set(facts["against_the_first"]["mine.toml"]) == {"felt", "wins", "losses"}


def test_files_of_one_name_keep_their_numbers_apart(levelgain, folder, tmp_path):
    files = [tmp_path / part / "mine.toml" for part in ("left/tuned", "right/tuned")]
    for file, gain in zip(files, (0.6, 0.7), strict=True):
        file.parent.mkdir(parents=True)
        text = f'use = "workshop_17"\ndamping.rate_gain_a_per_deg_per_s = {gain}\n'
        file.write_text(text, encoding="utf-8")

    code, out, error = levelgain("compare", folder, "baseline", *files, "--json")

    assert code == 0, error
    facts = json.loads(out)
    labels = ["left/tuned/mine.toml", "right/tuned/mine.toml"]
    assert [row["profile"] for row in facts["objectives"]] == ["baseline", *labels]
    gains = next(row for row in facts["parameters"] if row["parameter"].startswith("rate_gain"))
    assert [gains[label] for label in labels] == [0.6, 0.7]
    assert set(facts["against_the_first"]) == set(labels)


@pytest.mark.parametrize(
    ("profiles", "message"),
    [
        (["baseline"], "give from 2 to 7 profiles, got 1"),
        (["baseline", "nowhere.toml"], "nowhere.toml"),
        (["baseline", "balanced"], "run the study first"),
        (["baseline", "baseline"], "baseline names the same profile as baseline before it"),
    ],
)
def test_what_can_not_be_compared_is_refused_in_one_line(levelgain, folder, profiles, message):
    code, _, error = levelgain("compare", folder, *profiles)

    assert code == 2
    assert message in error
    assert error.count("\n") == 1


def test_one_file_under_two_paths_is_refused_in_one_line(levelgain, folder, tmp_path):
    mine = tmp_path / "mine.toml"
    mine.write_text('use = "workshop_17"\n', encoding="utf-8")
    (tmp_path / "same.toml").symlink_to(mine)

    code, _, error = levelgain("compare", folder, mine, tmp_path / "same.toml")

    assert code == 2
    assert f"same.toml names the same profile as {mine} before it" in error
    assert error.count("\n") == 1


def test_the_loop_that_is_drawn_is_that_of_least_margin_with_any_way_to_balance(comparison):
    figure = loop_figure(comparison)
    _, labels = figure.axes[0].get_legend_handles_labels()
    loop = rules_of(comparison.study, hard=False).loop
    margins = loop_margins(loop, loop_gains(comparison.profiles))

    assert len(labels) == len(comparison.names)
    for label, sensitivity, modulus in zip(
        labels, margins.max_sensitivity, margins.modulus, strict=True
    ):
        assert f"sensitivity {sensitivity.flat[np.argmin(modulus)]:.2f}" in label
