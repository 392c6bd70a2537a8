"""A fork rides only what is new to it, and ends byte for byte as if it had ridden everything."""

import dataclasses
import json
import shutil
from unittest import mock

import numpy as np
import pytest

from optimizer.analysis.fork import fork
from optimizer.analysis.results import read_results
from optimizer.base.errors import UserInputError
from optimizer.cli import main
from optimizer.execution import evaluate, ride_reuse
from optimizer.execution.early_rejection import not_ridden
from optimizer.execution.hard_rides import with_hard_rides
from optimizer.execution.ride_archive import read_ridden, write_ridden
from optimizer.execution.ride_reuse_report import find_reuse
from optimizer.execution.run import reevaluate_front
from optimizer.execution.store import read_table
from optimizer.study.load import load_study
from optimizer.study.paths import RIDDEN_FILE, store_path
from plant.kernel.simulate import simulate
from tests.optimizer.small_study import SHORT_RIDES, STEEP, searched, write_small_study

N_OLD = 24  # candidates of the study that is forked, in two generations
N_NEW = 36

RIDERS = 'use = ["pupil_40", "baker_80"]'
COURSES = '"stand_still", "kerb_up", "cobbles"'
LONGER = "[courses.cobbles]\nmanoeuvre.duration_s = 10.0"
# A change of the study file, and how many rides of the new study are known.
CHANGES = {
    "nothing": ((), 6),
    "a rider less": ((RIDERS, 'use = ["baker_80"]'), 3),
    "a rider more": ((RIDERS, 'use = ["pupil_40", "smith_105", "baker_80"]'), 6),
    "another rider": ((RIDERS, 'use = ["pupil_40", "clerk_62"]'), 3),
    "a course less": ((COURSES, '"cobbles", "kerb_up"'), 4),
    "a course more": ((COURSES, '"creep", ' + COURSES), 6),
    "a course changed": (("[baseline]", f"{LONGER}\n[baseline]"), 4),
    "a heavier course": (("[baseline]", "[courses.cobbles]\nweight = 5.0\n[baseline]"), 6),
    "a constraint": (("[constraints]", "[constraints]\nrest_shake_limit_deg_per_s = 0.5"), 6),
    "bounds": (("population = 12", "population = 12\nbounds.base_gain_a_per_deg = [2.0, 6.0]"), 6),
    "bounds of another grid": (
        ("population = 12", "population = 12\nbounds.base_gain_a_per_deg = [1.0, 60.0]"),
        6,
    ),
    "a population": (("population = 12", "population = 10"), 6),
}  # fmt: skip


def go_on():
    return False


def run(folder, n_candidates=N_NEW, *, stop=go_on, notices=None):
    return searched(folder, n_candidates, stop=stop, notices=notices)


def reevaluate(study):
    reevaluate_front(study, n_jobs=2, advance=lambda *_: None, stop=go_on)


def content(study):
    """Return all that a store holds, as bytes."""
    table = read_table(store_path(study.folder))
    reevaluation = table.reevaluation
    arrays = [reevaluation.numbers, table.rides]
    for outcome in (table.history, reevaluation.evaluation):
        arrays += [outcome.objectives, outcome.constraints]
    return [table.history.values.tobytes(), *(array.tobytes() for array in arrays)]


def change(folder, before, after):
    text = (folder / "study.toml").read_text(encoding="utf-8")
    assert before in text
    (folder / "study.toml").write_text(text.replace(before, after, 1), encoding="utf-8")


@pytest.fixture
def lanes():
    """Count the lanes that are ridden while a study runs."""
    counted = []

    def counting(profiles, rides, **options):
        counted.append(len(profiles) * len(rides))
        return simulate(profiles, rides, **options)

    with (
        mock.patch.object(evaluate, "simulate", counting),
        mock.patch.object(ride_reuse, "simulate", counting),
    ):
        yield counted


@pytest.fixture(scope="module")
def old(tmp_path_factory):
    study = run(write_small_study(tmp_path_factory.mktemp("old") / "study", SHORT_RIDES), N_OLD)
    reevaluate(study)
    return read_results(study)


@pytest.fixture
def new(old, tmp_path):
    fork(old, tmp_path / "new")
    return tmp_path / "new"


@pytest.mark.parametrize(("edit", "n_known"), CHANGES.values(), ids=list(CHANGES))
def test_reused_rides_give_the_bytes_of_rides_ridden_anew(new, lanes, edit, n_known):
    if edit:
        change(new, *edit)
    anew = new.parent / "anew"
    shutil.copytree(new, anew)
    (anew / RIDDEN_FILE).unlink()

    reused = run(new)
    n_reused = sum(lanes)
    lanes.clear()
    ridden = run(anew)

    proof = n_known  # the first profile is ridden again to prove this machine
    known = n_known + n_handling_rides_known(reused) + n_hard_rides_known(reused)
    assert n_reused == sum(lanes) - (1 + len(reused.start)) * known + proof
    reevaluate(reused)
    reevaluate(ridden)
    assert content(reused) == content(ridden)


