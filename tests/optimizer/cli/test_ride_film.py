from optimizer.reports.film import film_file


def test_the_ride_nearest_to_a_nose_down_is_filmed_unless_another_is_named(
    levelgain, finished, tmp_path, monkeypatch
):
    filmed = []
    monkeypatch.setattr(
        film_file, "film_of", lambda profiles, ride: filmed.append((list(profiles), ride.name))
    )
    monkeypatch.setattr(film_file, "write_film", lambda _film, path, **_: path.write_text("film"))
    _, out, _ = levelgain("ride", finished, "7", "--film", tmp_path / "a.gif")
    levelgain("ride", finished, "--film", tmp_path / "b.gif", "--filmed", "cobbles/pupil_40")

    (both, worst), (baseline, named) = filmed
    assert both[0].startswith("candidate 7")
    assert (both[1:], baseline) == (["the baseline"], ["the baseline"])
    assert f"a.gif shows {worst}." in out
    assert named == "cobbles/pupil_40"


def test_a_film_that_is_there_is_kept_unless_force_is_given(levelgain, finished, tmp_path):
    path = tmp_path / "ride.gif"
    path.write_text("mine")
    code, _, err = levelgain("ride", finished, "--film", path)

    assert (code, path.read_text()) == (2, "mine")
    assert "--force" in err


def test_a_ride_to_film_that_is_not_there_is_one_line_and_writes_nothing(
    levelgain, finished, tmp_path
):
    code, _, err = levelgain(
        "ride", finished, "--film", tmp_path / "ride.gif", "--filmed", "cobble/pupil_40"
    )

    assert (code, err.count("\n"), list(tmp_path.iterdir())) == (2, 1, [])
    assert "cobbles/pupil_40" in err
