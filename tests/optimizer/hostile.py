"""Inputs made to break the command: files, numbers, names and logs, in families.

Each input is a name and a function that prepares its files in an empty folder and returns what is
typed. All are invented; the kinds are common practice of testing readers of foreign files.
"""

import copy
import datetime as dt
import io
import itertools
import json
import os
import random
import re
import struct
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import pandas as pd
import tomli_w

from optimizer.study.catalogue import BOARD, COURSE, PROFILE, RIDER, resolved, shelves
from optimizer.study.load import INNER_NAMES
from tests.optimizer.small_study import SMALL_STUDY

Typed: TypeAlias = list[Any]
Content: TypeAlias = str | bytes | Callable[[], bytes]  # the last is made when it is written
Attack: TypeAlias = tuple[str, Callable[[Path], Typed]]

SEED = 20_000
FORMS = (
    "nan",
    "inf",
    "-inf",
    "1e400",
    "-1",
    "0",
    "1e22",
    "9" * 30,
    "9" * 5000,
    "",
    "x",
    "\x1b[31m",
)


def written(path: Path, content: Content) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    content = content() if callable(content) else content
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def of_study(name: str, content: str | bytes, **beside: Content) -> Attack:
    """Return the attack by a study file; what stands beside it is named by its suffix."""

    def prepare(folder: Path) -> Typed:
        for stem, more in beside.items():
            written(folder / stem.replace("_", "."), more)
        written(folder / "study.toml", content)
        return ["report", folder]  # reads the study; nothing is ridden yet

    return name, prepare


def whole_study() -> dict[str, Any]:
    """Return a study in which every number stands in the file itself."""

    def entry(name: str, kind: Any) -> Any:
        return copy.deepcopy(resolved(name, kind, path=Path("here"), key="there"))

    bounds = {name: ends for name, ends in shelves()["bounds"].items() if name not in INNER_NAMES}
    return {
        "title": "Everything said",
        "seed": 1,
        "structure": "single",
        "device": "cpu",
        "board": entry("lender_15", BOARD),
        "riders": {"a_62": entry("clerk_62", RIDER), "b_80": entry("baker_80", RIDER)},
        "courses": {"one": entry("grade_steps", COURSE), "two": entry("kerb_up", COURSE)},
        "baseline": entry("workshop_15", PROFILE),
        "search": {
            "candidates": 8,
            "population": 4,
            "hard_rides": 4,
            "hard_rides_h": 0.1,
            "bounds": copy.deepcopy(bounds),
            "fixed": ["rate_filter_hz"],
        },
        "objectives": {"weights": {"level_error_deg": 2.0}, "tail_share": 0.2},
        "constraints": {"sensitivity_limit": 2.0, "handling": {"grade_dip_deg": [-1.0, 4.0]}},
        "riding_day": copy.deepcopy(shelves()["riding_day"]),
        "tolerances": copy.deepcopy(shelves()["tolerances"]),
        "validation": {"draws": 8, "hours": 10.0},
    }


VALUES: tuple[Any, ...] = (
    *(float("nan"), float("inf"), -float("inf"), 1e308, -1e308, 5e-324, -0.0, 0, -1, True),
    *(2**63 - 1, -(2**63), 10**40, "", "text", "\x1b[31m", "a\n\0b", "x" * 5000, "all"),
    *([], [[]], [1], [1.0, 2.0], [[1.0, 2.0], [0.5, 3.0]], [{}], [{"use": 1}], [[[[]]]]),
    *({}, {"use": "nowhere"}, {"use": ["a"]}, {"use": {}}, {"\x1b\n": 1}, {"": 1}),
    *(dt.datetime(2020, 1, 1), dt.time(1)),  # noqa: DTZ001
)


