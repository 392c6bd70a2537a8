"""How a search is shown: bars in a terminal, lines in a pipe, nothing beside JSON."""

import io

from rich.console import Console

from optimizer.cli.search_view import SearchView
from optimizer.execution.hard_rides import LOOKING
from optimizer.interface.progress import Progress
from optimizer.interface.search_progress import REEVALUATION, SEARCH


def _watched(console, *reports):
    with SearchView(console) as view:
        for stage, done, total in reports:
            view.show(Progress(stage=stage, done=done, total=total, note="front 3"))
    return view, console.file.getvalue()


def _console(**how):
    return Console(file=io.StringIO(), width=120, **how)


def test_a_terminal_shows_the_search_and_the_re_evaluation_together():
    _, shown = _watched(_console(force_terminal=True), (SEARCH, 24, 24), (REEVALUATION, 2, 4))

    last = shown[shown.rindex(SEARCH) :]
    assert "24/24" in last
    assert "front 3" in last
    assert REEVALUATION in last
    assert "2/4" in last


def test_a_terminal_shows_how_far_the_hard_rides_are_looked_for():
    looking, shown = _watched(_console(force_terminal=True), (LOOKING, 0, 300), (LOOKING, 150, 300))

    last = shown[shown.rindex(LOOKING) :]
    assert "150/300" in last
    assert looking.searched.total is None  # no candidate is searched yet


def test_a_pipe_has_lines_of_the_search_alone_where_the_rest_is_short(monkeypatch):
    monkeypatch.setattr("optimizer.cli.search_view._PLAIN_EVERY_S", 600.0)

    _, printed = _watched(
        _console(force_terminal=False), (LOOKING, 2, 2), (SEARCH, 24, 24), (REEVALUATION, 4, 4)
    )

    assert printed == "24/24 candidates, front 3\n"


def test_a_pipe_has_lines_of_what_goes_before_and_after_where_it_takes_long(monkeypatch):
    monkeypatch.setattr("optimizer.cli.search_view._PLAIN_EVERY_S", 0.0)

    _, printed = _watched(
        _console(force_terminal=False),
        (LOOKING, 150.4, 300),
        (SEARCH, 24, 24),
        (REEVALUATION, 2, 4),
    )

    assert printed.splitlines() == [
        f"{LOOKING}: 150/300", "24/24 candidates, front 3", f"{REEVALUATION}: 2/4",
    ]  # fmt: skip


def test_no_line_stands_beside_json():
    console = Console(stderr=True, width=120)

    with console.capture() as captured, SearchView(console) as view:
        view.show(Progress(stage=SEARCH, done=24, total=24))

    assert captured.get() == ""


def test_a_search_is_finished_when_the_front_is_evaluated_again():
    searched, _ = _watched(_console(), (SEARCH, 0, 24), (SEARCH, 24, 24))
    stopped, _ = _watched(_console(), (SEARCH, 24, 24), (REEVALUATION, 2, 4))
    finished, _ = _watched(_console(), (SEARCH, 24, 24), (REEVALUATION, 2, 4), (REEVALUATION, 4, 4))

    assert [view.finished for view in (searched, stopped, finished)] == [False, False, True]
    assert searched.searched.done == searched.searched.total == 24
