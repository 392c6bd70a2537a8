import csv
import math
from importlib.resources import files
from pathlib import Path

import gpxpy.gpx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib import cbook

from optimizer.base.errors import UserInputError
from optimizer.study.riding_day import ROUTE_STEP_M
from optimizer.study.route import read_route, ridden_part, smoothed
from plant.description.course import Elevation

EARTH_RADIUS_M = 6_378_137.0  # WGS 84 equatorial radius, as map tools use it


def written_gpx(path, points):
    """Write (latitude, longitude, height or None) as a GPX track."""
    document = gpxpy.gpx.GPX()
    track, part = gpxpy.gpx.GPXTrack(), gpxpy.gpx.GPXTrackSegment()
    document.tracks.append(track)
    track.segments.append(part)
    part.points.extend(gpxpy.gpx.GPXTrackPoint(*point) for point in points)
    path.write_text(document.to_xml(), encoding="utf-8")
    return path


def grades_percent(route):
    return 100.0 * np.diff(route.height_m) / np.diff(route.distance_m)


@pytest.fixture(scope="module")
def race_track(tmp_path_factory):
    """The recorded mountain-bike race track of bokeh-sampledata (BSD-3), written as GPX."""
    source = files("bokeh_sampledata").joinpath("_data/obiszow_mtb_xcm.csv")
    rows = csv.DictReader(source.read_text(encoding="utf-8").splitlines())
    points = [(float(row["lat"]), float(row["lon"]), float(row["alt"])) for row in rows]
    return written_gpx(tmp_path_factory.mktemp("track") / "race.gpx", points)


def test_a_recorded_track_has_its_published_length_and_heights(race_track):
    route = read_route(race_track)

    # Numbers of the published data set: 32.30 km, 118 to 228 m, raw ascent 636 m.
    ascent = np.sum(np.maximum(np.diff(route.height_m), 0.0))
    assert route.distance_m[-1] == pytest.approx(32_300.0, rel=2e-3)
    assert (route.height_m.min(), route.height_m.max()) == (118.0, 228.0)
    assert ascent == pytest.approx(636.0, abs=2.0)


def test_a_recorded_track_keeps_its_grades_once_smoothed(race_track):
    route = smoothed(read_route(race_track), smooth_m=50.0)

    # Grades over 50 m of the same data set: 5th and 95th percentile at -7.5 and +7.5 %.
    low, high = np.percentile(grades_percent(route), [5.0, 95.0])
    assert low == pytest.approx(-7.5, abs=0.8)
    assert high == pytest.approx(7.5, abs=0.8)


def test_recorded_steps_of_a_metre_are_no_cliffs_once_smoothed(race_track):
    raw = read_route(race_track)

    assert np.abs(grades_percent(smoothed(raw, smooth_m=50.0))).max() < 30.0
    assert np.abs(grades_percent(raw)).max() > 30.0


def test_a_line_across_a_grid_reads_the_heights_of_its_cells():
    path = Path(cbook.get_sample_data("jacksboro_fault_dem.npz", asfileobj=False))
    with np.load(path) as stored:
        heights = stored["elevation"]

    # The grid's cells are about 74 m (columns) and 93 m (rows) wide.
    route = read_route(path, line=((100.0, 20.0), (100.0, 60.0)), row_m=93.0, column_m=74.0)

    assert route.distance_m[-1] == pytest.approx(40 * 74.0)
    at_cells = np.interp(np.arange(41) * 74.0, route.distance_m, route.height_m)
    assert at_cells == pytest.approx(heights[100, 20:61].astype(float), abs=1.5)


def test_a_slanting_line_across_a_grid_has_the_length_between_its_ends():
    path = Path(cbook.get_sample_data("jacksboro_fault_dem.npz", asfileobj=False))

    route = read_route(path, line=((10.0, 10.0), (40.0, 50.0)), row_m=93.0, column_m=74.0)

    assert route.distance_m[-1] == pytest.approx(math.hypot(30 * 93.0, 40 * 74.0))