def places(table: Any, above: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    for key, value in table.items() if isinstance(table, dict) else enumerate(table):
        yield (*above, key)
        if isinstance(value, dict | list):
            yield from places(value, (*above, key))


def study_values() -> Iterator[Attack]:
    whole = whole_study()
    yield of_study("whole", tomli_w.dumps(whole))
    draw = random.Random(SEED)  # noqa: S311
    known = list(places(whole))
    for number in range(150):
        study, place = copy.deepcopy(whole), draw.choice(known)
        holder: Any = study
        for key in place[:-1]:
            holder = holder[key]
        if number % 10 == 0:
            del holder[place[-1]]
        else:
            holder[place[-1]] = draw.choice(VALUES)
        yield of_study(f"{number}", tomli_w.dumps(study))


def study_texts() -> Iterator[Attack]:
    def after_board(lines: str) -> str:
        return SMALL_STUDY.replace('use = "lender_15"', f'use = "lender_15"\n{lines}')

    texts: dict[str, str | bytes] = {
        "empty": "",
        "spaces": " " * 10_000,
        "no_toml": "<html></html>",
        "torn": SMALL_STUDY[: len(SMALL_STUDY) // 2] + '"',
        "bom": b"\xef\xbb\xbf" + SMALL_STUDY.encode(),
        "utf16": SMALL_STUDY.encode("utf-16"),
        "latin1": SMALL_STUDY.replace("Two", "D\xe9ux").encode("latin-1"),
        "nul": SMALL_STUDY.replace("Two", "\0"),
        "escape": SMALL_STUDY.replace("Two", "\x1b[31m"),
        "cr": SMALL_STUDY.replace("\n", "\r"),
        "twice": SMALL_STUDY + "seed = 1\n[board]\n",
        "key_twice": SMALL_STUDY.replace("seed = 11", "seed = 11\nseed = 11"),
        "deep_list": "a = " + "[" * 1000 + "]" * 1000,
        "deep_table": "a = " + "{a=" * 1000 + "1" + "}" * 1000,
        "deep_key": "[" + "a." * 2000 + "a]",
        "long_key": "a" + ".a" * 400_000 + " = 1",
        "deep_rider": SMALL_STUDY + "[riders.x" + ".y" * 35 + "]\nz = 1\n",
        "huge_whole": after_board("motor.pole_pairs = " + "9" * 4000),
        "huger_whole": after_board("motor.pole_pairs = " + "9" * 100_000),
        "huge_hex": after_board("motor.pole_pairs = 0x" + "f" * 100_000),
        "huge_seed": SMALL_STUDY.replace("seed = 11", "seed = " + "9" * 100),
        "many_keys": "".join(f"k{number} = 1\n" for number in range(20_000)),
        "many_riders": SMALL_STUDY + "".join(f"[riders.r{n}]\n" for n in range(2000)),
        "long_name": SMALL_STUDY + f"[riders.{'r' * 100_000}]\n",
        "quoted_name": SMALL_STUDY + '[riders."\\u001b[31m\\n"]\n',
        "long_title": SMALL_STUDY.replace("Two", "T" * 900_000),
        "large": SMALL_STUDY + "# " + "x" * 2_000_000,
        "use_loop": after_board('motor = { use = "hub_15", use2 = "hub_15" }'),
        "use_list": SMALL_STUDY.replace('use = "lender_15"', 'use = ["lender_15"]'),
        "long_use": SMALL_STUDY.replace('"lender_15"', f'"{"l" * 100_000}"'),
        "start_nul": SMALL_STUDY.replace("[search]", '[search]\nstart = "a\\u0000b"'),
        "start_long": SMALL_STUDY.replace("[search]", f'[search]\nstart = "{"a" * 300}"'),
        "start_here": SMALL_STUDY.replace("[search]", '[search]\nstart = "."'),
        "start_up": SMALL_STUDY.replace("[search]", '[search]\nstart = "../../../../dev/zero"'),
        "database": SMALL_STUDY.replace("seed", 'database = "postgresql://[/x"\nseed'),
        "log_nul": SMALL_STUDY + '[riding_day]\nlog = { file = "a\\u0000b" }\n',
        "no_count": SMALL_STUDY.replace('"kerb_up", "cobbles"', '"cruise"'),
    }
    for name, text in texts.items():
        yield of_study(name, text)


def courses_alone() -> Iterator[Attack]:
    for name in shelves()["courses"]:
        text = SMALL_STUDY.replace('"stand_still", "kerb_up", "cobbles"', f'"{name}"')
        yield of_study(name, text)


ROUTE = '\n[courses.lane]\nuse = "cruise"\nroad.elevation = { file = "FILE" }\n'


def on_route(name: str, kind: str, content: Content) -> Attack:
    study = SMALL_STUDY.replace(
        "\n[baseline]", f"{ROUTE.replace('FILE', f'way.{kind}')}\n[baseline]"
    )
    return of_study(f"{kind}_{name}", study, **{f"way_{kind}": content})


def gpx(points: str) -> str:
    return (
        '<gpx version="1.1" creator="invented" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<trk><trkseg>{points}</trkseg></trk></gpx>"
    )


def points(*, lat: Any = 1.0, lon: Any = 2.0, ele: Any = 3.0, more: str = "") -> str:
    first = f'<trkpt lat="{lat}" lon="{lon}"><ele>{ele}</ele>{more}</trkpt>'
    return gpx(first + '<trkpt lat="1.01" lon="2"><ele>4</ele></trkpt>')


def archive(**arrays: Any) -> bytes:
    content = io.BytesIO()
    np.savez(content, **arrays)
    return content.getvalue()


def zipped(content: bytes, *, name: str = "distance_m.npy", method: int = zipfile.ZIP_DEFLATED):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", method) as file:
        file.writestr(name, content)
    return packed.getvalue()


def claiming(shape: str, kind: str = "'<f8'") -> bytes:
    """Return an array of ten numbers whose header claims another shape."""
    header = f"{{'descr': {kind}, 'fortran_order': False, 'shape': {shape}, }}".ljust(117) + "\n"
    return b"\x93NUMPY\x01\x00" + struct.pack("<H", len(header)) + header.encode() + bytes(80)


def routes() -> Iterator[Attack]:
    entities = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 12))
    tracks: dict[str, str | bytes] = {
        "sound": points(),
        "lat_200": points(lat=200),
        "lon_1e9": points(lon=1e9),
        "entity_bomb": f'<!DOCTYPE g [<!ENTITY a0 "ha">{entities}]><gpx>&a11;</gpx>',
        "entity_file": '<!DOCTYPE g [<!ENTITY x SYSTEM "file:///etc/hosts">]>' + gpx("&x;"),
        "torn": points()[:-20],
        "empty": "",
        "deep": "<gpx>" + "<a>" * 100_000,
        "no_points": gpx(""),
        "one_point": gpx('<trkpt lat="1" lon="2"><ele>3</ele></trkpt>'),
        "no_lat": gpx('<trkpt lon="2"><ele>3</ele></trkpt>' * 2),
        "time": points(more="<time>yesterday</time>"),
        "bom": b"\xef\xbb\xbf" + points().encode(),
        "utf16": points().encode("utf-16"),
        "latin1": points(more="<name>\xe9</name>").encode("latin-1"),
        "no_encoding": '<?xml version="1.0" encoding="nonsense"?>' + points(),
        "nul": points().replace("invented", "\0"),
        "many_attributes": "<gpx " + " ".join(f'a{n}="1"' for n in range(50_000)) + "/>",
        "far": gpx("".join(f'<trkpt lat="{n % 2 * 80}" lon="{n}"><ele>1</ele></trkpt>'
                           for n in range(180))),
    }  # fmt: skip
    for where, form in itertools.product(("lat", "ele"), FORMS):
        tracks[f"{where}_{FORMS.index(form)}"] = points(**{where: form.replace("\x1b", "")})
    head = "distance_m,height_m\n"
    tables: dict[str, str | bytes] = {
        "sound": head + "0,1\n900,2\n",
        "far": head + "0,1\n1e9,2\n",
        "high": head + "0,1\n900,1e308\n",
        "wall": head + "0,1\n900,900\n901,1\n",
        "back": head + "0,1\n-1e9,2\n",
        "nothing": head,
        "empty": "",
        "three": head + "0,1,2\n900,2,3\n",
        "ragged": head + "0,1\n900\n",
        "twice": "distance_m,distance_m\n0,1\n",
        "long_head": "x" * 100_000,
        "nul": head + "0,\0\n",
        "utf16": (head + "0,1\n900,2\n").encode("utf-16"),
    }
    for form in FORMS:
        tables[f"cell_{FORMS.index(form)}"] = f"{head}0,1\n900,{form}\n"
    three, ten = np.arange(3.0), np.arange(10.0)
    torn = bytearray(archive(distance_m=ten, height_m=ten))
    torn[300] ^= 255
    arrays: dict[str, Content] = {
        "far": archive(distance_m=np.array([0.0, 1e9]), height_m=np.zeros(2)),
        "high": archive(distance_m=three, height_m=np.array([0.0, 1.0, 1e308])),
        "nan": archive(distance_m=np.array([0.0, np.nan]), height_m=np.zeros(2)),
        "flat": archive(distance_m=np.zeros((2, 2)), height_m=np.zeros((2, 2))),
        "single": archive(distance_m=np.float64(1), height_m=np.float64(1)),
        "none": archive(distance_m=np.array([]), height_m=np.array([])),
        "text": archive(distance_m=np.array(["a"]), height_m=np.array(["b"])),
        "complex": archive(distance_m=three * 1j, height_m=three),
        "objects": archive(distance_m=np.array([{}], dtype=object), height_m=three),
        "grid": archive(heights=np.zeros((5, 5))),
        "no_archive": claiming("(10,)"),
        "empty": b"",
        "half": archive(distance_m=ten, height_m=ten)[:-200],
        "torn": bytes(torn),
        "claims_tera": zipped(claiming("(1000000000000,)")),
        "claims_more": zipped(claiming("(" + "9" * 60 + ",)")),
        "claims_less": zipped(claiming("(-5,)")),
        "claims_nothing": zipped(claiming("(" * 60)),
        "kind": zipped(claiming("(3,)", "'<q99999999'")),
        "kinds": zipped(claiming("(3,)", "[('a', '<f8'), ('b', 'O')]")),
        "bomb": lambda: zipped(bytes(300_000_000)),
        "bzip": zipped(claiming("(10,)"), method=zipfile.ZIP_BZIP2),
        "lzma": zipped(claiming("(10,)"), method=zipfile.ZIP_LZMA),
        "other": zipped(b"hello", name="hello.txt"),
        "up": zipped(claiming("(10,)"), name="../../up.npy"),
    }
    for kind, contents in (("gpx", tracks), ("csv", tables), ("npz", arrays)):
        for name, content in contents.items():
            yield on_route(name, kind, content)
    for kind in ("txt", "gpx.gz", "npy", "xlsx"):
        yield on_route("other", kind.replace(".", ""), b"\x1f\x8b")


