"""A study's hard rides are found once: its store, and a cache, keep which they are."""

import pytest

from optimizer.base.errors import UserInputError
from optimizer.execution import hard_rides, kept_texts
from optimizer.execution.hard_rides import with_hard_rides
from optimizer.execution.store import started_with
from optimizer.interface.studies import run
from optimizer.riding_day.hard_rides import stored_hard_rides
from optimizer.study.load import load_study
from optimizer.study.paths import store_path
from tests.optimizer.small_study import searched, write_small_study


@pytest.fixture
def alone(tmp_path, monkeypatch):
    """Let a test find hard rides as a process does that knows none."""
    monkeypatch.setattr(kept_texts, "CACHE_FOLDER", tmp_path / "cache" / "kernel")
    monkeypatch.setattr(hard_rides, "_found", {})
    return tmp_path / "cache" / "hard_rides"


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """Return the hard rides of the small study."""
    folder = write_small_study(tmp_path_factory.mktemp("found") / "study")
    return with_hard_rides(load_study(folder)).hard


@pytest.fixture
def at_once(alone, found, monkeypatch):
    """Let a test that is not about the search for hard rides have those of the small study."""

    def find(study, *, n_jobs, advance):
        advance(study.hard_rides_h)
        return stored_hard_rides(study, found.text)

    monkeypatch.setattr(hard_rides, "find_hard_rides", find)


def forgetting(monkeypatch):
    """Forget what is in memory, and refuse to find anything anew."""

    def refuse(*_, **__):
        raise AssertionError("hard rides are looked for again")

    monkeypatch.setattr(hard_rides, "_found", {})
    monkeypatch.setattr(hard_rides, "find_hard_rides", refuse)


def test_a_study_that_differs_in_what_hard_rides_do_not_follow_from_has_the_same(
    tmp_path, alone, at_once, monkeypatch
):
    found = with_hard_rides(load_study(write_small_study(tmp_path / "study")))
    stricter = write_small_study(
        tmp_path / "stricter", ("least_warning_s = 0.5", "least_warning_s = 0.6")
    )
    heavier = write_small_study(tmp_path / "heavier", ('"baker_80"]', '"smith_105"]'))
    forgetting(monkeypatch)

    again = with_hard_rides(load_study(stricter))

    assert again.hard.text == found.hard.text
    assert [ride.course for ride in again.hard.rides] == [ride.course for ride in found.hard.rides]
    with pytest.raises(AssertionError, match="looked for again"):
        with_hard_rides(load_study(heavier))


def test_hard_rides_found_once_are_kept_for_the_next_process(tmp_path, alone, monkeypatch):
    study = load_study(write_small_study(tmp_path / "study"))
    notices = []
    found = with_hard_rides(study, notice=notices.append)
    forgetting(monkeypatch)

    again = with_hard_rides(study, notice=notices.append)

    assert again.hard.text == found.hard.text
    assert again.all_rides == found.all_rides
    assert len(found.all_rides) == len(study.all_rides) + study.n_hard_rides
    assert len(list(alone.iterdir())) == 1
    assert len(notices) == 2  # that they are looked for, and what was found
    assert "weakened profiles ride 2 h of the riding day" in notices[0]


class Heard:
    """Stages that keep what they hear."""

    def __init__(self):
        self.begun, self.advanced = [], 0.0

    def begin(self, text, total=None):
        self.begun.append((text, total))

    def advance(self, amount=1.0):
        self.advanced += amount


def test_how_far_they_are_looked_for_is_heard_and_nothing_where_they_are_known(tmp_path, alone):
    study = load_study(write_small_study(tmp_path / "study"))
    searching, knowing = Heard(), Heard()

    with_hard_rides(study, stages=searching)
    with_hard_rides(study, stages=knowing)

    assert searching.begun == [(hard_rides.LOOKING, study.hard_rides_h)]
    assert searching.advanced >= study.hard_rides_h
    assert knowing.begun == []
    assert knowing.advanced == 0.0


@pytest.mark.parametrize("command", [("run", "--candidates", "1"), ("ride",)])
def test_a_command_looks_for_them_on_as_many_threads_as_it_was_given(
    tmp_path, alone, levelgain, monkeypatch, command
):
    folder = write_small_study(tmp_path / "study")
    asked = []

    def found(study, *, n_jobs, advance):
        asked.append(n_jobs)
        raise UserInputError("looked for")

    monkeypatch.setattr(hard_rides, "find_hard_rides", found)

    code, _, _ = levelgain(command[0], folder, "--jobs", "7", *command[1:])

    assert (code, asked) == (2, [7])


def test_a_run_hears_how_far_they_are_looked_for(tmp_path, at_once):
    heard = []

    run(load_study(write_small_study(tmp_path / "study")), candidates=12, on_progress=heard.append)

    looking = [now for now in heard if now.stage == hard_rides.LOOKING]
    assert [now.stage for now in heard[: len(looking)]] == [hard_rides.LOOKING] * len(looking)
    assert looking[0].done == 0.0
    assert looking[-1].done >= looking[-1].total


@pytest.mark.parametrize("content", ["", "{", "\udce4"])
def test_a_damaged_cache_is_as_none(tmp_path, alone, at_once, content):
    study = load_study(write_small_study(tmp_path / "study"))
    found = with_hard_rides(study)
    (file,) = alone.iterdir()
    file.write_bytes(content.encode("utf-8", "surrogateescape"))
    hard_rides._found.clear()

    assert with_hard_rides(study).hard.text == found.hard.text
    assert file.read_text() == found.hard.text


def test_a_cache_that_can_not_be_written_is_done_without(tmp_path, alone, at_once):
    alone.parent.mkdir()
    alone.write_text("a file where the folder should be")

    assert with_hard_rides(load_study(write_small_study(tmp_path / "study"))).hard is not None


def test_a_resumed_study_takes_its_hard_rides_from_its_store(tmp_path, alone, at_once, monkeypatch):
    folder = write_small_study(tmp_path / "study")
    searched(folder, 12)
    (file,) = alone.iterdir()
    file.unlink()
    forgetting(monkeypatch)

    study = searched(folder, 24)

    assert started_with(store_path(folder), "hard_rides") == with_hard_rides(study).hard.text


@pytest.mark.parametrize(
    "table",
    [
        "[riding_day]\nfast_mps = 5.0\n",
        "[tolerances]\nkv_rpm_per_v = { percent = 9.0 }\n",
        "[search]\nhard_rides = 7\n",
    ],
)
def test_a_started_study_keeps_its_riding_day(tmp_path, at_once, table):
    folder = write_small_study(tmp_path / "study")
    searched(folder, 12)
    name = table.splitlines()[0]
    text = (folder / "study.toml").read_text()
    changed = (
        text.replace("hard_rides = 6", "hard_rides = 7")
        if name == "[search]"
        else f"{text}\n{table}"
    )
    (folder / "study.toml").write_text(changed)

    with pytest.raises(UserInputError, match="differs from what this study was started with"):
        searched(folder, 24)