@given(
    rises_m=st.lists(st.floats(-4.0, 4.0), min_size=1, max_size=30),
    step_deg=st.floats(1e-4, 1e-3),
)
def test_a_gpx_track_comes_back_as_it_was_written(tmp_path_factory, rises_m, step_deg):
    heights = np.concatenate([[300.0], 300.0 + np.cumsum(rises_m)])
    points = [(47.0 + place * step_deg, 9.0, height) for place, height in enumerate(heights)]
    path = written_gpx(tmp_path_factory.mktemp("gpx") / "a.GPX", points)

    route = read_route(path)

    along = np.arange(len(heights)) * math.radians(step_deg) * EARTH_RADIUS_M
    assert route.distance_m == pytest.approx(along, rel=1e-3)
    assert route.height_m == pytest.approx(heights)


@given(
    steps_m=st.lists(st.floats(0.5, 200.0), min_size=1, max_size=40),
    data=st.data(),
    kind=st.sampled_from(["csv", "npz"]),
)
def test_distances_and_heights_come_back_as_they_were_written(
    tmp_path_factory, steps_m, data, kind
):
    distance = np.concatenate([[0.0], np.cumsum(steps_m)])
    heights = st.lists(st.floats(-100.0, 4000.0), min_size=len(distance), max_size=len(distance))
    height = np.array(data.draw(heights))
    path = tmp_path_factory.mktemp("route") / f"route.{kind}"
    if kind == "npz":
        np.savez(path, distance_m=distance + 7.0, height_m=height)
    else:
        rows = (
            f"{h!r},{d + 7.0!r}" for d, h in zip(distance.tolist(), height.tolist(), strict=True)
        )
        path.write_text("height_m,distance_m\n" + "\n".join(rows) + "\n", encoding="utf-8")

    route = read_route(path)

    assert route.distance_m == pytest.approx(distance)
    assert route.height_m == pytest.approx(height)


@given(
    grade=st.floats(-0.4, 0.4),
    length_m=st.floats(20.0, 3000.0),
    smooth_m=st.floats(5.0, 200.0),
)
def test_smoothing_keeps_a_steady_grade(grade, length_m, smooth_m):
    distance = np.linspace(0.0, length_m, 50)
    route = Elevation(distance_m=distance, height_m=100.0 + grade * distance)

    smooth = smoothed(route, smooth_m=smooth_m)

    assert smooth.distance_m[-1] == pytest.approx(length_m)
    assert grades_percent(smooth) == pytest.approx(
        np.full(len(smooth.distance_m) - 1, 100 * grade), abs=1e-6
    )


def test_the_ridden_part_starts_at_zero_and_keeps_the_heights_of_its_place():
    distance = np.arange(0.0, 1001.0, ROUTE_STEP_M)
    route = Elevation(distance_m=distance, height_m=0.05 * distance)

    part = ridden_part(route, from_m=300.0, length_m=80.0, path=Path("hill.gpx"))

    assert part.distance_m[0] == 0.0
    assert part.distance_m[-1] >= 80.0
    assert part.height_m == pytest.approx(0.05 * (300.0 + part.distance_m))


def test_a_route_shorter_than_the_ride_is_refused():
    route = Elevation(distance_m=np.array([0.0, 90.0]), height_m=np.array([5.0, 6.0]))

    with pytest.raises(
        UserInputError, match=r"hill.gpx: the route is 90 m long, the ride needs 80 m from 20 m on"
    ):
        ridden_part(route, from_m=20.0, length_m=80.0, path=Path("hill.gpx"))


GPX = '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">{}</gpx>'
POINT = '<trkpt lat="{}" lon="9.0">{}</trkpt>'