def no_file(kind: str, path: Path) -> None:
    """Put something in the place of a file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.unlink(missing_ok=True)
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    elif kind == "endless":
        path.symlink_to("/dev/zero")
    elif kind == "loop":
        path.symlink_to(path.name)
    elif kind == "dangling":
        path.symlink_to("nowhere")
    elif kind == "huge":
        with path.open("wb") as file:
            file.truncate(3 << 30)
    elif kind == "binary":
        path.write_bytes(random.Random(SEED).randbytes(4096))  # noqa: S311
    elif kind == "empty":
        path.touch()


NO_FILES = ("pipe", "folder", "endless", "loop", "dangling", "huge", "binary", "empty")


def no_files() -> Iterator[Attack]:
    def attack(kind: str, name: str, typed: tuple[str, ...], study: str = SMALL_STUDY) -> Attack:
        def prepare(folder: Path) -> Typed:
            written(folder / "study.toml", study)
            no_file(kind, folder / name)
            return [word.replace("HERE", str(folder)) for word in typed]

        return f"{kind}_{name}", prepare

    started = SMALL_STUDY.replace("[search]", '[search]\nstart = "start.csv"')
    logged = SMALL_STUDY + '[riding_day]\nlog = { file = "ride.csv" }\n'
    for kind in NO_FILES:
        yield attack(kind, "study.toml", ("report", "HERE"))
        yield attack(kind, "start.csv", ("report", "HERE"), started)
        yield attack(kind, "ride.mapping.toml", ("report", "HERE"), logged)
        yield attack(kind, "store.sqlite", ("report", "HERE"))
        yield attack(kind, "mine.toml", ("ride", "HERE", "HERE/mine.toml"))
        yield attack(kind, "mine.json", ("ride", "HERE", "HERE/mine.json"))
        for command in ("advise", "explain"):
            yield attack(kind, f"{command}.toml", (command, "HERE", f"HERE/{command}.toml"))
        for log in ("ride.csv", "ride.parquet"):
            yield attack(kind, log, ("log", "propose", f"HERE/{log}"))
        for way in ("way.gpx", "way.csv", "way.npz"):
            study = SMALL_STUDY.replace("\n[baseline]", f"{ROUTE.replace('FILE', way)}\n[baseline]")
            yield attack(kind, way, ("report", "HERE"), study)


def typed(name: str, *words: str) -> Attack:
    def prepare(folder: Path) -> Typed:
        written(folder / "study.toml", SMALL_STUDY)
        return [word.replace("HERE", str(folder)) for word in words]

    return name, prepare


def numbers() -> Iterator[Attack]:
    options = (
        ("validate", "--hours"),
        ("validate", "--accelerated"),
        ("run", "--candidates"),
        ("resume", "--candidates"),
        ("run", "--minutes"),
        ("run", "--until-gain"),
        ("resume", "--until-gain"),
        ("repeat", "--seeds"),
        ("repeat", "--candidates"),
        ("run", "--jobs"),
        ("validate", "--jobs"),
        ("front", "--limit"),
        ("watch", "--port"),
        ("show", ""),
        ("advise", ""),
        ("explain", ""),
    )
    harmless = {("watch", "0"), ("watch", "1e22")}
    for command, option in options:
        for number, form in enumerate(FORMS):
            if (command, form) in harmless:
                continue  # a port that is free: it would be served
            words = (option, form) if option else ("--", form)
            yield typed(f"{command}{option}_{number}", command, "HERE", *words)
    for number, form in enumerate(FORMS):
        yield typed(f"fork_{number}", "fork", "HERE", "HERE/new", "--profiles", form)
        yield typed(f"transfer_{number}", "transfer", "HERE", "HERE", "--candidates", form)
        yield typed(f"changes_{number}", "advise", "HERE", "baseline", "--changes", form)
    for option in ("--motor-kv", "--cells", "--wheel", "--riders"):
        for number, form in enumerate(FORMS):
            yield typed(f"new{option}_{number}", "new", "HERE/new", option, form)


NAMES = ("", " ", "a" * 300, "a/" * 3000, "a\x1b[31m", "a\nb", "\u202egpj", "caf\udce9", "~", "-",
         "--", "..", "a\\", "*", "$(x)", "[red]", "study.toml/x", "/dev/null", "/dev/null/x",
         "/proc/1/mem")  # fmt: skip


def names() -> Iterator[Attack]:
    for command in ("check", "run", "report", "front", "page", "log check", "log propose"):
        for number, name in enumerate(NAMES):
            yield typed(f"{command}_{number}", *command.split(), "--", name)
    for number, name in enumerate(NAMES):
        if name not in ("~", "-", "--", "*", "$(x)", "[red]", "a\\", ".."):
            yield typed(f"new_{number}", "new", "--", name)
        for command in ("ride", "advise", "explain", "validate"):
            yield typed(f"{command}_{number}", command, "HERE", "--", name)
        yield typed(f"out_{number}", "advise", "HERE", "baseline", f"--out={name}")


def profiles() -> Iterator[Attack]:
    sound = copy.deepcopy(resolved("workshop_15", PROFILE, path=Path("here"), key="there"))

    def attack(name: str, content: Content, file: str = "mine.toml") -> Attack:
        def prepare(folder: Path) -> Typed:
            written(folder / "study.toml", SMALL_STUDY)
            written(folder / file, content)
            return ["ride", folder, folder / file]

        return name, prepare

    draw = random.Random(SEED + 1)  # noqa: S311
    known = [place for place in places(sound) if len(place) > 1]
    finite = [value for value in VALUES if not isinstance(value, float) or abs(value) > 1e300]
    for number in range(40):
        profile, place = copy.deepcopy(sound), draw.choice(known)
        profile[place[0]][place[1]] = draw.choice(
            [value for value in finite if not isinstance(value, int) or abs(value) > 1000]
        )
        yield attack(f"value_{number}", tomli_w.dumps(profile))
    for name, text in {
        "empty": "",
        "other": SMALL_STUDY,
        "profile_text": 'profile = "\x1b"',
        "profile_nowhere": 'profile = "nowhere"',
        "profile_number": "profile = 1",
        "profile_list": "profile = [1]",
        "profile_use": "profile = { use = 1 }",
        "json": "{}",
        "half": tomli_w.dumps(sound)[:200],
        "missing": tomli_w.dumps({"stiffness": sound["stiffness"]}),
    }.items():
        yield attack(name, text)
    for name, text in json_texts(json.dumps({"profile": sound})).items():
        yield attack(f"json_{name}", text, "mine.json")


def json_texts(sound: str) -> dict[str, Content]:
    """Return texts in the place of a profile's JSON, damaged or of something else."""
    gain = '"base_gain_a_per_deg": '
    assert gain in sound

    def with_gain(text: str) -> str:
        return re.sub(rf"{gain}[\d.]+", lambda _: gain + text, sound)

    return {
        "empty": "",
        "brace": "{",
        "half": sound[: len(sound) // 2],
        "twice": sound + sound,
        "list": "[]",
        "number": "1",
        "text": '"\\u001b"',
        "null": "null",
        "toml": "[stiffness]\n",
        "bom": b"\xef\xbb\xbf" + sound.encode(),
        "utf16": sound.encode("utf-16"),
        "latin1": sound.replace("{", '{"caf\xe9": 1, ', 1).encode("latin-1"),
        "nul": sound.replace("profile", "pro\0file"),
        "comment": "// mine\n" + sound,
        "comma": sound.replace("}", ",}"),
        "quotes": sound.replace('"', "'"),
        "lone": '{"profile": {"\\ud800": 1}}',
        "control": '{"profile": {"\\u001b[31m": 1}}',
        "control_twice": '{"\\u001b[31m": 1, "\\u001b[31m": 2}',
        "key_twice": with_gain("1.0, " + gain + "2.0"),
        "other": '{"columns": []}',
        "profile_list": '{"profile": []}',
        "profile_nowhere": '{"profile": {"use": "nowhere"}}',
        "deep_list": lambda: b'{"a": ' + b"[" * 300_000 + b"]" * 300_000 + b"}",
        "deep_table": lambda: b'{"a": ' * 100_000 + b"1" + b"}" * 100_000,
        "many_keys": "{" + ", ".join(f'"k{number}": 1' for number in range(40_000)) + "}",
        "large": sound + " " * 2_000_000,
        **{
            f"value_{number}": with_gain(text)
            for number, text in enumerate(
                ("NaN", "Infinity", "1e400", "-1", "null", "true", '"4"', "[4]", "{}", "04", "0x4",
                 "9" * 30, "9" * 5000)
            )
        },
    }  # fmt: skip


def starts() -> Iterator[Attack]:
    study = SMALL_STUDY.replace("[search]", '[search]\nstart = "start.csv"')
    head = "base_gain_a_per_deg"
    texts: dict[str, str | bytes] = {
        "empty": "",
        "head": head,
        "unknown": "x\n1\n",
        "long_name": "x" * 100_000 + "\n1\n",
        "long_cell": f"{head}\n{'1' * 200_000}\n",
        "quote": f'{head}\n"1\n',
        "twice": f"{head},{head}\n3.5,3.5\n",
        "ragged": f"{head}\n1,2\n",
        "nul": f"{head}\n\0\n",
        "utf16": f"{head}\n3.5\n".encode("utf-16"),
        "outside": f"{head}\n1e300\n",
        "formula": f"{head}\n=1+1\n",
    }
    texts |= {f"cell_{number}": f"{head}\n{form}\n" for number, form in enumerate(FORMS)}
    for name, text in texts.items():
        yield of_study(name, study, start_csv=text)


MAPPING = (
    'confirmed = true\n[columns]\ntime_s = { column = "t", unit = "s" }\n'
    'speed_mps = { column = "v", unit = "m/s" }\n'
    'pitch_rad = { column = "pitch", unit = "deg" }\n'
)


def log_table(**columns: Any) -> str:
    time_s = np.arange(400) * 0.02
    table = {"t": time_s, "v": 3.0 + np.sin(time_s), "pitch": np.cos(time_s)} | columns
    return pd.DataFrame(table).to_csv(index=False)


def logs() -> Iterator[Attack]:
    def attack(name: str, command: str, content: str | bytes, mapping: str = MAPPING) -> Attack:
        def prepare(folder: Path) -> Typed:
            suffix = "parquet" if content[:4] in (b"PAR1", "PAR1") else "csv"
            log = written(folder / f"ride.{suffix}", content)
            if command != "propose":
                written(folder / "ride.mapping.toml", mapping)
            return ["log", command, log]

        return f"{command}_{name}", prepare

    ones = np.ones(400)
    packed = io.BytesIO()
    pd.DataFrame({"t": ones, "v": ["\x1b"] * 400}).to_parquet(packed)
    contents: dict[str, str | bytes] = {
        "sound": log_table(),
        "empty": "",
        "lines": "\n" * 1000,
        "head": "t,v,pitch\n",
        "same_time": log_table(t=ones),
        "time_1e308": log_table(t=ones * 1e308),
        "time_far": log_table(t=np.linspace(0.0, 1e18, 400)),
        "time_jump": log_table(t=np.where(np.arange(400) < 200, 0.0, 1e15) + np.arange(400) * 0.02),
        "time_tiny": log_table(t=np.arange(400) * 5e-324),
        "time_back": log_table(t=-np.arange(400.0)),
        "time_nan": log_table(t=ones * np.nan),
        "time_inf": log_table(t=ones * np.inf),
        "time_text": log_table(t=["yesterday"] * 400),
        "time_iso": log_table(t=["9999-99-99T99:99:99"] * 400),
        "v_1e308": log_table(v=ones * 1e308),
        "v_nan": log_table(v=ones * np.nan),
        "v_text": log_table(v=["\x1b[31m"] * 400),
        "v_formula": log_table(v=["=1+1"] * 400),
        "twice": "t,v,pitch,v\n" + "0,1,2,3\n1,1,2,3\n" * 9,
        "all_twice": "time_s,time_s\n" + "0,1\n1,1\n" * 9,
        "ragged": log_table() + "1,2\n",
        "quotes": log_table() + '"1,2,3\n' * 9,
        "one_long_line": "t,v,pitch\n" + "1," * 1_500_000,
        "long_head": ",".join(f"c{n}" for n in range(9000)) + "\n",
        "long_name": "t" * 60_000 + ",v\n1,2\n",
        "escapes": "time \x1b[31m,speed \u202e,pitch\n" + "0,1,2\n1,1,2\n" * 9,
        "slash": 'time",speed\\,pitch\x7f\n' + "0,1,2\n1,1,2\n" * 9,
        "bom": b"\xef\xbb\xbf" + log_table().encode(),
        "utf16": log_table().encode("utf-16"),
        "latin1": ("caf\xe9," + log_table()).encode("latin-1"),
        "binary": random.Random(SEED).randbytes(10_000),  # noqa: S311
        "parquet_torn": packed.getvalue()[:-40],
        "parquet_text": packed.getvalue(),
        "parquet_no": b"PAR1" + bytes(100),
        "decimal_commas": log_table().replace(",", ";").replace(".", ","),
        "digits": "t,v,pitch\n" + f"{'9' * 5000},1,2\n" * 9,
    }
    for name, content in contents.items():
        for command in ("propose", "check"):
            yield attack(name, command, content)
        if name not in ("sound", "bom"):  # they are fitted, which takes seconds
            yield attack(name, "fit", content)
    mappings = {
        "unconfirmed": MAPPING.replace("true", "false"),
        "no_time": MAPPING.replace("time_s", "time_x"),
        "long_column": MAPPING.replace('"v"', f'"{"v" * 50_000}"'),
        "escape": MAPPING.replace('"v"', '"\\u001b[31m"'),
        "unit": MAPPING.replace('"deg"', '"\\u001b"'),
        "mass_nan": MAPPING.replace("[columns]", "rider_mass_kg = nan\n[columns]"),
        "mass_huge": MAPPING.replace("[columns]", "rider_mass_kg = 1e308\n[columns]"),
        "separator": MAPPING.replace("[columns]", 'separator = "\\u0000"\n[columns]'),
        "board_list": MAPPING.replace("[columns]", "board = [1]\n[columns]"),
        "board_part": MAPPING.replace("[columns]", "board = { motor = 1 }\n[columns]"),
        "columns_list": 'confirmed = true\ncolumns = ["t"]\n',
        "column_number": MAPPING.replace('column = "v"', "column = 1"),
        "text": "confirmed",
    }
    for name, mapping in mappings.items():
        for command in ("check", "fit"):
            yield attack(name, command, log_table(), mapping)


def filters() -> Iterator[Attack]:
    """Conditions and orders, on the finished study that stands for FINISHED."""
    conditions = ("", "x", "number", "number<", "<1", "number<nan", "number<inf", "number<1e999",
                  "number<" + "9" * 5000, "number<\x1b[31m", "picks<1", "picks==\n", "feasible<1",
                  "feasible==2", "number<1 and", "and", ",", "number<1,,number<2",
                  "a" * 9000 + "<1", "number<1 and " * 2000 + "number<1", "__import__('os')",
                  "number==0x10", "number<1_0", "\u0661<1", "number\0<1")  # fmt: skip
    for number, condition in enumerate(conditions):
        yield f"where_{number}", lambda _, text=condition: ["front", "FINISHED", f"--where={text}"]
    for number, name in enumerate(
        ("", "-", "--", "x", "\x1b", "number" * 9000, "-number", "picks")
    ):
        yield f"sort_{number}", lambda _, text=name: ["front", "FINISHED", f"--sort={text}"]
    for number, which in enumerate((*FORMS, "²", "٣", "0" * 9000, "balanced", "\u202e", "1.5")):
        yield f"show_{number}", lambda _, text=which: ["show", "FINISHED", "--", text]
        yield (
            f"export_{number}",
            lambda _, text=which: ["export", "FINISHED", "--to", "EXPORTS", "--", text],
        )
    for number, name in enumerate(("", "c ", "C", "\x1b", "x" * 9000, "../c")):
        yield (
            f"format_{number}",
            lambda _, text=name: ["export", "FINISHED", "0", f"--format={text}"],
        )


def templates() -> Iterator[Attack]:
    """Templates, each filled in with a candidate of the finished study FINISHED."""
    texts = {
        "undefined": "{{ nothing }}",
        "torn": "{{ ",
        "raises": "{{ 1 / 0 }}",
        "types": "{{ 'a' + 1 }}",
        "recursion": "{% macro m() %}{{ m() }}{% endmacro %}{{ m() }}",
        "deep": "{{ " + "(" * 3000 + "1" + ")" * 3000 + " }}",
        "include": "{% include '/etc/hosts' %}",
        "surrogate": "{{ '\\ud800' }}",
        "memory": "{{ 'a' * 10 ** 10 }}",
        "length": "{% for a in range(99999) %}{{ 'a' * 1000 }}{% endfor %}",
        "escape": "{{ ''.__class__.__mro__[1].__subclasses__() }}",
        "globals": "{{ cycler.__init__.__globals__.os }}",
        "filter": "{{ 1 | nothing }}",
        "batch": "{{ range(9) | batch('a') | list }}",
        "width": "{{ 'a' | wordwrap(0) }}",
        "percent": "{{ '%q' % 1 }}",
        "assert": "{{ 'a' | attr('x') | int(base='a') }}",
        "stop": "{{ [] | first }}",
        "sum": "{{ ['a'] | sum }}",
        "slice": "{{ 'a' | slice(0) | list }}",
    }

    def attack(name: str, file: str, content: str | bytes) -> Attack:
        def prepare(folder: Path) -> Typed:
            template = written(folder / file, content)
            return ["export", "FINISHED", "0", "--template", template, "--to", folder / "to"]

        return name, prepare

    for name, text in texts.items():
        yield attack(name, "bench.txt", text)
    yield attack("plan", "first_rides.md.jinja", "fast")
    yield attack("unnamed", ".jinja", "x")
    yield attack("utf16", "bench.txt", "x".encode("utf-16"))
    yield attack("large", "bench.txt", "x" * 2_000_000)


def foreign_folders() -> Iterator[Attack]:
    """Files beside the finished study FINISHED, as somebody else may have written them."""
    verdict: dict[str, Any] = {"overall": "pass", "profile": {}, "provenance": {}, "verdicts": []}
    verdicts: dict[str, Content] = {
        "empty": "",
        "deep": "[" * 100_000,
        "list": "[]",
        "utf16": "{}".encode("utf-16"),
        **{
            f"{key}_{number}": json.dumps(verdict | {key: value})
            for key in verdict
            for number, value in enumerate((1, None, "text", [1], {"a": 1}, [{"grade": 1}]))
        },
    }

    def beside(folder: Path, content: Content) -> None:
        written(folder / "validation" / "candidate_0.json", content)

    for name, content in verdicts.items():
        yield (
            f"verdict_{name}",
            lambda copied, text=content: [
                *(beside(copied, text) or ()),
                *("export", copied, "0", "--to", "EXPORTS"),
            ],
        )
    falls = {
        "empty": "",
        "other": SMALL_STUDY,
        "list": "courses = [1]",
        "none": "[courses]",
        "number": "courses = { a = 1 }",
        "rider": "[courses.a]\nriders = 1",
        "riders": "[courses.a]\nriders = [[1]]",
        "stranger": '[courses.a]\nriders = ["\\u001b"]',
        "there": "[courses.kerb_up]\nweight = 2.0",
        "half": "[courses.a]\ntitle = 'a'",
    }
    for name, text in falls.items():
        yield (
            f"falls_{name}",
            lambda copied, text=text: [
                *("fork", copied, copied / "new", "--falls"),
                written(copied / "falls.toml", text),
            ],
        )


FAMILIES: dict[str, Callable[[], Iterator[Attack]]] = {
    "study values": study_values,
    "study texts": study_texts,
    "courses alone": courses_alone,
    "routes": routes,
    "no files": no_files,
    "numbers": numbers,
    "names": names,
    "profiles": profiles,
    "start profiles": starts,
    "logs": logs,
    "filters and candidates": filters,
    "templates": templates,
    "foreign folders": foreign_folders,
}
BESIDE_RESULTS = "foreign folders"  # of a study with results, of which each has a copy
ON_RESULTS = ("filters and candidates", "templates")  # of the study that stands for FINISHED