def n_hard_rides_known(study):
    """Return how many of a fork's hard rides were ridden for the study that it comes from."""
    searched_for = read_ridden(study.folder / RIDDEN_FILE).parts[0]
    return len(ride_reuse.held(searched_for, with_hard_rides(study).hard.rides)[0])


def n_handling_rides_known(study):
    """Return how many of a fork's handling rides were ridden for the study it comes from."""
    searched_for = read_ridden(study.folder / RIDDEN_FILE).parts[0]
    return len(ride_reuse.held(searched_for, study.handling)[0])


def test_a_fork_with_the_same_riders_and_day_has_the_same_hard_rides(old, new):
    change(new, COURSES, '"cobbles", "kerb_up"')

    assert n_hard_rides_known(load_study(new)) == len(with_hard_rides(old.study).hard.rides)


@pytest.fixture(scope="module")
def rejecting(tmp_path_factory):
    folder = write_small_study(tmp_path_factory.mktemp("rejecting") / "study", *STEEP)
    return read_results(run(folder, N_OLD))


# Without a course on whose rides candidates were rejected, these need rides not ridden before.
@pytest.mark.parametrize(
    "edit",
    [
        (),
        ('"accelerate_hard", ', ""),
        ('"accelerate_hard", ', '"kerb_up", "accelerate_hard", '),
        ("population = 12", "population = 10"),
    ],
    ids=["nothing", "a course less", "a course more", "a population"],
)
def test_rides_left_out_by_early_rejection_are_not_taken_over_as_ridden(
    rejecting, tmp_path, lanes, edit
):
    new, anew = tmp_path / "new", tmp_path / "anew"
    fork(rejecting, new)
    if edit:
        change(new, *edit)
    shutil.copytree(new, anew)
    (anew / RIDDEN_FILE).unlink()
    assert not_ridden(read_ridden(new / RIDDEN_FILE).parts[0].columns).any()

    reused = run(new, N_OLD)
    n_reused = sum(lanes)
    lanes.clear()
    ridden = run(anew, N_OLD)

    assert n_reused < sum(lanes)
    assert content(reused) == content(ridden)
    assert read_results(reused).rejected_early.any()


def test_a_fork_that_nothing_changed_in_goes_on_as_its_origin_would(old, new, tmp_path, lanes):
    origin = tmp_path / "origin"
    shutil.copytree(old.study.folder, origin)
    study = run(new, N_OLD)
    reevaluate(study)

    assert sum(lanes) == 2 * len(study.rides)  # the proofs alone
    assert content(study) == content(old.study)
    assert content(run(new)) == content(run(origin))


def test_a_fork_needs_neither_its_origin_nor_its_rides_to_be_resumed(old, tmp_path):
    origin, folder, whole = (tmp_path / name for name in ("origin", "fork", "whole"))
    shutil.copytree(old.study.folder, origin)
    fork(read_results(load_study(origin)), folder)
    change(folder, RIDERS, 'use = ["pupil_40", "clerk_62"]')
    shutil.copytree(folder, whole)
    asked = iter([False, True])

    assert len(content(run(folder, stop=lambda: next(asked)))[0]) < len(content(run(whole))[0])
    shutil.rmtree(origin)
    (folder / RIDDEN_FILE).unlink()

    assert content(run(folder)) == content(load_study(whole))


def test_a_fork_of_a_fork_takes_over_all_that_was_ridden(old, new, tmp_path, lanes):
    change(new, RIDERS, 'use = ["pupil_40", "clerk_62", "baker_80"]')
    fork(read_results(run(new, N_OLD)), tmp_path / "newest")
    change(tmp_path / "newest", 'use = ["pupil_40", "clerk_62", "baker_80"]', 'use = ["clerk_62"]')
    lanes.clear()

    newest = run(tmp_path / "newest", N_OLD)

    # The proof, then the hard rides of other riders, and the handling rides: this rider was neither
    # the lightest nor the heaviest, so only one of them is known.
    n_new_hard = newest.n_hard_rides - n_hard_rides_known(newest)
    assert lanes[0] == 3
    assert n_handling_rides_known(newest) == 1
    assert sum(lanes[1:]) == N_OLD * (n_new_hard + len(newest.handling) - 1)


def test_candidates_asked_for_come_on_top_of_those_taken_along(old, new):
    assert old.study.n_candidates == 36
    assert load_study(new).n_candidates == 36 + N_OLD - 1