def track(*points):
    return GPX.format(f"<trk><trkseg>{''.join(points)}</trkseg></trk>")


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("a.gpx", None, "there is no such file"),
        ("a.gpx", "", "not a GPX file that can be read"),
        (
            "a.gpx",
            track(POINT.format(47.0, "<ele>3</ele>"))[:-20],
            "not a GPX file that can be read",
        ),
        ("a.gpx", "<html></html>", "holds no track and no route"),
        ("a.gpx", track(), "holds no track and no route"),
        ("a.gpx", track(POINT.format("x", "<ele>3</ele>")), "not a GPX file that can be read"),
        (
            "a.gpx",
            track(POINT.format(47.0, "<ele>3</ele>"), POINT.format(47.1, "")),
            "1 of 2 points have no elevation",
        ),
        (
            "a.gpx",
            track(POINT.format(47.0, "<ele>3</ele>"), POINT.format(47.0, "<ele>4</ele>")),
            "at least two different points, got 1",
        ),
        (
            "a.gpx",
            track(POINT.format(47.0, "<ele>3</ele>"), POINT.format(47.1, "<ele>nan</ele>")),
            "must be finite numbers",
        ),
        ("a.csv", "", "the first line must name the columns distance_m, height_m, got nothing"),
        ("a.csv", "x,y\n1,2\n", "got x, y"),
        ("a.csv", "distance_m,height_m\n0,1\n5,high\n", "every line must hold two numbers"),
        ("a.csv", "distance_m,height_m\n0,1\n5\n", "every line must hold two numbers"),
        ("a.csv", "distance_m,height_m\n", "every line must hold two numbers"),
        ("a.npz", None, "there is no such file"),
        ("a.npz", "text", "not a NumPy .npz file"),
        ("a.kml", "<kml/>", "must be a .gpx, .csv or .npz file, got '.kml'"),
        ("a", "1 2", "got 'no ending'"),
    ],
)
def test_a_bad_route_file_is_refused_in_one_line(tmp_path, name, content, message):
    path = tmp_path / name
    if content is not None:
        path.write_text(content, encoding="utf-8")

    with pytest.raises(UserInputError) as caught:
        read_route(path)

    assert str(caught.value).startswith(f"{path}: ")
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_bytes_that_are_no_text_are_refused(tmp_path):
    path = tmp_path / "a.gpx"
    path.write_bytes(b"\xff\xfe<gpx/>")

    with pytest.raises(UserInputError, match="must be UTF-8 text"):
        read_route(path)


@pytest.mark.parametrize(
    ("arrays", "line", "message"),
    [
        ({"z": np.zeros((4, 5))}, None, "is a grid of 4 rows and 5 columns and needs a line"),
        ({"z": np.zeros((4, 5))}, ((0.0, 0.0), (3.0, 5.0)), "columns 0 to 4"),
        ({"z": np.zeros((4, 5))}, ((-1.0, 0.0), (3.0, 4.0)), "rows 0 to 3"),
        ({"z": np.zeros(4)}, None, "must hold distance_m and height_m, or one grid"),
        ({"y": np.zeros((2, 2)), "z": np.zeros((2, 2))}, None, "got y, z"),
        (
            {"distance_m": np.zeros(3), "height_m": np.zeros(4)},
            None,
            "must be lists of one length",
        ),
    ],
)
def test_a_bad_archive_of_heights_is_refused(tmp_path, arrays, line, message):
    path = tmp_path / "grid.npz"
    np.savez(path, **arrays)

    with pytest.raises(UserInputError, match=message):
        read_route(path, line=line)


def test_an_array_under_the_name_of_an_archive_is_refused(tmp_path):
    path = tmp_path / "grid.npz"
    with path.open("wb") as file:
        np.save(file, np.zeros((3, 3)))

    with pytest.raises(UserInputError, match=r"not a NumPy \.npz file"):
        read_route(path)


def test_a_torn_archive_is_refused(tmp_path):
    path = tmp_path / "grid.npz"
    np.savez(path, z=np.arange(2000.0).reshape(40, 50))
    path.write_bytes(path.read_bytes()[:900])

    with pytest.raises(UserInputError, match=r"not a NumPy \.npz file"):
        read_route(path)


def test_heights_out_of_objects_are_refused(tmp_path):
    path = tmp_path / "grid.npz"
    np.savez(path, z=np.array([["high", 1]], dtype=object))

    with pytest.raises(UserInputError, match=r"not a NumPy \.npz file"):
        read_route(path)