@pytest.mark.parametrize(
    ("edit", "message"),
    [
        ((RIDERS, 'use = ["pupil_40", "clerk_62"]'), "rider clerk_62 is new (3 rides)"),
        ((COURSES, '"creep", "cobbles"'), "course creep is new (2 rides)"),
        (
            ("[baseline]", "[riders.baker_80]\nskill.reflex_delay_s = 0.15\n[baseline]"),
            "rider baker_80 differs (3 rides)",
        ),
        (
            ("[baseline]", f"{LONGER}\n[baseline]"),
            "course cobbles differs (2 rides)",
        ),
    ],
)
def test_what_is_ridden_anew_is_told_in_one_line_with_the_reason(new, edit, message):
    change(new, *edit)
    notices = []
    run(new, 12, notices=notices)
    run(new, N_OLD, notices=notices)
    run(new, N_NEW, notices=notices)

    assert len(notices) == 2  # nothing more once all that is known has been taken over
    assert f"{N_OLD} of the first {N_OLD} profiles are known" in notices[0]
    assert message in notices[0]
    assert "hard rides come on top, and are the same only with the same board" in notices[0]
    assert "\n" not in notices[0]


@pytest.mark.parametrize(
    ("edit", "message"),
    [
        (("lender_15", "lender_17"), "the board differs (6 rides)"),
        (("seed = 11", "seed = 12"), "the seed differs (6 rides)"),
        (
            ("[search]", "[baseline.protection]\nwarning_lift_deg = 3.5\n[search]\n"
             'fixed = ["warning_lift_deg"]'),
            "no profile was ridden with this warning_lift_deg",
        ),
    ],
)  # fmt: skip
def test_nothing_is_reused_where_nothing_holds_and_the_reason_is_told(new, lanes, edit, message):
    change(new, *edit)
    notices = []

    study = run(new, 12, notices=notices)

    assert notices == [find_reuse(study).summary]
    assert "nothing is reused, all is ridden anew" in notices[0]
    assert message in notices[0]
    assert "fork again with 24 profiles" in notices[0]
    assert sum(lanes) == 12 * len(with_hard_rides(study).all_rides)


def test_rides_of_another_version_are_ridden_anew(new):
    ridden = read_ridden(new / RIDDEN_FILE)
    for key, message in (
        ("library.numba", "library.numba was 0.1, now "),
        ("model.digest", "another version of the model rode it"),
        ("ridden.format", "ridden.format was 0.1, now 3"),
    ):
        other = dataclasses.replace(ridden, versions=dict(ridden.versions) | {key: "0.1"})
        write_ridden(new / RIDDEN_FILE, other)

        found = find_reuse(load_study(new))

        assert message in found.summary
        assert not found.parts


def test_rides_that_this_machine_rides_otherwise_are_ridden_anew(new):
    ridden = read_ridden(new / RIDDEN_FILE)
    ridden.parts[0].columns[0, 2, 0] = np.nextafter(ridden.parts[0].columns[0, 2, 0], np.inf)
    write_ridden(new / RIDDEN_FILE, ridden)

    found = find_reuse(load_study(new))

    assert "differ in their last digits" in found.summary
    assert not found.parts


@pytest.mark.parametrize("damage", ["emptied", "cut", "flipped", "text", "another archive"])
def test_a_damaged_file_of_rides_is_refused_in_one_line(new, damage):
    path = new / RIDDEN_FILE
    whole = path.read_bytes()
    if damage == "another archive":
        np.savez(path, about=np.zeros(3))
    else:
        middle = len(whole) // 2
        path.write_bytes(
            {
                "emptied": b"",
                "cut": whole[:middle],
                "flipped": whole[:middle] + bytes([whole[middle] ^ 1]) + whole[middle + 1 :],
                "text": b"level_error_deg\n1.0\n",
            }[damage]
        )

    with pytest.raises(UserInputError) as caught:
        run(new)

    assert "delete it to ride everything anew, or fork again" in str(caught.value)
    assert "\n" not in str(caught.value)
    assert not store_path(new).exists()


def test_the_commands_fork_check_and_run(old, tmp_path, monkeypatch, capsys):
    def levelgain(*words):
        monkeypatch.setattr("sys.argv", ["levelgain", *map(str, words)])
        with pytest.raises(SystemExit) as stopped:
            main()
        out, err = capsys.readouterr()
        assert (stopped.value.code or 0, err) == (0, "")
        return out

    new, anew = tmp_path / "new", tmp_path / "anew"
    assert "with 23 profiles to start from" in levelgain("fork", old.study.folder, new)
    change(new, RIDERS, 'use = ["pupil_40", "clerk_62"]')
    shutil.copytree(new, anew)
    (anew / RIDDEN_FILE).unlink()

    reused = (
        "24 of the first 24 profiles are known, and 72 of their 144 rides over the study's courses"
    )
    assert reused in json.loads(levelgain("check", new, "--json"))["reused"]
    assert reused in levelgain("run", new, "--candidates", 30)
    assert "profiles are known" not in levelgain("run", anew, "--candidates", 30)

    for name in ("candidates.csv", "front.csv"):
        table = (new / "results" / name).read_bytes()
        assert table == (anew / "results" / name).read_bytes()
